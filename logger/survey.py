"""Points of a job, and recordings on their own, through the pipeline."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

from logger.access import Plane
from logger.acquisition import load_stream
from logger.job import Job, point_recordings
from logger.pipeline import PointResult, SurveySettings, Sweep, survey_point
from logger.profile import Obstruction
from logger.site import Site


def load_sweep(
    path: Path, *, rate_hz: float | None = None, accept_broken_seal: bool = False
) -> Sweep:
    """Read and decode one file.

    Parameters
    ----------
    path : Path
    rate_hz : float, optional
        For a plain log. [Hz]
    accept_broken_seal : bool

    Raises
    ------
    InputError, UsageError
        As `logger.acquisition.load_stream`.
    """
    return Sweep(*load_stream(path, rate_hz=rate_hz, accept_broken_seal=accept_broken_seal))


def point_result(
    job: Job,
    point: str,
    settings: SurveySettings | None = None,
    *,
    sweeps: Sequence[Sweep] = (),
    planes: Sequence[Plane] = (),
    site: Site | None = None,
    weather: Any | None = None,
) -> PointResult:
    """A point of a job from its recordings, with the job's calibrations, planes and names.

    Parameters
    ----------
    job : Job
    point : str
    settings : SurveySettings, optional
    sweeps : sequence of Sweep
        Instead of all recordings of the point.
    planes : sequence of Plane
        Instead of the job's.
    site : Site, optional
        Instead of the job's.
    weather : Weather, optional

    Raises
    ------
    InputError, UsageError
        A recording cannot be used, or there is none.
    """
    settings = settings or SurveySettings()
    if job.timezone and settings.access.timezone is None:
        settings = replace(settings, access=replace(settings.access, timezone=job.timezone))
    return survey_point(
        point,
        tuple(sweeps) or [load_sweep(path) for path in point_recordings(job, point)],
        site or job.site,
        tuple(planes) or job.planes,
        settings,
        named=job_obstructions(job, point),
        weather=weather,
    )


def job_obstructions(job: Job, point: str) -> tuple[Obstruction, ...]:
    """Sectors that the job itself names at a point.

    Parameters
    ----------
    job : Job
    point : str
    """
    return tuple(
        Obstruction(o.name, o.from_azimuth_deg, o.to_azimuth_deg, o.kind, o.distance_m)
        for o in job.obstructions
        if o.point in ("", point)
        and o.from_azimuth_deg is not None
        and o.to_azimuth_deg is not None
    )
