"""A class that swept one point: who did what well, and what cost access, first causes first."""

from __future__ import annotations

import datetime as dt
import math
from collections import Counter
from collections.abc import Sequence
from dataclasses import asdict, dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np

from logger.agreement import Observers, SweepOf, observers_of
from logger.agreement.observers import MIDDLE_DEG
from logger.arrays import Floats
from logger.checks import NORMAL_95
from logger.errors import InputError, LoggerError
from logger.geometry import interpolate_azimuthal
from logger.horizon import HorizonProfile
from logger.job import Job, kept_recordings, point_names, read_job
from logger.recording import read_recording
from logger.site import distance_km
from logger.survey.batch import job_folders
from logger.survey.compare import SUN_RANGE_CHECK
from logger.survey.observers import Apart, Place, enough_of, observer_of, swept_apart
from logger.survey.recipe import Recipe, recipe_of, year_of

SCHEMA = "horizon-logger class 1"

# Root of the mean square of the roll that is told of (common practice, no source). [deg]
ROLLED_DEG = 15.0
# Share of the year's light: what costs less is told only where a check failed.
WORTH_TELLING = 0.003
# Jobs of one point lie within this: the site is rounded in more than one way. [km]
ONE_SPOT_KM = 0.1
COMPASS = ("tumble coverage", "compass heading error", "compass calibration")
PASSES = ("passes agree", "heading steady", "sun's range seen twice")
RANGE = (SUN_RANGE_CHECK,)


@dataclass(frozen=True)
class Cause:
    """One thing that went well or not, and what it did to the year's access."""

    cause: str  # compass, level, passes, roll, range or other
    well: bool
    told: str  # What was found, and where it did not go well what to do
    effect: float  # Of the year's light; NaN where not known


@dataclass(frozen=True)
class Student:
    """A line of the page on the wall."""

    name: str
    access: float  # Of the year, on the first plane; NaN where not known
    off: float  # Less that of the consensus or the reference
    causes: tuple[Cause, ...]  # In the order of their effect on access

    @property
    def well(self) -> tuple[str, ...]:
        """What went well."""
        return tuple(one.told for one in self.causes if one.well)

    @property
    def better(self) -> tuple[str, ...]:
        """What to do better, what cost most first."""
        return tuple(one.told for one in self.causes if not one.well)


@dataclass(frozen=True, eq=False)
class Lesson:
    """All that a class measured."""

    plane: str
    access: float  # Of the consensus or the reference
    students: tuple[Student, ...]
    observers: Observers
    middle_deg: float  # Towards the equator
    swept: dt.date  # The last day; today where no recording tells
    twice: tuple[str, ...] = ()  # Recordings that several handed in
    left_out: tuple[str, ...] = ()  # What could not be worked out, and why
    remarks: tuple[str, ...] = ()

    def as_dict(self) -> dict[str, Any]:
        """The form of ``class --json``."""
        return {
            "schema": SCHEMA,
            "plane": self.plane,
            "annual_access": self.access,
            "students": [asdict(one) for one in self.students],
            "lift_deg": self.observers.lift,
            "turn_deg": self.observers.turn,
            "access": self.observers.access,
            "tracing_bias": self.observers.tracing,
            "same_recording": list(self.twice),
            "left_out": list(self.left_out),
            "remarks": list(self.remarks),
        }


def lesson_of(folder: Path, reference: HorizonProfile | None = None) -> Lesson:
    """Work out every recording of a class under the first job's sky, planes and settings."""
    jobs, unread = [], []
    for path in job_folders(folder):
        try:
            jobs.append(read_job(path))
        except InputError as error:
            unread.append(error)
    if not jobs:
        raise unread[0]
    recipe = recipe_of(jobs[0])
    apart, twice = _once_each(swept_apart(_places(jobs), recipe))
    traced = [one.traced for one in apart if one.traced is not None]
    enough_of(traced, str(folder), reference is not None)
    found = observers_of(traced, reference)
    judge = _Judge(recipe, found)
    swept = {id(one.traced): one for one in apart}
    # Further sweeps of a student count in the spreads alone.
    firsts = [found.of(name)[0] for name in found.names]
    students = tuple(judge.student(one, swept[id(one.traced)]) for one in firsts)
    far = [j for j in jobs if distance_km(j.site, jobs[0].site) > ONE_SPOT_KM]
    return Lesson(
        recipe.planes[0].name,
        judge.right,
        students,
        found,
        recipe.site.equatorward_azimuth_deg,
        max((one.started.date() for one in apart if one.started), default=dt.date.today()),
        twice,
        (
            *map(str, unread),
            *(f"{one.place.student}: {one.error}" for one in apart if one.error is not None),
        ),
        tuple(f"{j.name} lies elsewhere: it is no sweep of this point" for j in far),
    )


def _places(jobs: Sequence[Job]) -> list[Place]:
    """Every recording and whose it is: a job's, a point's, or that of the observer it names."""
    named = Counter(job.name for job in jobs)
    places = []
    for job in jobs:
        own = job.name if named[job.name] == 1 else f"{job.name} ({job.folder.name})"
        points = [(p, kept_recordings(job, p)) for p in point_names(job)]
        several = len(jobs) == 1 and len([p for p, paths in points if paths]) > 1
        said = {_said(path).casefold() for _, paths in points for path in paths}
        for point, paths in points:
            for path in paths:
                who = own if len(jobs) > 1 and len(said) == 1 else point if several else ""
                places.append(Place(job, point, path, who))
    return places


def _said(path: Path) -> str:
    try:
        return observer_of(read_recording(path))
    except LoggerError:  # told where it is worked out
        return ""


def _once_each(apart: Sequence[Apart]) -> tuple[list[Apart], tuple[str, ...]]:
    """Recordings that nobody handed in before, byte for byte; and who handed in which again."""
    first: dict[str, Apart] = {}
    kept, twice = [], []
    for one in apart:
        before = first.setdefault(one.sha256, one) if one.sha256 else one
        if before is one:
            kept.append(one)
            continue
        names = [_name(which) for which in (one, before)]
        twice.append(
            f"{names[0]} handed in the recording of {names[1]}, byte for byte "
            f"({one.place.path.name}): it counts once"
        )
    return kept, tuple(twice)


def _name(one: Apart) -> str:
    return one.place.student or (one.traced.observer if one.traced else one.place.path.stem)


class _Judge:
    """Holds each student's parts against what is taken for right."""

    def __init__(self, recipe: Recipe, found: Observers) -> None:
        self.year = year_of(replace(recipe, settings=replace(recipe.settings, draws=0)))
        self.held = np.nan_to_num(found.held_deg)
        # Leaf and bare crowns count alike for all: as whoever named most of them has it.
        named = (one.traced.profile.obstructions for one in found.sweeps)
        self.named = max(named, key=lambda those: sum(o.kind != "other" for o in those))
        self.right = self.access(self.held)

    def access(self, elevation_deg: Floats) -> float:
        """Of the year on the first plane, under a horizon known all round."""
        height = np.clip(elevation_deg, -90.0, 90.0)
        profile = HorizonProfile(MIDDLE_DEG, height, obstructions=self.named)
        return self.year.assess(profile).planes[0].solar_access.annual

    def student(self, one: SweepOf, apart: Apart) -> Student:
        """What a sweep shows of who made it."""
        traced = one.traced
        rows = traced.elevation_deg
        full = np.where(np.isfinite(rows), rows, self.held)
        turn, lift = (np.nan_to_num(part.value) for part in (one.turn_deg, one.lift_deg))
        mine = self.access(full)
        placed = self._turned(self.held, turn) + lift
        effects = {
            "compass": mine - self.access(self._turned(full, -turn)),
            "level": mine - self.access(full - lift),
            "passes": mine - self.access(np.where(np.isfinite(rows), placed, full)),
            "range": self.access(np.nan_to_num(rows)) - mine,
        }
        access = float(traced.access[12])
        return Student(traced.observer, access, access - self.right, _causes(one, apart, effects))

    def _turned(self, row: Floats, turn: float) -> Floats:
        return np.asarray(interpolate_azimuthal(MIDDLE_DEG - turn, MIDDLE_DEG, row))


def _causes(one: SweepOf, apart: Apart, effects: dict[str, float]) -> tuple[Cause, ...]:
    traced, roll_deg = one.traced, apart.roll_deg
    whys = {check.check: check.why for check in apart.checks}
    failed = set(traced.failed)

    def judged(
        cause: str, checks: Sequence[str], well: str, better: str, beyond: bool = False
    ) -> Cause:
        effect = effects.get(cause, 0.0)
        sound = not failed & set(checks) and abs(effect) < WORTH_TELLING and not beyond
        told = well if sound else f"{better} ({_points(effect)})"
        return Cause(cause, sound, told, effect)

    turn, lift = one.turn_deg.value, one.lift_deg.value
    heading = f"heading {abs(turn):.1f}° off" if math.isfinite(turn) else "heading not known"
    doubt = NORMAL_95 * math.hypot(one.turn_deg.error, traced.heading_error_deg)
    compass = "compass not turned enough: turn every side of the board down when you tumble it"
    found = [
        judged(
            "compass", COMPASS, heading,
            compass if failed & set(COMPASS)
            else f"{heading}: iron away from the board, tumble it again",
            abs(turn) > doubt,
        ),
        judged(
            "level", (), f"edge and level {abs(lift):.1f}° off",
            f"traced {abs(lift):.1f}° too {'high' if lift > 0 else 'low'}: "
            "follow the very edge, and take the level again",
        ),
        judged(
            "passes", PASSES, f"{traced.passes} passes agree",
            "passes disagree: slower, along the edge, nothing of iron about you"
            if failed & set(PASSES) else "the shape differs: slower along roofs and crowns",
        ),
        judged(
            "range", RANGE, "all of the sun's range swept",
            "missed part of the sun's range: sweep on to both ends that the screen shows",
        ),
    ]  # fmt: skip
    if roll_deg >= ROLLED_DEG:
        told = f"rolled by hand, {roll_deg:.0f}° on average: hold the board upright"
        found.append(Cause("roll", False, f"{told} (in the others' effects)", 0.0))
    known = {*COMPASS, *PASSES, *RANGE}
    found += [
        Cause("other", False, whys.get(check, check), 0.0)
        for check in traced.failed
        if check not in known
    ]
    return tuple(sorted(found, key=lambda cause: -abs(np.nan_to_num(cause.effect))))


def _points(effect: float) -> str:
    if abs(effect) < 0.0005:
        return "no effect on access"
    return f"{100 * effect:+.1f} points of access".replace("-", "−")
