"""A whole array from the points swept: what stands where, and solar access all over its outline."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import asdict, dataclass, replace
from typing import Any

import numpy as np

from logger.access import Plane, SiteYear
from logger.access.draws import SECTOR_MIDDLES
from logger.access.many import Skylines, bounded, under_drawn_skies, under_median_sky
from logger.access.point import Case
from logger.access.result import YEAR, Bounded
from logger.access.sky import Sky
from logger.access.window import WindowResult
from logger.arrays import Bools, Floats, floats
from logger.checks import Check
from logger.errors import InputError, UsageError
from logger.job import Job, JobPlane
from logger.parallax import (
    Grid,
    Outline,
    Rows,
    Surroundings,
    best_rectangle,
    grid_over,
    outline_of,
    surroundings_of,
)
from logger.parallax.carry import Drawn
from logger.structured import nearest
from logger.survey.gains import Gain, gains_over
from logger.survey.positions import position_of, swept_points
from logger.survey.recipe import Recipe, year_of
from logger.survey.result import PointResult

SCHEMA = "horizon-logger array 1"

ALL = slice(None)

MANY, DRAWS_OF_MANY, DRAWS_OF_FEW = 60, 24, 100
"""Above so many places each is drawn fewer times: they share what is drawn."""

UNKNOWN = 0.02
"""Where what nobody saw could take this share of the year or more, the value is not known."""


@dataclass(frozen=True, eq=False)
class Access:
    """Solar and beam access of a place, or of all together."""

    solar: Bounded
    beam: Bounded

    def as_dict(self, known: bool = True) -> dict[str, Any]:
        """By month and year; where it is not known, its bounds alone."""
        shares = {"solar_access": self.solar, "beam_access": self.beam}
        if not known:
            nothing = np.full(YEAR + 1, np.nan)
            shares = {name: replace(share, value=nothing) for name, share in shares.items()}
        return {name: share.as_dict() for name, share in shares.items()}


@dataclass(frozen=True, eq=False)
class ArrayResult:
    """The answer for a plane."""

    plane: Plane
    recipe: Recipe
    sky: Sky
    here: Surroundings
    places_m: Floats  # East, north and up. Shape (n, 3)
    known: Bools  # Shape (n,)
    at_places: tuple[Access, ...]
    whole: Access  # Of the mean over the outline
    over_m: Floats  # Places that the mean is taken over. Shape (k, 3)
    over: tuple[Bounded, ...]  # Solar access there
    outline: Outline | None
    grid: Grid | None
    gains: tuple[Gain, ...]
    best: tuple[float, float, float, float, float] | None  # See `best_rectangle`
    rows: dict[str, Any] | None
    checks: tuple[Check, ...]

    @property
    def over_value(self) -> Floats:
        """Solar access of the year at the places that the mean is taken over. Shape (k,)."""
        return floats([one.annual for one in self.over])

    def as_dict(self) -> dict[str, Any]:
        """The documented result, ``horizon-logger array 1``."""
        value = self.over_value
        least, most = int(np.argmin(value)), int(np.argmax(value))
        places = zip(self.places_m, self.known.tolist(), self.at_places, strict=True)
        gains = {gain.name: gain for gain in self.gains}
        return {
            "schema": SCHEMA,
            "plane": {
                "name": self.plane.name,
                "tilt_deg": self.plane.tilt_deg,
                "azimuth_deg": self.plane.azimuth_deg,
            },
            "site": asdict(self.recipe.site),
            "sky": self.sky,
            "points": [
                {"name": p.name, **_at(p.at_m), "position_error_m": p.error_m}
                for p in self.here.points
            ],
            "places": [
                {**_at(at), "known": known, **access.as_dict(known)} for at, known, access in places
            ],
            "array": {
                **self.whole.as_dict(),
                "least": {**_at(self.over_m[least]), "value": value[least]},
                "most": {**_at(self.over_m[most]), "value": value[most]},
                **({"best_rectangle": self._rectangle(*self.best)} if self.best else {}),
            },
            "obstructions": [
                {
                    "name": o.name,
                    "kind": o.kind,
                    "distance_m": vars(o.distance_m),
                    "top_m": vars(o.top_m),
                    "from_point": o.from_point,
                    "taken_as": o.taken_as or None,
                    **_gain_if_cut(gains.get(o.name)),
                }
                for o in self.here.obstructions
            ],
            **({"rows": self.rows} if self.rows else {}),
            "quality": [check.as_dict() for check in self.checks],
        }

    def _rectangle(
        self, left: float, bottom: float, width: float, height: float, mean: float
    ) -> dict[str, Any]:
        assert self.outline is not None
        ends = floats([[left, bottom], [left + width, bottom], [left + width, bottom + height],
                       [left, bottom + height]])  # fmt: skip
        return {
            "width_m": width,
            "height_m": height,
            "corners_m": np.round(self.outline.at_m(ends), 3).tolist(),
            "solar_access": mean,
        }


def _at(place_m: Floats) -> dict[str, float]:
    return dict(zip(("east_m", "north_m", "up_m"), place_m.tolist(), strict=True))


def _gain_if_cut(gain: Gain | None) -> dict[str, float | None]:
    names = {"gain_if_cut": "value", "gain_if_cut_low": "low", "gain_if_cut_high": "high"}
    return {key: getattr(gain, name, None) for key, name in names.items()}


def chosen_plane(recipe: Recipe, name: str | None) -> int:
    """Which of the recipe's planes is meant."""
    names = [plane.name for plane in recipe.planes]
    if name is None:
        outlined = [i for i, plane in enumerate(recipe.planes) if _corners(plane)]
        if len(names) == 1 or len(outlined) == 1:
            return 0 if len(names) == 1 else outlined[0]
        raise UsageError(
            f"the job has {len(names)} planes", hint=f"--plane, one of {', '.join(names)}"
        )
    if name not in names:
        hint = nearest(name, names) or f"one of {', '.join(names)}"
        raise UsageError(f"there is no plane {name!r}", hint=hint)
    return names.index(name)


def array_result(
    job: Job,
    recipe: Recipe,
    results: Sequence[PointResult],
    plane_name: str | None = None,
    places_m: Sequence[Sequence[float]] = (),
    step_m: float | None = None,
    size_m: tuple[float, float] | None = None,
    rows: tuple[float, float] | None = None,
    year: SiteYear | None = None,
) -> ArrayResult:
    """Solar access of a plane at places, and over its outline.

    Parameters
    ----------
    job, recipe : Job, Recipe
    results : sequence of PointResult
        Of the points swept.
    plane_name : str, optional
        Needed where there are several planes.
    places_m : sequence of three floats, optional
        East, north and up; without them a grid over the outline.
    step_m : float, optional
        Of the grid.
    size_m : two floats, optional
        A rectangle whose best place is wanted.
    rows : two floats, optional
        Slant height of rows of modules and the distance from front to front.
    year : SiteYear, optional
        Of the recipe's planes, where one is made already.
    """
    if not results:
        raise InputError("no point of this job has an answer", str(job.folder))
    k = chosen_plane(recipe, plane_name)
    plane, year = recipe.planes[k], year or year_of(recipe)
    ahead = Rows(plane, *rows) if rows else None
    points, checks = swept_points(job, results)
    here = surroundings_of(points, recipe.settings.seed)
    outline, told = _outline(plane)
    checks += [*told, *here.checks]
    grid = grid_over(outline, step_m) if outline else None
    over = outline.at_m(grid.places) if outline is not None and grid is not None else None
    places, over = _places(floats(places_m).reshape(-1, 3), over, here)
    everything = over if places is over else np.concatenate([places, over])
    at_all, whole = access_of_places(year, k, here, everything, slice(-len(over), None))
    at_over = tuple(one.solar for one in at_all[-len(over) :])
    known, at_places = _known(year, k, here, places, at_all[: len(places)])
    checks.append(_known_check(known))
    best = _best(grid, at_over, size_m) if size_m and grid is not None else None
    gains = gains_over(job, year, k, here, over, whole.solar.annual)
    return ArrayResult(
        plane, recipe, year.skies.sky, here, places, known, at_places, whole, over, at_over,
        outline, grid, gains, best,
        _row_ahead(year, k, ahead) if ahead else None, tuple(checks),
    )  # fmt: skip


def _places(wanted: Floats, over: Floats | None, here: Surroundings) -> tuple[Floats, Floats]:
    """Places that are told, and those that the mean is taken over: of an outline its grid."""
    if over is None:
        over = wanted if len(wanted) else np.stack([p.at_m for p in here.points])
    return (wanted if len(wanted) else over), over


def _best(
    grid: Grid, over: Sequence[Bounded], size_m: tuple[float, float]
) -> tuple[float, float, float, float, float]:
    best = best_rectangle(grid, floats([one.annual for one in over]), *size_m)
    if best is None:
        raise UsageError(f"no rectangle of {size_m[0]:g} by {size_m[1]:g} m fits the outline")
    return best


def arrays_of(job: Job, recipe: Recipe, results: Sequence[PointResult]) -> tuple[ArrayResult, ...]:
    """Each plane that has an outline, where two points or more have positions."""
    placed = [r for r in results if position_of(job, r.name, r.recordings)]
    if len(placed) < 2:
        return ()
    names = [plane.name for plane in recipe.planes if _corners(plane)]
    return tuple(array_result(job, recipe, placed, name) for name in names)


def _corners(plane: Plane) -> tuple[tuple[float, float, float], ...]:
    """Of its outline, as the job told them; a plane from the command line has none."""
    return plane.outline if isinstance(plane, JobPlane) else ()


def _outline(plane: Plane) -> tuple[Outline | None, list[Check]]:
    corners = _corners(plane)
    if not corners:
        return None, []
    try:
        return outline_of(plane, corners), []
    except UsageError as error:
        why = f"{error}: {error.hint}; figures stand for the places asked for or the points swept"
        return None, [Check("outline is a polygon", False, float(len(corners)), 3.0, "", why)]


def extreme_windows(found: ArrayResult) -> tuple[WindowResult, WindowResult]:
    """When the worst and the best place over the outline are shaded, and by what."""
    year = year_of(found.recipe)
    worst, best = (
        Case(year, found.here.horizon_at(found.over_m[int(k(found.over_value))])).window
        for k in (np.argmin, np.argmax)
    )
    return worst, best


def access_of_places(
    year: SiteYear, k: int, here: Surroundings, places_m: Floats, mean_over: slice = ALL
) -> tuple[list[Access], Access]:
    """Of each place, and of the mean over some of them."""
    m = DRAWS_OF_MANY if len(places_m) > MANY else DRAWS_OF_FEW
    m = min(m, max(year.settings.draws, 1))
    found = here.horizons(places_m, here.found)
    value = under_median_sky(year, k, found)
    none = np.zeros(1)
    middle = replace(here.found, turn_deg=none, lift_deg=none)
    _, surely = under_drawn_skies(year, k, here.horizons(places_m, middle), 1)
    parts: list[tuple[Any, Any]] = []
    drawn = Drawn.of(here.layout, m, year.settings.seed)
    for at in range(0, len(places_m), 200):
        skies = here.horizons(places_m[at : at + 200], drawn)
        parts.append(under_drawn_skies(year, k, skies, m))
    of_each, of_mean = [], []
    for name in ("solar", "beam"):
        v, s = getattr(value, name), getattr(surely, name)[:, 0]
        whole = np.concatenate([getattr(p[0], name) for p in parts])
        survey = np.concatenate([getattr(p[1], name) for p in parts])
        of_each.append(bounded(v, s, whole, survey))
        means = [x[mean_over].mean(axis=0, keepdims=True) for x in (v, s, whole, survey)]
        of_mean += bounded(*means)
    return [Access(*both) for both in zip(*of_each, strict=True)], Access(*of_mean)


def _known(
    year: SiteYear, k: int, here: Surroundings, places_m: Floats, found: Sequence[Access]
) -> tuple[Bools, tuple[Access, ...]]:
    """Where what nobody saw cannot matter; elsewhere intervals reach over both cases."""
    opened, blocked = (
        under_median_sky(year, k, here.horizons(places_m, case)) for case in here.hidden_cases()
    )
    known = opened.solar[:, YEAR] - blocked.solar[:, YEAR] <= UNKNOWN

    def widened(share: Bounded, away: Floats) -> Bounded:
        low, survey = (np.maximum(end + away, 0.0) for end in (share.low, share.survey_low))
        return replace(share, low=low, survey_low=survey)

    lost = [
        np.minimum(blocked.solar - opened.solar, 0.0),
        np.minimum(blocked.beam - opened.beam, 0.0),
    ]
    wider = tuple(
        one if is_known else Access(widened(one.solar, solar), widened(one.beam, beam))
        for one, is_known, solar, beam in zip(found, known, *lost, strict=True)
    )
    return np.asarray(known, dtype=bool), wider


def _known_check(known: Bools) -> Check:
    missing = int((~known).sum())
    why = "no place depends on what no point could see"
    if missing:
        why = (
            f"at {missing} of {len(known)} places something may stand in the sun's way that no "
            "point could see: sweep a point near them"
        )
    return Check("array seen", not missing, float(missing), 0.0, "", why)


def _row_ahead(year: SiteYear, k: int, rows: Rows) -> dict[str, Any]:
    """What the row ahead takes from the foot and the middle of the next, nothing else standing."""
    shares = floats([0.0, 0.5])
    solid = np.stack([rows.skyline_deg(SECTOR_MIDDLES, share) for share in shares])
    found = under_median_sky(year, k, Skylines(solid)).solar[:, YEAR]
    return {
        "slant_m": rows.slant_m,
        "pitch_m": rows.pitch_m,
        "shade_angle_deg": rows.shade_angle_deg,
        "solar_access_foot": float(found[0]),
        "solar_access_middle": float(found[1]),
    }
