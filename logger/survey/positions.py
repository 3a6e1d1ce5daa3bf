"""Where the points swept are, from the job or else from their recordings, or from one another."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable, Iterator, Sequence
from contextlib import suppress
from pathlib import Path
from typing import TypeAlias

import numpy as np

from logger.arrays import Floats, floats
from logger.checks import Check
from logger.errors import InputError, UsageError, as_argument
from logger.job import Job, kept_recordings, point_names
from logger.orientation import declination_at, declination_given
from logger.parallax import PositionedPoint
from logger.recording import Recording, read_recording
from logger.survey.recipe import recipe_of
from logger.survey.result import PointResult

POSITION_ERROR_M, NO_POSITION_M, NO_UP_M = 0.3, 5.0, 0.5
"""1 sigma where a position comes without one; where there is none; and of a height not told."""

POSITION_KEYS = ("east_m", "north_m", "up_m", "position_error_m")

NEIGHBOUR_M, MOST_NEIGHBOURS = 50.0, 2
"""Points further off, and more of them, tell little more of distances near one."""

BEARING_ERROR_DEG = 1.0
"""Of a bearing read off a hand compass, 1 sigma (common practice, no source)."""


Position: TypeAlias = tuple[Floats, float]
"""East, north and up, and the standard error of each. [m]"""


def swept_points(
    job: Job, results: Sequence[PointResult]
) -> tuple[list[PositionedPoint], list[Check]]:
    """The points that have a position, from the job or else their recordings; all where none has.

    Without any position all are taken to lie about the origin, and no distance is known.
    """
    found, without = [], []
    for result in results:
        position = position_of(job, result.name, result.recordings)
        if position is None:
            without.append(result.name)
            continue
        found.append(PositionedPoint(result.name, *position, result.horizon.profile))
    why = "every point swept has a position"
    if without:
        why = (
            f"no position of {', '.join(without)}: tell it with edit set-position JOB POINT --at "
            "EAST,NORTH,UP; until then "
            + ("it is left out" if found else "no distance can be worked out")
        )
    check = Check("positions known", not without, float(len(without)), 0.0, "", why)
    if not found:
        found = [
            PositionedPoint(r.name, np.zeros(3), NO_POSITION_M, r.horizon.profile) for r in results
        ]
    return found, [check]


def position_of(job: Job, point: str, recordings: Iterable[Recording]) -> Position | None:
    """Of a point, as the job or else its recordings tell it; None where nobody told it."""
    east, north, up, error = told_position(job, point, recordings)
    if east is None or north is None:
        return None
    return floats([east, north, up or 0.0]), _error(error, up)


def told_position(
    job: Job, point: str, recordings: Iterable[Recording]
) -> tuple[float | None, ...]:
    """East, north, up and their standard error [m] by the job, else by the first that tells."""
    known = job.point(point)
    told: tuple[float | None, ...] = tuple(getattr(known, key) for key in POSITION_KEYS)
    unread = iter(recordings)  # each only where none before it tells
    while None in told[:2] and (recording := next(unread, None)) is not None:
        told = tuple(recording.number(key) for key in POSITION_KEYS)
    return told


def job_position(job: Job, point: str) -> Position | None:
    """Of a point of the job; a recording that cannot be read tells none."""
    return position_of(job, point, _readable(kept_recordings(job, point)))


def _readable(paths: Iterable[Path]) -> Iterator[Recording]:
    """Recordings one by one, without those that cannot be read."""
    for path in paths:
        with suppress(InputError):
            yield read_recording(path)


def neighbours(job: Job, point: str) -> dict[str, Position]:
    """A point whose module is not where its sight was, and the points swept nearest to it.

    They tell the distances that its horizon is carried to the module by. Empty where there are
    none.
    """
    if job.point(point).module_height_m is None or (here := job_position(job, point)) is None:
        return {}
    names = [n for n in point_names(job) if n != point and kept_recordings(job, n)]
    found = {name: at for name in names if (at := job_position(job, name)) is not None}

    def away_m(name: str) -> float:
        return float(np.linalg.norm(found[name][0] - here[0]))

    near = sorted((n for n in found if away_m(n) < NEIGHBOUR_M), key=away_m)[:MOST_NEIGHBOURS]
    return {point: here, **{name: found[name] for name in near}} if near else {}


def position_from(
    job: Job, point: str, tape_m: float, bearing_deg: float, rise_m: float, tape_error_m: float
) -> tuple[tuple[float, float, float], float]:
    """Where a tape ends that is held from a point along a compass bearing; and the error of that.

    The error of a position counts alike in every direction: the larger of that along the tape and
    that across it stands for both.
    """
    position = job_position(job, point)
    if position is None:
        hint = f"horizon-logger edit set-position {as_argument(job.folder)} {as_argument(point)}"
        raise UsageError(f"{point} has no position itself", hint=f"{hint} --at 0,0,0")
    at, error_m = position
    if abs(rise_m) > tape_m:
        raise UsageError(f"a tape of {tape_m:g} m does not reach {abs(rise_m):g} m up or down")
    recipe = recipe_of(job)
    started = [read_recording(path).started for path in kept_recordings(job, point)]
    date = recipe.date or max((s.date() for s in started if s), default=dt.date.today())
    given = recipe.settings.declination_deg
    declination = (
        declination_at(job.site, date, recipe.magnetic_model)
        if given is None
        else declination_given(given)
    )
    level_m = float(np.sqrt(tape_m**2 - rise_m**2))
    a = np.radians(bearing_deg + declination.value_deg)
    turned = np.radians(np.hypot(BEARING_ERROR_DEG, declination.standard_error_deg))
    apart_m = max(tape_error_m, level_m * float(turned))
    to_m = floats([level_m * np.sin(a), level_m * np.cos(a), rise_m])
    east, north, up = np.round(at + to_m, 3).tolist()
    return (east, north, up), round(float(np.hypot(error_m, apart_m)), 3)


def _error(error: float | None, up: float | None) -> float:
    known = POSITION_ERROR_M if error is None else error
    return known if up is not None else float(np.hypot(known, NO_UP_M))
