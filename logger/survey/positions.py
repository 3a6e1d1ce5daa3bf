"""Where the points swept are, from the job or else from their recordings."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

import numpy as np

from logger.arrays import Floats, floats
from logger.checks import Check
from logger.job import Job
from logger.parallax import SweptPoint
from logger.recording import Recording
from logger.survey.result import PointResult

POSITION_ERROR_M, NO_POSITION_M, NO_UP_M = 0.3, 5.0, 0.5
"""1 sigma where a position comes without one; where there is none; and of a height not told."""

POSITION_KEYS = ("east_m", "north_m", "up_m", "position_error_m")


def swept_points(job: Job, results: Sequence[PointResult]) -> tuple[list[SweptPoint], list[Check]]:
    """The points that have a position, from the job or else their recordings; all where none has.

    Without any position all are taken to lie about the origin, and no distance is known.
    """
    found, without = [], []
    for result in results:
        at, error = position_of(job, result)
        if at is None:
            without.append(result.name)
            continue
        found.append(SweptPoint(result.name, at, error, result.horizon.profile))
    why = "every point swept has a position"
    if without:
        why = (
            f"no position of {', '.join(without)}: tell it with edit set-position JOB POINT --at "
            "EAST,NORTH,UP; until then "
            + ("it is left out" if found else "no distance can be worked out")
        )
    check = Check("positions known", not without, float(len(without)), 0.0, "", why)
    if not found:
        found = [SweptPoint(r.name, np.zeros(3), NO_POSITION_M, r.horizon.profile) for r in results]
    return found, [check]


def position_of(job: Job, result: PointResult) -> tuple[Floats | None, float]:
    """East, north and up of a point and their standard error [m]; None where nobody told them."""
    east, north, up, error = told_position(job, result.name, result.recordings)
    if east is None or north is None:
        return None, 0.0
    return floats([east, north, up or 0.0]), _error(error, up)


def told_position(
    job: Job, point: str, recordings: Iterable[Recording]
) -> tuple[float | None, ...]:
    """East, north, up and their standard error [m] by the job, else by the first that tells."""
    known = job.point(point)
    told: tuple[float | None, ...] = tuple(getattr(known, key) for key in POSITION_KEYS)
    for recording in recordings:
        if None not in told[:2]:
            break
        told = tuple(recording.number(key) for key in POSITION_KEYS)
    return told


def _error(error: float | None, up: float | None) -> float:
    known = POSITION_ERROR_M if error is None else error
    return known if up is not None else float(np.hypot(known, NO_UP_M))
