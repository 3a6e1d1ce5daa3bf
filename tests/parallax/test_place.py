"""What is seen from two places has a distance: worked examples, and places that are known exactly.

Sources: J. Mahun, Open Access Surveying Library, COGO problems (direction-direction intersection);
the error ellipse of an intersection and the height of a tower from two stations in line with it are
exercises of surveying texts (from memory; plane trigonometry, worked out in the tests).
"""

from __future__ import annotations

import re
from dataclasses import replace

import numpy as np
import pytest

from logger.access.draws import SECTOR_MIDDLES as GRID
from logger.parallax import PositionedPoint, Surroundings, surroundings_of
from logger.parallax.start import crossing_m
from logger.simulation.place import Box, Crown, Place, Pole

FLAT = {"ridge_low_deg": 0.5, "ridge_high_deg": 1.0}
HOUSE = Box("house", 3.0, -14.0, 9.0, 7.0, 8.0, 20.0)
LIME = Crown("lime", -8.0, -6.0, 2.5, 5.5, 3.0)
MAST = Pole("mast", 9.0, -3.0, 0.3, 12.0)
WEST, EAST = (-3.0, 0.0, 3.0), (3.0, 1.0, 4.0)


def swept(
    place: Place, at: tuple[float, float, float], name: str, **more: float
) -> PositionedPoint:
    """The exact horizon, with the errors that a sweep would have."""
    truth = place.scene(*at).truth()
    error = np.full(len(truth), 0.1)
    horizon = replace(truth, standard_error_deg=error, heading_error_deg=0.4, level_error_deg=0.3)
    horizon = horizon.turned(more.get("turn_deg", 0.0))
    told = np.array(at) + np.array([more.get("off_m", 0.0), 0.0, 0.0])
    return PositionedPoint(name, told, more.get("error_m", 0.05), horizon)


def understood(
    *things: Box | Crown | Pole, at: tuple[tuple[float, float, float], ...] = (WEST, EAST)
) -> Surroundings:
    place = Place("yard", things, **FLAT)
    return surroundings_of([swept(place, one, f"point {i}") for i, one in enumerate(at, 1)])


def failed(found: Surroundings) -> set[str]:
    return {check.check for check in found.checks if not check.passed}


def carried(found: Surroundings, at: tuple[float, float, float]) -> np.ndarray:
    """The horizon of a place, crowns and all."""
    whole = found.horizons(np.array([at]), found.found).whole_deg
    assert whole is not None
    return whole[0]


@pytest.mark.parametrize(
    ("here_deg", "there_deg", "away", "north", "east"),
    [
        (253 + 26 / 60 + 15 / 3600, 314 + 33 / 60 + 26 / 3600, 573.754, 836.445, 1450.051),
        (140 + 54 / 60 + 25 / 3600, 91 + 34 / 60 + 8 / 3600, 690.811, 463.846, 2435.613),
    ],
    ids=["LR", "FP"],
)
def test_two_bearings_cross_where_the_published_solution_says(
    here_deg: float, there_deg: float, away: float, north: float, east: float
) -> None:
    """Mahun, Open Access Surveying Library, Solution: COGO Intersect, problem 1, in feet."""
    here, there = np.array([2000.0, 1000.0, 0.0]), np.array([1811.082, 480.951, 0.0])
    found = crossing_m(here, here_deg, there, there_deg)
    assert found == pytest.approx(away, abs=0.01)
    a = np.radians(here_deg)
    at = here[:2] + found * np.array([np.sin(a), np.cos(a)])
    assert at == pytest.approx([east, north], abs=0.01)


def test_bearings_that_do_not_meet_ahead_cross_nowhere() -> None:
    here, there = np.zeros(3), np.array([100.0, 0.0, 0.0])
    assert crossing_m(here, 45.0, there, 45.0) == np.inf
    assert crossing_m(here, 315.0, there, 45.0) == np.inf


def test_the_error_of_a_crossing_is_that_of_its_ellipse() -> None:
    """Each bearing holds the crossing across itself, to distance times its error.

    Stations s apart, a mast at d from their middle: along the line of sight the error is
    ``(d / s) sqrt(2)`` of that across, to first order; twice the distance makes it four times as
    long in metres.
    """
    spread = []
    for north in (-12.0, -24.0):
        found = understood(Pole("mast", 0.0, north, 0.4, 14.0), at=((-3, 0, 3), (3, 0, 3)))
        (mast,) = [o for o in found.obstructions if o.name == "mast"]
        assert mast.distance_m.value == pytest.approx(np.hypot(3.0, north), rel=0.05)
        assert mast.distance_m.low < mast.distance_m.value < mast.distance_m.high
        spread.append(mast.distance_m.high - mast.distance_m.low)
    assert spread[1] / spread[0] == pytest.approx(4.0, rel=0.5)


def test_what_stands_behind_and_was_never_seen_makes_a_place_unsure() -> None:
    found = understood(Box("wall", 0.0, -6.0, 12.0, 0.4, 7.0), at=((-2, 0, 3), (2, 0, 3)))
    opened, blocked = found.hidden_cases()
    above = np.array([[0.0, 0.0, 7.5]])
    low, high = (found.horizons(above, case).solid_deg[0] for case in (opened, blocked))
    south = np.abs(GRID - 180.0) < 20.0
    assert (high - low)[south].min() > 5.0
    assert np.abs(high - low)[np.abs(GRID - 0.5) < 60.0].max() == 0.0


WINGS = (Box("school", -8.0, -13.0, 14.0, 6.0, 10.0), Box("school", -12.0, -6.0, 6.0, 9.0, 10.0))
POSTS = tuple(Pole("posts", 5.0 + 2.5 * i, -7.0, 0.3, 9.0) for i in range(3))
POPLARS = tuple(Crown("poplars", -9.0 + 3.6 * i, -12.0, 1.2, 8.0, 5.0) for i in range(4))
BARN = Box("barn", -10.3, -6.9, 9.4, 4.6, 4.6, 131.0, ridge_m=2.5)
MILL = Box("mill", 16.4, -7.3, 4.8, 7.0, 11.1, -86.0, ridge_m=2.5)
CABIN = Box("cabin", -21.5, -6.4, 11.4, 8.9, 7.2, 80.0)
STANDING = {
    "a house, a tree and a mast": (
        (HOUSE, LIME, MAST), (WEST, EAST),
        {"house": (None, None, 8.0), "lime": (None, np.hypot(-5.0, -6.0) - 2.5, 8.5),
         "mast": (None, np.hypot(6.0, -4.0), 12.0)},
    ),
    "two heights of one pole": (
        (HOUSE, LIME), ((-1.0, 0.0, 3.0), (-1.0, 0.0, 5.5)),
        {"lime": (None, np.hypot(-7.0, -6.0) - 2.5, None)},
    ),
    "a row": ((*POPLARS, MAST), (WEST, EAST), {"poplars": ("4 crowns", None, None)}),
    "two of a row in line": (
        (*POSTS, MAST, LIME), ((0.0, -3.0, 4.0), EAST, (2.2, -7.2, 4.0)),
        {"posts": ("3 poles", None, None)},
    ),
    "wings": ((*WINGS, MAST), (WEST, EAST), {"school": ("2 boxes", None, 10.0)}),
    "a ridge along": (
        (Box("house", 2.0, -13.0, 11.0, 8.0, 5.5, 15.0, ridge_m=4.0), LIME), (WEST, EAST),
        {"house": ("gable", None, 9.5)},
    ),
    "a ridge on end": (
        (Box("house", 2.0, -13.0, 11.0, 8.0, 5.5, 105.0, ridge_m=4.0), LIME), (WEST, EAST),
        {"house": ("gable", None, 9.5)},
    ),
    "a house behind a tree": (
        (Box("house", 0.0, -16.0, 16.0, 7.0, 9.0), Crown("lime", 0.0, -8.0, 1.5, 6.0, 3.5)),
        (WEST, EAST), {"house": ("box", None, None), "lime": ("crown", None, None)},
    ),
    "a ridge that another peeps out behind": (
        (BARN, MILL, CABIN), ((-1.6, -1.0, 5.1), (2.3, -4.0, 4.9)),
        {"barn": ("gable", None, None), "cabin": (None, 16.2, None)},
    ),
}  # fmt: skip
"""What stands there, from where it is seen, and of some: taken as, distance and top. [m]"""


@pytest.mark.parametrize("what", STANDING)
def test_things_are_placed_where_they_stand(what: str) -> None:
    things, at, expected = STANDING[what]
    found = understood(*things, at=at)
    by_name = {o.name: o for o in found.obstructions}
    assert failed(found) == set()
    for name, (taken_as, away, top) in expected.items():
        one = by_name[name]
        assert one.is_placed
        assert taken_as in (None, one.taken_as)
        if away:
            assert one.distance_m.value == pytest.approx(away, rel=0.06 if top else 0.15)
        if top:
            assert one.top_m.value == pytest.approx(top, abs=0.4)
    hills = by_name["far hills"]
    assert hills.distance_m.value is None
    assert hills.distance_m.low is not None
    assert hills.distance_m.low > (100.0 if what == "a house, a tree and a mast" else 0.0)


def test_the_height_of_a_tower_comes_from_two_stations_in_line_with_it() -> None:
    """Height = base tan a tan b / (tan b - tan a), with no bearing of any use."""
    base, far, near = 20.0, np.radians(20.0), np.radians(35.0)
    height = base * np.tan(far) * np.tan(near) / (np.tan(near) - np.tan(far))
    tower = Pole("tower", 0.0, height / np.tan(near), 3.0, height, "building")
    found = understood(tower, at=((0.0, 0.0, 0.0), (0.0, -base, 0.0)))
    (seen,) = [o for o in found.obstructions if o.name == "tower"]
    assert seen.top_m.value == pytest.approx(height, rel=0.06)
    assert seen.top_m.low <= height <= seen.top_m.high


@pytest.mark.parametrize(
    ("things", "median_deg", "p95_deg"),
    [((HOUSE, LIME, MAST), 0.15, 1.5), ((*POPLARS, MAST), 0.5, 2.0)],
    ids=["yard", "row"],
)
def test_a_carried_horizon_is_what_stands_there(
    things: tuple[Box | Crown | Pole, ...], median_deg: float, p95_deg: float
) -> None:
    place, found = Place("yard", things, **FLAT), understood(*things)
    for at in ((0.0, 0.0, 3.5), (-2.0, 2.0, 5.0), (4.0, -1.0, 2.5)):
        off = np.abs(carried(found, at) - np.maximum(place.scene(*at).elevation_at(GRID), 0.0))
        # Beside a steep edge a fraction of a degree of azimuth is the whole height.
        assert np.median(off) < median_deg
        assert np.percentile(off, 95) < p95_deg
    if things[:-1] == POPLARS:
        # Cut, all of them are gone.
        cut = found.horizons(np.array([[0.0, 0.0, 3.5]]), found.found, "poplars").solid_deg[0]
        assert cut[np.abs(GRID - 200.0) < 25.0].max() < 2.0


OTHER_MAST = replace(MAST, north_m=-9.0, east_m=-1.0, top_m=16.0)


@pytest.mark.parametrize(
    ("more", "wrong", "third", "check", "why"),
    [
        ((), {"off_m": 2.5}, {}, "positions agree",
         "the position of east contradicts what was seen by 2.5 m"),
        ((), {}, {"turn_deg": 6.0}, "headings agree",
         r"ridge is turned by \+(5\.[5-9]|6\.[0-5])°"),
        # Of two points nobody can tell which is wrong.
        ((), {"turn_deg": 8.0}, None, "headings agree", ".* is turned by"),
        ((OTHER_MAST,), {}, None, "names agree", "what was swept as mast is not one thing"),
    ],
    ids=["position", "turn", "of two", "name"],
)  # fmt: skip
def test_what_does_not_fit_is_named(
    more: tuple[Pole, ...], wrong: dict[str, float], third: dict[str, float] | None, check: str,
    why: str,
) -> None:  # fmt: skip
    place = Place("yard", (HOUSE, LIME, MAST, *more), **FLAT)
    points = [swept(place, WEST, "west"), swept(place, EAST, "east", **wrong)]
    if third is not None:
        points.append(swept(place, (0.0, 3.0, 5.0), "ridge", **third))
    found = surroundings_of(points)
    (said,) = [c.why for c in found.checks if c.check == check and not c.passed]
    assert re.match(why, said)
    if wrong and third is None:
        assert not any(o.is_placed for o in found.obstructions)


@pytest.mark.parametrize("second", [WEST, (-2.9, 0.0, 3.0)], ids=["one place", "10 cm apart"])
def test_points_at_one_place_tell_no_distance(second: tuple[float, float, float]) -> None:
    found = understood(HOUSE, LIME, at=(WEST, second))
    assert {"points far enough apart", "obstructions placed"} <= failed(found)
    for o in found.obstructions:
        if o.kind != "terrain":
            assert o.distance_m.high / o.distance_m.low > 3.0


def test_what_nobody_named_is_found_by_its_form() -> None:
    place = Place("yard", (HOUSE, LIME), **FLAT)
    points = [swept(place, WEST, "west"), swept(place, EAST, "east")]
    nameless = [
        replace(p, horizon=p.horizon.with_obstructions(
            [o for o in p.horizon.obstructions if o.name != "house"]))
        for p in points
    ]  # fmt: skip
    at = (0.0, 0.0, 3.5)
    truth = np.maximum(place.scene(*at).elevation_at(GRID), 0.0)
    assert np.percentile(np.abs(carried(surroundings_of(nameless), at) - truth), 95) < 3.0
