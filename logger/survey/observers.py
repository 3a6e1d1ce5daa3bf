"""The sweeps of a point kept apart, one an observer, in place of merged."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import partial
from pathlib import Path
from typing import Any

import numpy as np

from logger.agreement import Observers, Traced, TracingBias
from logger.agreement.observers import ENOUGH_OBSERVERS, MIDDLE_DEG, SECTOR_DEG
from logger.checks import Check
from logger.errors import InputError, LoggerError, UsageError
from logger.job import Job, kept_recordings
from logger.recording import Recording
from logger.survey.points import load_sweep, point_result
from logger.survey.recipe import Recipe, at_point, set_settings
from logger.survey.workers import in_order

SCHEMA = "horizon-logger agreement 1"


@dataclass(frozen=True)
class Place:
    """A recording, and the job and point that it is one of."""

    job: Job
    point: str
    path: Path
    student: str = ""  # Who swept, whatever the recording says; empty: its observer


@dataclass(frozen=True, eq=False)
class Apart:
    """One recording worked out on its own, or why it could not be."""

    place: Place
    traced: Traced | None = None
    checks: tuple[Check, ...] = ()
    sha256: str = ""  # Of all bytes of the recording
    started: dt.datetime | None = None  # UTC
    roll_deg: float = 0.0  # Root of the mean square of the roll about the line of sight. [deg]
    error: LoggerError | None = None


def swept_apart(places: Sequence[Place], recipe: Recipe) -> list[Apart]:
    """Every recording by itself, with the calibrations of its own job, under one recipe."""
    fast = replace(recipe, settings=replace(recipe.settings, draws=0))
    first: dict[str, str] = {}
    found = []
    for one in in_order(partial(_apart, recipe=fast), places, None, _killed):
        if traced := one.traced:
            # Names that differ in case alone are one observer, as first written.
            who = first.setdefault(traced.observer.casefold(), traced.observer)
            one = replace(one, traced=replace(traced, observer=who))
        found.append(one)
    return found


def places_of(job: Job, point: str) -> list[Place]:
    """The recordings of a point that no edit excludes."""
    return [Place(job, point, path) for path in kept_recordings(job, point)]


def _apart(place: Place, recipe: Recipe) -> Apart:
    job, point = place.job, place.point
    try:
        sweep = load_sweep(place.path)
        result = point_result(job, point, at_point(recipe, job.point(point)), sweeps=(sweep,))
    except LoggerError as error:
        return Apart(place, error=error)
    recording, sight = sweep.recording, result.horizon.sight
    used = [one for one in sight if one.used.any()]
    traced = Traced(
        recording.path.name,
        place.student or observer_of(recording),
        result.horizon.profile,
        result.access.planes[0].solar_access.value,
        len(result.horizon.passes),
        tuple(dict.fromkeys(check.check for check in result.checks if not check.passed)),
        max((one.level_error_deg for one in used), default=0.0),
        max((one.heading_error_deg for one in used), default=0.0),
    )
    rolls = np.concatenate([one.roll_deg[one.used] for one in sight])
    rolls = rolls[np.isfinite(rolls)]
    roll = float(np.sqrt(np.mean(rolls**2))) if rolls.size else 0.0
    return Apart(place, traced, result.checks, recording.sha256, recording.started, roll)


def observer_of(recording: Recording) -> str:
    """Who held the board; the recording's own name where it does not say."""
    return " ".join(recording.text("observer").split()) or recording.path.stem


def _killed(place: Place, why: str) -> Apart:
    return Apart(place, error=InputError(why, str(place.path)))


def enough_of(traced: Sequence[Traced], where: str, reference: bool) -> None:
    """Refuse to hold a sweep against nothing."""
    if len(traced) < (1 if reference else 2):
        raise UsageError(
            f"{len(traced) or 'no'} sweep can be used; two are needed to compare",
            where,
            hint="horizon-logger sweep JOB POINT --observer NAME, or --reference HORIZON.csv",
        )


def set_tracing(job: Job, point: str, found: TracingBias, against: str) -> Job:
    """Let the job's intervals rest on a tracing bias that was found, and say where."""
    observers = f"{found.observers} observer{'' if found.observers == 1 else 's'}"
    came = f"{observers} at {point} against {against}"
    if found.freedom < ENOUGH_OBSERVERS:
        came += f"; too few, the assumed one weighs {1 - found.freedom / ENOUGH_OBSERVERS:.0%}"
    changes = {"tracing_bias_deg": f"{found.to_use_deg:.3f}", "tracing_bias_from": came}
    return set_settings(job, changes)


def as_document(found: Observers, point: str, reference: str) -> dict[str, Any]:
    """The form of ``agreement --json``."""
    return {
        "schema": SCHEMA,
        "point": point,
        "reference": reference or None,
        "observers": [
            {
                "name": name,
                "sweeps": len(found.of(name)),
                "bias_deg": bias.as_dict(),
                "heading_deg": heading.as_dict(),
            }
            for name, bias, heading in zip(
                found.names, found.bias_deg, found.heading_deg, strict=True
            )
        ],
        "sweeps": [
            {
                "recording": one.traced.recording,
                "observer": one.traced.observer,
                "turn_deg": one.turn_deg.as_dict(),
                "lift_deg": one.lift_deg.as_dict(),
                "shape_rms_deg": one.shape_rms_deg,
                "passes": one.traced.passes,
                "failed_checks": list(one.traced.failed),
                "annual_access": one.traced.access[12],
                "monthly_access": one.traced.access[:12],
                "shape_deg": one.shape_deg,
            }
            for one in found.sweeps
        ],
        "consensus": {"azimuth_deg": MIDDLE_DEG, "elevation_deg": found.held_deg},
        "common_bias_deg": found.common_bias_deg.as_dict() if found.reference else None,
        "lift_deg": found.lift,
        "turn_deg": found.turn,
        "annual_access": found.access,
        "monthly_access": found.months,
        "sectors": [
            {"from_azimuth_deg": k * SECTOR_DEG, "to_azimuth_deg": (k + 1) * SECTOR_DEG}
            | vars(sector)
            for k, sector in enumerate(found.sectors)
        ],
        "tracing_bias": found.tracing,
    }
