"""Points and planes of a job side by side: which is best, by how much, and corners of one array."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from logger.arrays import Floats, floats, freeze_columns
from logger.report.figures import PlaneFigures
from logger.survey.comparison import Difference, difference

YEAR = 12


@dataclass(frozen=True, eq=False)
class Spot:
    """A point's figures."""

    name: str
    planes: tuple[PlaneFigures, ...]  # The same planes in the same order at every point
    fit: bool = True  # No quality check failed


@dataclass(frozen=True)
class Best:
    """Which of several is best, held against all others."""

    name: str  # The one of the highest value
    others: tuple[tuple[str, Difference], ...]  # The best less each other, the nearest first

    @property
    def no_real_difference(self) -> tuple[str, ...]:
        """Those that may as well be the best."""
        return tuple(name for name, gap in self.others if not gap.is_real)

    @property
    def stands_out(self) -> bool:
        """The best is better than every other by more than the uncertainty."""
        return not self.no_real_difference


@dataclass(frozen=True, eq=False)
class Corners:
    """An array's plane over its corner points."""

    name: str  # Of the array
    plane: str
    points: tuple[str, ...]
    # Mean over the corners, months and year. Low and high are the means of theirs: errors that
    # all corners share, such as the declination's, do not average out. 0 to 1. Shape (13,).
    average: Floats
    average_low: Floats
    average_high: Floats
    # Of the corner of the least value in each month, and in the year. Shape (13,).
    worst: Floats
    worst_low: Floats
    worst_high: Floats
    worst_point: tuple[str, ...]  # Which corner that is; empty in a month without sun

    def __post_init__(self) -> None:
        names = [f"{a}{b}" for a in ("average", "worst") for b in ("", "_low", "_high")]
        freeze_columns(self, names, length=YEAR + 1)


def best_point(spots: Sequence[Spot], plane: int) -> Best | None:
    """The point with the highest annual solar access on a plane; None of fewer than two."""
    return _best([(spot.name, _access(spot.planes[plane])) for spot in spots])


def best_plane(spot: Spot) -> Best | None:
    """The plane with the highest total solar resource fraction at a point; None of fewer than two.

    Access alone would favour a plane that looks away from sun and obstruction alike; the
    orientation factor makes planes comparable.
    """
    return _best([(plane.name, _resource(plane)) for plane in spot.planes])


def corners(name: str, spots: Sequence[Spot], plane: int) -> Corners:
    """Average and worst over the corner points of an array."""
    value, low, high = (
        floats([_months(spot.planes[plane], which) for spot in spots])
        for which in ("value", "low", "high")
    )
    defined = np.asarray(np.isfinite(value).any(axis=0), dtype=bool)
    at = np.argmin(np.where(np.isfinite(value), value, np.inf), axis=0)
    rows = np.arange(YEAR + 1)

    def mean(columns: Floats) -> Floats:
        # A month is dark at all corners or at none: they share the sun.
        return floats(np.where(defined, columns.mean(axis=0), np.nan))

    def worst(columns: Floats) -> Floats:
        return floats(np.where(defined, columns[at, rows], np.nan))

    return Corners(
        name,
        spots[0].planes[plane].name,
        tuple(spot.name for spot in spots),
        mean(value),
        mean(low),
        mean(high),
        worst(value),
        worst(low),
        worst(high),
        tuple(
            spots[i].name if ok else "" for i, ok in zip(at.tolist(), defined.tolist(), strict=True)
        ),
    )


def _best(figures: Sequence[tuple[str, tuple[float, float, float]]]) -> Best | None:
    known = [(name, value) for name, value in figures if not math.isnan(value[0])]
    if len(known) < 2:
        return None
    ordered = sorted(known, key=lambda item: -item[1][0])
    name, best = ordered[0]
    return Best(name, tuple((other, difference(best, value)) for other, value in ordered[1:]))


def _access(plane: PlaneFigures) -> tuple[float, float, float]:
    year = plane.solar_access.year
    return year.value, year.low, year.high


def _resource(plane: PlaneFigures) -> tuple[float, float, float]:
    value, low, high = _access(plane)
    factor = plane.orientation_factor
    return value * factor, low * factor, high * factor


def _months(plane: PlaneFigures, which: str) -> Floats:
    months = getattr(plane.solar_access, which)
    return np.append(months, getattr(plane.solar_access.year, which))
