"""Points and planes of a job side by side: which is best, by how much, and whether that is known.

All figures come from answers of one recipe, and so stand under one sky.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import asdict, dataclass
from typing import Any

import numpy as np

from logger.access import AccessResult, PlaneResult
from logger.checks import PERCENTILES_95
from logger.survey.recipe import Recipe

# A share with the 95 % interval it lies in; NaN where not defined.
Triple = tuple[float, float, float]
SCHEMA = "horizon-logger compare 1"

# Where it failed, open and blocked are both possible: there is no value, only bounds.
SUN_RANGE_CHECK = "sun's range measured"


@dataclass(frozen=True)
class Difference:
    """First minus second, with the 95 % interval of the difference."""

    # NaN where one of the two is not defined; low and high are NaN also where nothing is known
    # of the uncertainty of either
    value: float
    low: float
    high: float

    @property
    def significant(self) -> bool | None:
        """Whether zero lies outside the interval; None where that is not known."""
        if math.isnan(self.value) or math.isnan(self.low):
            return None
        return self.low > 0 or self.high < 0


def difference(first: Triple, second: Triple) -> Difference:
    """Compare two figures whose errors are independent: their arms add in quadrature.

    The lower arm of the difference is made of the first one's lower and the second one's upper
    arm. Errors that both share, such as the declination's, make the true interval narrower;
    taking them as independent never finds a difference that is not there.
    """
    value, low, high = first
    other, other_low, other_high = second
    gap = value - other
    if not (high > low or other_high > other_low):
        return Difference(gap, math.nan, math.nan)
    below = math.hypot(value - low, other_high - other)
    above = math.hypot(high - value, other - other_low)
    return Difference(gap, gap - below, gap + above)


@dataclass(frozen=True)
class Best:
    """Which of several is best, held against all others."""

    name: str
    others: tuple[tuple[str, Difference], ...]  # The best less each other, the nearest first

    @property
    def ties(self) -> tuple[str, ...]:
        """Those that may as well be the best."""
        return tuple(name for name, gap in self.others if not gap.significant)

    def as_dict(self) -> dict[str, Any]:
        """The form in a result and a comparison."""
        others = [
            {"name": name, "difference": asdict(gap), "significant": gap.significant}
            for name, gap in self.others
        ]
        return {"name": self.name, "others": others}

    @classmethod
    def of(cls, document: Mapping[str, Any] | None) -> Best | None:
        """As `as_dict` gave it."""
        if document is None:
            return None
        others = ((o["name"], Difference(*triple(o["difference"]))) for o in document["others"])
        return cls(document["name"], tuple(others))


def best_plane(access: AccessResult) -> Best | None:
    """The plane that gets most of what the site has, its total solar resource fraction.

    All planes of a point stand under one horizon: what differs is taken draw by draw. Access alone
    would favour a plane that looks away from sun and obstruction alike.
    """
    known = [p for p in access.planes if not math.isnan(_resource(p))]
    if len(known) < 2:
        return None
    best, *others = sorted(known, key=lambda p: -_resource(p))
    gaps = [(other.plane.name, _paired(best, other)) for other in others]
    return Best(best.plane.name, tuple(gaps))


def _resource(plane: PlaneResult) -> float:
    return plane.total_solar_resource_fraction.value


def _paired(one: PlaneResult, other: PlaneResult) -> Difference:
    value = _resource(one) - _resource(other)
    apart = one.drawn_resource - other.drawn_resource
    if apart.size < 2:
        return Difference(value, math.nan, math.nan)
    low, high = np.percentile(apart, PERCENTILES_95)
    return Difference(value, min(float(low), value), max(float(high), value))


@dataclass(frozen=True)
class PlaneAt:
    """One plane at one point."""

    point: str
    plane: str
    fit: bool  # No check of the point failed
    known: bool  # The sun's range was measured: there is a value, not only bounds
    access: Triple  # Solar access of the year, 0 to 1
    monthly_access: tuple[float, ...]  # January to December; NaN where not defined
    loss_kwh_m2: float  # Of the year
    window_clear: tuple[float, ...]  # Share of the solar window by month; NaN where not known
    most: tuple[str, float] | None  # Blocks most of the year's light, and its share
    energy_kwh: float = math.nan  # Of the whole array, if all of it stood here


@dataclass(frozen=True)
class PlaneYear:
    """A plane's year once: the mean over its points, and the worst of them."""

    points: int
    access: float  # Mean solar access, 0 to 1
    worst: str
    worst_access: float
    energy_kwh: float  # Of the array, from the mean; NaN where no energy is told


def plane_year(points: Sequence[PlaneAt]) -> PlaneYear | None:
    """Of the points that are fit for use and known; None where there is none."""
    known = [at for at in points if at.fit and at.known and not math.isnan(at.access[0])]
    if not known:
        return None
    worst = min(known, key=lambda at: at.access[0])
    mean = float(np.mean([at.access[0] for at in known]))
    energy = float(np.mean([at.energy_kwh for at in known]))
    return PlaneYear(len(known), mean, worst.point, worst.access[0], energy)


@dataclass(frozen=True)
class Comparison:
    """A job's points side by side."""

    recipe: Recipe
    sky: str  # In words
    planes: tuple[tuple[PlaneAt, ...], ...]  # In the order of the recipe: a plane at its points
    best_point: Mapping[str, Best | None]  # By plane
    best_plane: Mapping[str, Best | None]  # By point
    not_compared: Mapping[str, str]  # Points that are in no comparison, and why

    def as_dict(self) -> dict[str, Any]:
        """The form of ``compare --json``."""
        return {
            "schema": SCHEMA,
            "recipe": self.recipe.sha256,
            "sky": self.sky,
            "settings": asdict(self.recipe.settings),
            "planes": [
                {
                    "name": plane.name,
                    "tilt_deg": plane.tilt_deg,
                    "azimuth_deg": plane.azimuth_deg,
                    "points": [_as_dict(at) for at in found],
                    "year": (mean := plane_year(found)) and asdict(mean),
                }
                for plane, found in zip(self.recipe.planes, self.planes, strict=True)
            ],
            "best_point": {k: best and best.as_dict() for k, best in self.best_point.items()},
            "best_plane": {k: best and best.as_dict() for k, best in self.best_plane.items()},
            "not_compared": dict(self.not_compared),
        }


def _as_dict(at: PlaneAt) -> dict[str, Any]:
    value, low, high = at.access
    return {
        "point": at.point,
        "fit_for_use": at.fit,
        "known": at.known,
        "solar_access": {"value": value, "low": low, "high": high},
        "monthly_solar_access": at.monthly_access,
        "loss_annual_kwh_per_m2": at.loss_kwh_m2,
        "window_monthly_clear_fraction": at.window_clear,
        "blocks_most": at.most and {"name": at.most[0], "annual_loss_fraction": at.most[1]},
    }


def compare(recipe: Recipe, documents: Sequence[Mapping[str, Any]]) -> Comparison:
    """Hold the answers of a recipe side by side."""
    found = []
    for document in documents:
        failed = {check["check"] for check in document["quality"] if not check["passed"]}
        found += [_plane_at(document["point"], plane, failed) for plane in document["planes"]]
    planes = tuple(tuple(at for at in found if at.plane == p.name) for p in recipe.planes)
    doubtful = {at.point: at for at in found if not (at.fit and at.known)}
    return Comparison(
        recipe,
        documents[0]["sky"]["source"],
        planes,
        {
            plane.name: best_of((at.point, at.access) for at in points if at.fit and at.known)
            for plane, points in zip(recipe.planes, planes, strict=True)
        },
        {
            document["point"]: Best.of(document["best_plane"])
            for document in documents
            if document["point"] not in doubtful
        },
        {
            name: "not fit for use" if at.known else "not known: the sun's range was not measured"
            for name, at in doubtful.items()
        },
    )


def triple(share: Mapping[str, Any]) -> Triple:
    """Value, low and high of a result's share."""
    value, low, high = (_number(share[name]) for name in ("value", "low", "high"))
    return value, low, high


def _number(value: float | None) -> float:
    return math.nan if value is None else float(value)


def _plane_at(point: str, plane: Mapping[str, Any], failed: set[str]) -> PlaneAt:
    access = plane["solar_access"]
    known = access["annual"]["value"] is not None and SUN_RANGE_CHECK not in failed

    def told(value: float | None) -> float:
        return _number(value) if known else math.nan

    taken: dict[str, float] = {}
    for one in plane["by_obstruction"]:
        taken[one["name"]] = taken.get(one["name"], 0.0) + _number(one["annual_loss_fraction"])
    year, low, high = triple(access["annual"])
    return PlaneAt(
        point,
        plane["name"],
        fit=not failed,
        known=known,
        access=(told(year), low, high),
        monthly_access=tuple(told(month["value"]) for month in access["monthly"]),
        loss_kwh_m2=told(plane["loss"]["annual_kwh_per_m2"]),
        window_clear=tuple(map(told, plane["window"]["monthly_clear_fraction"])),
        most=max(taken.items(), key=lambda item: item[1], default=None) if known else None,
        energy_kwh=told((plane.get("energy") or {}).get("annual_kwh")),
    )


def best_of(figures: Iterable[tuple[str, Triple]]) -> Best | None:
    """The one of the highest value; None of fewer than two."""
    known = [(name, value) for name, value in figures if not math.isnan(value[0])]
    if len(known) < 2:
        return None
    (name, best), *others = sorted(known, key=lambda item: -item[1][0])
    return Best(name, tuple((other, difference(best, value)) for other, value in others))
