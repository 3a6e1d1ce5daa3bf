"""Points of a job, and recordings on their own, through the pipeline."""

from __future__ import annotations

import datetime as dt
import hashlib
from collections.abc import Collection, Sequence
from pathlib import Path

from logger.errors import InputError, LoggerError, UsageError
from logger.files import json_text
from logger.horizon import Obstruction
from logger.horizon_csv import read_horizon_csv
from logger.horizon_fit import (
    ENTRY_HINT,
    DropSpan,
    Edit,
    ImportHorizon,
    LeaveOut,
    SightedSweep,
    TakeIn,
    edit_from_dict,
    edited_passes,
)
from logger.job import (
    JOB_FILE,
    Job,
    calibration_files,
    file_of,
    point_recordings,
    recording_elsewhere,
)
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
    setup = point_setup(job, point, {s.recording.path.name for s in sweeps})
    if not sweeps:
        # What is left out is not even read: it may be left out because it cannot be.
        sweeps = [load_sweep(path) for path in _kept(job, point, setup.edits)]
    return survey_point(
        point, sweeps, year, settings, setup=setup, corrections_of=corrections_of_job(job)
    )


def is_swept(job: Job, point: str) -> bool:
    """Whether a point still has a recording after the edits that exclude or add some."""
    edits = edits_of(job, point)
    return bool(_kept(job, point, edits) or _taken_in(edits))


def edits_of(job: Job, point: str) -> tuple[Edit, ...]:
    """The changes made to a point in the office, oldest first."""
    return tuple(
        edit_from_dict(entry.change(), f"{job.folder / JOB_FILE}: edit of {entry.when}")
        for entry in job.edits
        if entry.point == point
    )


def recording_of(job: Job, point: str, name: str) -> Path:
    """One of a point's recordings, its own or taken in, by its file name."""
    for path in point_recordings(job, point):
        if path.name == name:
            return path
    if name in (edit.recording for edit in edits_of(job, point) if isinstance(edit, TakeIn)):
        return recording_elsewhere(job, name)
    raise UsageError(f"the point {point!r} has no recording {name!r}")


def _left_out(edits: Sequence[Edit]) -> set[str]:
    return {edit.recording for edit in edits if isinstance(edit, LeaveOut)}


def _taken_in(edits: Sequence[Edit]) -> list[str]:
    """Names of recordings of other points, without those that are left out again."""
    left_out = _left_out(edits)
    found = [edit.recording for edit in edits if isinstance(edit, TakeIn)]
    return [name for name in dict.fromkeys(found) if name not in left_out]


def _kept(job: Job, point: str, edits: Sequence[Edit]) -> list[Path]:
    """The point's own recordings, without those that are left out."""
    own, left_out = point_recordings(job, point), _left_out(edits)
    known = {path.name for path in own}
    known |= {edit.recording for edit in edits if isinstance(edit, TakeIn)}
    if unknown := sorted(left_out - known):
        what = f"a change leaves out {unknown[0]!r}, which is not there"
        raise InputError(what, point, ENTRY_HINT)
    return [path for path in own if path.name not in left_out]


def point_setup(job: Job, point: str, alone: Collection[str] = ()) -> PointSetup:
    """What the job itself says of a point: names, distances, heights, edits."""
    here = [o for o in job.obstructions if o.point in ("", point)]
    known = job.point(point)
    edits = edits_of(job, point)
    if alone:
        edits = tuple(
            edit
            for edit in edits
            if not isinstance(edit, (LeaveOut, TakeIn))
            and not (isinstance(edit, DropSpan) and edit.recording not in alone)
        )
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
        elsewhere={name: load_sweep(recording_elsewhere(job, name)) for name in _taken_in(edits)},
        horizons={
            edit.source: read_horizon_csv(file_of(job, edit.source))
            for edit in edits
            if isinstance(edit, ImportHorizon)
        },
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
        "edits": [entry.as_dict() for entry in job.edits if entry.point == point],
        "recordings": [path.name for path in point_recordings(job, point)],
        "calibrations": [path.name for path in calibration_files(job)],
    }
    return hashlib.sha256(json_text(said).encode("utf-8")).hexdigest()


def earlier_passes(job: Job, point: str, paths: Sequence[Path]) -> tuple[SightedSweep, ...]:
    """What recordings of a point saw, for the screen of a sweep that adds to them.

    A recording, or a change, that cannot be used is left out here: it must not stop a sweep, and
    the point's result will say why.
    """
    corrections_of = corrections_of_job(job)
    left_out = {
        str(e.what.get("recording"))
        for e in job.edits
        if (e.point, e.kind) == (point, LeaveOut.kind)
    }
    passes = []
    for path in paths:
        if path.name in left_out:
            continue
        try:
            sweep = load_sweep(path)
            date = (sweep.recording.started or dt.datetime.now(dt.UTC)).date()
            corrections = corrections_of(sweep, declination_at(job.site, date)).corrections
            sight = sight_lines(sweep.stream.samples, corrections)
        except LoggerError:
            continue
        passes.append(SightedSweep(sight, sweep.stream.keys, sweep.stream.notes, path.name))
    names = {one.name for one in passes}
    dropped: list[Edit] = []
    for entry in job.edits:
        of_these = entry.point == point and str(entry.what.get("recording")) in names
        if of_these and entry.kind == DropSpan.kind:
            try:
                dropped.append(edit_from_dict(entry.change()))
            except LoggerError:
                continue
    return edited_passes(passes, dropped)
