"""An earlier survey of the same points: what changed since, and when a rule would fail."""

from __future__ import annotations

import datetime as dt
import math
from bisect import bisect_left
from collections.abc import Sequence
from dataclasses import asdict, dataclass, replace
from typing import Any

import numpy as np

from logger.access import SiteYear
from logger.access.leaf import middle_leaf
from logger.agreement.growth import Change, Dated, changes_of
from logger.errors import InputError
from logger.geometry import in_sector
from logger.horizon import LEAF_STATES, HorizonProfile
from logger.job import Job, kept_recordings, point_names
from logger.site import Site
from logger.survey.compare import Difference, difference
from logger.survey.points import point_result
from logger.survey.recipe import Recipe, year_of
from logger.survey.result import PointResult

FARTHEST_YEARS = 30  # As far as growth is carried on. [years]


@dataclass(frozen=True)
class RuleFails:
    """A rule that is kept now and would fail if what grew goes on growing."""

    plane: str
    rule: str
    years: int  # From now; at the growth found
    earliest: int  # At the upper end of its 95 % interval
    latest: int | None  # At the lower end; None: not within `FARTHEST_YEARS`


@dataclass(frozen=True, eq=False)
class Changed:
    """A point then and now."""

    point: str
    then: dt.date
    now: dt.date
    changes: tuple[Change, ...]
    access: Difference  # Of the year, now less then, on the first plane
    fails: tuple[RuleFails, ...]

    def as_dict(self) -> dict[str, Any]:
        """The form in ``report --json``."""
        return {
            "point": self.point,
            "then": self.then.isoformat(),
            "now": self.now.isoformat(),
            "changes": [one.as_dict() for one in self.changes],
            "annual_access": asdict(self.access) | {"significant": self.access.significant},
            "rules_that_would_fail": [asdict(one) for one in self.fails],
        }


def changed_since(earlier: Job, points: Sequence[PointResult]) -> list[Changed]:
    """What changed at each point that the earlier job has too, all under this job's recipe."""
    folder = earlier.folder
    swept = {name for name in point_names(earlier) if kept_recordings(earlier, name)}
    both = [point for point in points if point.name in swept]
    if not both:
        what = "no point of that job bears the name of one of this"
        raise InputError(what, str(folder), "horizon-logger edit rename-point")
    pairs = [(point_result(earlier, now.name, now.recipe), now) for now in both]
    again = [(then, now) for then, now in pairs if _hashes(then) != _hashes(now)]
    if not again:
        raise InputError("its recordings are the very same: nothing was swept again", str(folder))
    return [_changed(then, now) for then, now in again]


def _hashes(point: PointResult) -> set[str]:
    return {recording.sha256 for recording in point.recordings}


def _changed(then: PointResult, now: PointResult) -> Changed:
    before, after = (dated(one) for one in (then, now))
    if before.day > after.day:
        raise InputError(f"was swept on {before.day}, later than {after.day}", now.name)
    changes = tuple(changes_of(before, after))
    years = [one.access.planes[0].solar_access.year for one in (now, then)]
    gap = difference(*((y.value, y.low, y.high) for y in years))
    fails = rules_that_fail(now.horizon.profile, changes, now.recipe)
    return Changed(now.name, before.day, after.day, changes, gap, fails)


def dated(result: PointResult) -> Dated:
    """A point's horizon with its day, and whether its trees were in leaf."""
    started = [s.recording.started for s in result.sweeps if s.recording.started is not None]
    if not started:
        why = "no recording says when it was started: nothing can be said of growth"
        raise InputError(why, result.name)
    told = {s.recording.text("leaf") for s in result.sweeps} & set(LEAF_STATES)
    leaf = told.pop() if len(told) == 1 else _leaf_on(started[0].date(), result.site)
    return Dated(result.horizon.profile, max(started).date(), leaf)


def _leaf_on(day: dt.date, site: Site) -> str:
    number = np.array([min(day.timetuple().tm_yday, 365) - 1])
    return LEAF_STATES[0] if middle_leaf(site).is_in_leaf(number[None]).all() else LEAF_STATES[1]


def rules_that_fail(
    profile: HorizonProfile, changes: Sequence[Change], recipe: Recipe
) -> tuple[RuleFails, ...]:
    """Which rules that are kept now fail if what grew significantly goes on growing."""
    growing = [c for c in changes if c.significant and c.rate_deg and c.difference_deg.value > 0]
    if not recipe.rules or not growing:
        return ()
    year = year_of(replace(recipe, settings=replace(recipe.settings, draws=0)))
    now = _failing(year, profile)
    found = []
    for plane, rule in sorted(_failing(year, _grown(profile, growing, FARTHEST_YEARS, 1)) - now):
        first = [_first_year(year, profile, growing, end, (plane, rule)) for end in (-1, 0, 1)]
        if first[1] is not None and first[2] is not None:
            found.append(RuleFails(plane, rule, first[1], first[2], first[0]))
    return tuple(found)


def _first_year(
    year: SiteYear, profile: HorizonProfile, growing: Sequence[Change], end: int,
    which: tuple[str, str],
) -> int | None:  # fmt: skip
    """The first whole year in which a rule fails, by halving: growth only takes light."""

    def fails(years: int) -> bool:
        return which in _failing(year, _grown(profile, growing, years, end))

    years = 1 + bisect_left(range(1, FARTHEST_YEARS + 1), True, key=fails)
    return years if years <= FARTHEST_YEARS else None


def _failing(year: SiteYear, profile: HorizonProfile) -> set[tuple[str, str]]:
    planes = year.assess(profile).planes
    return {(p.plane.name, v.rule) for p in planes for v in p.verdicts if v.value < v.limit}


def _grown(
    profile: HorizonProfile, growing: Sequence[Change], years: int, end: int
) -> HorizonProfile:
    """The horizon after so many years, at the rate found (0) or an end of its interval (-1, 1)."""
    tangent = np.tan(np.radians(profile.elevation_deg))
    for one in growing:
        assert one.rate_deg is not None
        low, high = one.rate_deg.interval
        rate = max({-1: low, 0: one.rate_deg.value, 1: high}[end], 0.0)
        # Evenly in height, whatever the distance is: evenly in the tangent of the elevation.
        slope = math.radians(1.0) / math.cos(math.radians((one.then_deg + one.now_deg) / 2)) ** 2
        inside = np.any([in_sector(profile.azimuth_deg, a, b) for a, b in one.sectors], axis=0)
        tangent = np.where(inside, tangent + rate * slope * years, tangent)
    return replace(profile, elevation_deg=np.degrees(np.arctan(tangent)))
