"""Points of a job, and recordings on their own, through the pipeline."""

from __future__ import annotations

import datetime as dt
import hashlib
from collections.abc import Sequence
from pathlib import Path

from logger.errors import LoggerError
from logger.files import json_text
from logger.horizon import Obstruction
from logger.horizon_fit import ExcludeSweep, RemovePoint, SightedSweep, edited_passes
from logger.job import Job, calibration_files, kept_recordings, point_recordings
from logger.orientation import declination_at, sight_lines
from logger.recording import load_stream
from logger.survey.calibrations import corrections_of_job
from logger.survey.pipeline import (
    PointResult,
    PointSetup,
    SunOfSite,
    SurveySettings,
    Sweep,
    survey_point,
)
from logger.survey.sun_side import site_year as site_year


def load_sweep(
    path: Path, *, rate_hz: float | None = None, accept_broken_seal: bool = False
) -> Sweep:
    """Read and decode one file."""
    return Sweep(*load_stream(path, rate_hz=rate_hz, accept_broken_seal=accept_broken_seal))


def point_result(
    job: Job,
    point: str,
    year: SunOfSite,
    settings: SurveySettings | None = None,
    *,
    sweeps: Sequence[Sweep] = (),
) -> PointResult:
    """A point of a job from its recordings, with the job's calibrations and names."""
    setup = point_setup(job, point, alone=bool(sweeps))
    if not sweeps:
        # What is excluded is not even read: it may be excluded because it cannot be.
        sweeps = [load_sweep(path) for path in kept_recordings(job, point)]
    return survey_point(
        point, sweeps, year, settings, setup=setup, corrections_of=corrections_of_job(job)
    )


def is_swept(job: Job, point: str) -> bool:
    """Whether a point still has a recording after the edits that exclude some."""
    return bool(kept_recordings(job, point))


def point_setup(job: Job, point: str, *, alone: bool = False) -> PointSetup:
    """What the job itself says of a point: names, distances, heights, edits.

    Recordings that are asked for alone are worked out although an edit excludes them.
    """
    here = [o for o in job.obstructions if o.point in ("", point)]
    known = job.point(point)
    edits = job.edits_of(point)
    if alone:
        edits = tuple(e for e in edits if not isinstance(e, (ExcludeSweep, RemovePoint)))
    return PointSetup(
        obstructions=tuple(
            Obstruction(o.name, o.from_azimuth_deg, o.to_azimuth_deg, o.kind, o.distance_m)
            for o in here
            if o.from_azimuth_deg is not None and o.to_azimuth_deg is not None
        ),
        distances_m={o.name: o.distance_m for o in here if o.distance_m is not None},
        sight_height_m=known.sight_height_m,
        module_height_m=known.module_height_m,
        edits=edits,
        job_sha256=job_sha256(job, point),
    )


def job_sha256(job: Job, point: str) -> str:
    """Hash of all that a point's answer depends on in its job, but for the files' contents.

    A stored result bears it: where it differs now, the job has changed since. Names for the report
    and other points do not count.
    """
    said = {
        "site": job.site,
        "timezone": job.timezone,
        "planes": job.planes,
        "rules": job.rules,
        "point": job.point(point),
        "obstructions": [o for o in job.obstructions if o.point in ("", point)],
        "edits": [edit.as_dict() for edit in job.edits_of(point)],
        "recordings": [path.name for path in point_recordings(job, point)],
        "calibrations": [path.name for path in calibration_files(job)],
    }
    return hashlib.sha256(json_text(said).encode("utf-8")).hexdigest()


def earlier_passes(job: Job, point: str, paths: Sequence[Path]) -> tuple[SightedSweep, ...]:
    """What recordings of a point saw, for the screen of a sweep that adds to them.

    A recording that cannot be used is left out here: it must not stop a sweep, and the point's
    result will say why.
    """
    corrections_of = corrections_of_job(job)
    passes = []
    for path in paths:
        try:
            sweep = load_sweep(path)
            date = (sweep.recording.started or dt.datetime.now(dt.UTC)).date()
            corrections = corrections_of(sweep, declination_at(job.site, date)).corrections
            sight = sight_lines(sweep.stream.samples, corrections)
        except LoggerError:
            continue
        passes.append(SightedSweep(sight, sweep.stream.keys, sweep.stream.notes, path.name))
    return edited_passes(passes, job.edits_of(point))
