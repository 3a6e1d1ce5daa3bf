"""Points of a job, and recordings on their own, through the pipeline."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from contextlib import suppress
from dataclasses import replace
from pathlib import Path

from logger.checks import Check
from logger.edits import ExcludeSweep, RemovePoint
from logger.errors import InputError
from logger.horizon import Obstruction
from logger.job import (
    JOB_FILE,
    Job,
    begun_recordings,
    kept_recordings,
    point_of,
    read_job,
    swept_under_two_names,
)
from logger.parallax import PositionedPoint
from logger.recording import load_stream, read_recording
from logger.survey.calibrations import stored_calibrations
from logger.survey.pipeline import PointSetup, site_of, survey_point, swept_point
from logger.survey.positions import Position, neighbours
from logger.survey.recipe import Overrides, Recipe, recipe_at, recipe_of
from logger.survey.result import PointResult, Sweep
from logger.survey.terrain_store import stored_terrain


def load_sweep(
    path: Path, *, rate_hz: float | None = None, accept_broken_seal: bool = False
) -> Sweep:
    """Read and decode one file; one that was recorded for something else says so."""
    recording, stream = load_stream(path, rate_hz=rate_hz, accept_broken_seal=accept_broken_seal)
    if (purpose := recording.text("purpose", "sweep")) != "sweep":
        said = f"recorded for a calibration ({purpose}), not as a sweep"
        recording = replace(recording, problems=(*recording.problems, said))
    for key, (low, high) in METRES.items():
        value = recording.number(key)
        if value is not None and not low <= value <= high:
            what = f"its header has {value:g} for {key}, outside {low:g} to {high:g}"
            raise InputError(what, str(path), "exclude it: horizon-logger edit exclude-sweep")
    return Sweep(recording, stream)


# What a recording's header may say of its place. [m]
METRES = {
    **dict.fromkeys(("east_m", "north_m", "up_m"), (-100_000.0, 100_000.0)),
    **dict.fromkeys(("sight_height_m", "module_height_m"), (0.0, 1000.0)),
    "position_error_m": (0.0, 100_000.0),
}


def point_result(
    job: Job,
    point: str,
    recipe: Recipe,
    *,
    sweeps: Sequence[Sweep] = (),
) -> PointResult:
    """A point of a job from its recordings, with the job's calibrations and names."""
    alone = bool(sweeps)
    # What is excluded is not even read: it may be excluded because it cannot be.
    sweeps = sweeps or [load_sweep(path) for path in kept_recordings(job, point)]
    setup = point_setup(job, point, alone=alone)
    if not alone and _is_carried(setup, sweeps) and (near := neighbours(job, point)):
        setup = _with_neighbours(job, point, recipe, setup, near)
    result = survey_point(point, sweeps, recipe, setup=setup)
    twice = () if alone else swept_under_two_names(job, point)
    return replace(result, checks=(*result.checks, *(_of_one_point(*one) for one in twice)))


def _is_carried(setup: PointSetup, sweeps: Sequence[Sweep]) -> bool:
    """Whether the module is not where the sight was, so that distances matter."""
    heights = {setup.sight_height_of(sweep.recording) for sweep in sweeps}
    return setup.module_height_m is not None and bool(heights - {None, setup.module_height_m})


def _with_neighbours(
    job: Job, point: str, recipe: Recipe, setup: PointSetup, near: Mapping[str, Position]
) -> PointSetup:
    """With what was swept nearby; a neighbour that cannot be worked out tells nothing."""
    beside = []
    for name in [name for name in near if name != point]:
        with suppress(InputError):
            sweeps = [load_sweep(path) for path in kept_recordings(job, name)]
            found = swept_point(name, sweeps, recipe, point_setup(job, name))
            beside.append(PositionedPoint(name, *near[name], found.horizon.profile))
    return replace(setup, here=near[point], beside=tuple(beside))


def _of_one_point(recording: Path, other: str) -> Check:
    why = f"{recording.name} is a recording of {other} too: take it out of one of the folders"
    return Check("recording of one point", False, 2.0, 1.0, "", why)


def recording_result(
    sweep: Sweep,
    folder: Path | None,
    place: tuple[float | None, float | None, float | None],
    overrides: Overrides,
) -> PointResult:
    """A recording on its own, with the calibrations and planes of a job if one is given.

    Parameters
    ----------
    sweep : Sweep
        As `load_sweep` reads it.
    folder : Path or None
        Of the job.
    place : tuple of three floats or None
        Latitude, longitude [deg] and altitude [m] in place of what job or recording tell.
    overrides : Overrides
        Settings, planes, weather in place of the job's.

    Raises
    ------
    InputError, UsageError
        The site is not known, or the recording holds no direction.
    """
    path, recording = sweep.recording.path, sweep.recording
    job = None if folder is None else read_job(folder)
    site = site_of(recording, job.site if job else None, *place)
    point = recording.text("point") or path.stem
    if job is None:
        return survey_point(point, [sweep], recipe_at(site, overrides))
    around = job_around(path)
    if around is not None and around.resolve() == job.folder.resolve():
        point = point_of(path)  # in a job the folder decides
    recipe = replace(recipe_of(job, overrides), site=site)
    return point_result(job, point, recipe, sweeps=(sweep,))


def job_around(recording: Path) -> Path | None:
    """The job in whose ``sweeps/<point>/`` a recording lies."""
    parents = recording.absolute().parents
    if len(parents) > 2 and parents[1].name == "sweeps" and (parents[2] / JOB_FILE).is_file():
        return parents[2]
    return None


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
        begun=tuple(read_recording(path) for path in begun_recordings(job, point)),
        terrain=stored_terrain(job, point),
        stored=stored_calibrations(job),
    )
