"""The same point swept again: what stands higher or lower than it did, and how fast it grows.

The elevation of a thing is the mean of the horizon over its sector. Its error in each survey is
that of the level and the hand, of the heading where the sector's ends differ in height, and of the
random part, neighbours within L sqrt(2 pi) counting as one. The errors of two surveys are taken as
independent: what both share, such as one observer's way of tracing, makes the interval too wide and
never too narrow.
"""

from __future__ import annotations

import datetime as dt
import math
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from logger.agreement.observers import CELLS, MIDDLE_DEG, STEP_DEG, Estimate, elevations, slope_of
from logger.arrays import Bools, Floats, floats
from logger.geometry import in_sector
from logger.horizon import HorizonProfile, Obstruction

REST = "everything else"
YEAR_DAYS = 365.25
SHORTEST_YEARS = 0.25  # Between surveys, for a rate of growth. [years]
GROWING = ("evergreen", "deciduous", "other")  # Kinds of obstruction that may grow
LEAST_SHARE = 0.5  # Of a sector, measured in both surveys


@dataclass(frozen=True, eq=False)
class Dated:
    """One survey of a point."""

    profile: HorizonProfile
    day: dt.date
    leaf: str = ""  # "in leaf", "bare", or empty where nobody knows


@dataclass(frozen=True)
class Change:
    """One thing on the horizon, then and now."""

    name: str
    kind: str
    sectors: tuple[tuple[float, float], ...]  # Clockwise, from and to; none for the rest. [deg]
    then_deg: float  # Mean elevation; NaN where not measured in both. [deg]
    now_deg: float
    difference_deg: Estimate
    years: float
    distance_m: float | None = None
    only_leaf: bool = False  # A crown in leaf against a bare one: that is no growth

    @property
    def significant(self) -> bool | None:
        """Whether zero lies outside the 95 % interval; None where not known."""
        if math.isnan(self.difference_deg.value):
            return None
        low, high = self.difference_deg.interval
        return low > 0 or high < 0

    @property
    def rate_deg(self) -> Estimate | None:
        """Degrees a year, where it may be growth. [deg]"""
        if self.only_leaf or self.kind not in GROWING or self.years < SHORTEST_YEARS:
            return None
        found = self.difference_deg
        return Estimate(found.value / self.years, found.error / self.years)

    @property
    def rate_m(self) -> Estimate | None:
        """Metres a year, where the distance is known. [m]"""
        if self.rate_deg is None or self.distance_m is None:
            return None
        # A height above the sight is distance times tangent; its slope at the mean elevation.
        middle = math.radians((self.then_deg + self.now_deg) / 2)
        factor = self.distance_m * math.radians(1.0) / math.cos(middle) ** 2
        rate = self.rate_deg
        return Estimate(rate.value * factor, rate.error * factor)

    def as_dict(self) -> dict[str, Any]:
        """The form in ``report --json``."""
        return {
            "name": self.name,
            "kind": self.kind,
            "sectors_deg": [list(sector) for sector in self.sectors],
            "then_deg": self.then_deg,
            "now_deg": self.now_deg,
            "difference_deg": self.difference_deg.as_dict(),
            "significant": self.significant,
            "only_leaf": self.only_leaf,
            "growth_deg_a_year": self.rate_deg and self.rate_deg.as_dict(),
            "growth_m_a_year": self.rate_m and self.rate_m.as_dict(),
        }


def changes_of(then: Dated, now: Dated) -> list[Change]:
    """Everything named now, what was named then alone, and what has no name, one a name."""
    names = dict.fromkeys(o.name for o in (*now.profile.obstructions, *then.profile.obstructions))
    rest = np.ones(CELLS, dtype=bool)
    found = []
    for name in names:
        both = [[o for o in s.profile.obstructions if o.name == name] for s in (now, then)]
        parts = both[0] or both[1]  # where it stood then, if it is gone
        cells = np.any([_inside(o) for o in parts], axis=0)
        distance = next((o.distance_m for o in (*both[0], *both[1]) if o.distance_m), None)
        found.append(_change(parts, cells, distance, then, now))
        rest &= ~cells
    if rest.any():
        found.append(_change([], rest, None, then, now))
    return found


def _inside(o: Obstruction) -> Bools:
    return np.asarray(in_sector(MIDDLE_DEG, o.from_azimuth_deg, o.to_azimuth_deg), dtype=bool)


def _change(
    parts: list[Obstruction], cells: Bools, distance_m: float | None, then: Dated, now: Dated
) -> Change:
    before, after = elevations(then.profile)[cells], elevations(now.profile)[cells]
    both = np.isfinite(before) & np.isfinite(after)
    name, kind = (parts[0].name, parts[0].kind) if parts else (REST, "terrain")
    change = Change(
        name,
        kind,
        tuple((o.from_azimuth_deg, o.to_azimuth_deg) for o in parts),
        math.nan,
        math.nan,
        Estimate(math.nan, math.nan),
        (now.day - then.day).days / YEAR_DAYS,
        distance_m,
        kind == "deciduous" and then.leaf != now.leaf,
    )
    if not both.size or both.mean() < LEAST_SHARE:
        return change
    error = math.hypot(_error(then.profile, cells, both), _error(now.profile, cells, both))
    heights = float(before[both].mean()), float(after[both].mean())
    difference = Estimate(heights[1] - heights[0], error)
    return replace(change, then_deg=heights[0], now_deg=heights[1], difference_deg=difference)


def _error(profile: HorizonProfile, cells: Bools, both: Bools) -> float:
    """Standard error of the mean elevation of some cells."""
    slope = slope_of(elevations(profile))[cells][both]
    random = _random(profile)[cells][both]
    alike = max(profile.correlation_deg * math.sqrt(2 * math.pi) / STEP_DEG, 1.0)
    count = max(both.sum() / alike, 1.0)
    return math.hypot(
        profile.level_error_deg,
        profile.heading_error_deg * float(slope.mean()),
        math.sqrt(float(np.mean(random**2)) / count),
    )


def _random(profile: HorizonProfile) -> Floats:
    """Standard error at each cell, vertical edges left out: their place is the heading's matter."""
    error = np.nan_to_num(profile.standard_error_deg)
    usual = float(np.median(error[error > 0])) if (error > 0).any() else 0.0
    at = np.interp(MIDDLE_DEG, profile.azimuth_deg, np.minimum(error, 3.0 * usual), period=360.0)
    return floats(at)
