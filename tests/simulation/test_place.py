"""A place in three dimensions: what stands there is seen from any position as geometry says."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from logger.errors import LoggerError
from logger.geometry import angle_between
from logger.simulation.place import Box, Crown, Place, Pole

WALL = Box("barn", 0.0, 20.0, 30.0, 8.0, 9.0)
LIME = Crown("lime tree", 12.0, -9.0, 3.0, 6.0, 3.5)
MAST = Pole("mast", -10.0, 0.0, 0.3, 12.0)
FLAT = {"ridge_low_deg": 0.0, "ridge_high_deg": 0.0}


def seen(*things: Box | Crown | Pole, at: tuple[float, float, float] = (0.0, 0.0, 1.5)):
    return Place("yard", things, **FLAT).scene(*at)


def test_a_wall_stands_as_high_as_its_height_over_its_distance() -> None:
    # The near wall is 16 m away, its top 7.5 m above the eye; aside, the distance grows by 1/cos.
    scene = seen(WALL)
    for azimuth in (0.0, 20.0, -30.0):
        expected = np.degrees(np.arctan(7.5 / 16.0 * np.cos(np.radians(azimuth))))
        assert scene.elevation_at(azimuth) == pytest.approx(expected, abs=1e-3)
    edge = np.degrees(np.arctan2(15.0, 16.0))
    assert scene.elevation_at(edge - 0.01) > 15.0
    assert scene.elevation_at(edge + 0.01) == pytest.approx(0.0, abs=1e-6)


def test_a_roof_below_the_eye_ends_at_its_far_edge() -> None:
    low = replace(WALL, top_m=1.0)
    elevation = float(low.seen_from(np.array([0.0, 0.0, 1.5])).shape(np.array([0.0]))[0])
    assert elevation == pytest.approx(np.degrees(np.arctan2(-0.5, 24.0)))


def test_a_mast_is_as_wide_as_its_width_over_its_distance() -> None:
    scene = seen(MAST)
    (mast,) = [o for o in scene.obstructions if o.name == "mast"]
    half = np.degrees(np.arcsin(0.15 / 10.0))
    assert scene.elevation_at(270.0) == pytest.approx(np.degrees(np.arctan2(10.5, 10.0)))
    assert scene.elevation_at(270.0 + half + 0.01) == pytest.approx(0.0, abs=1e-6)
    assert mast.distance_m == pytest.approx(10.0)


@settings(max_examples=40)
@given(st.floats(-1.0, 1.0), st.floats(-8.0, 8.0), st.floats(-5.0, 5.0), st.floats(0.0, 3.0))
def test_a_crown_is_touched_by_the_sight_over_its_top(
    share: float, east: float, north: float, up: float
) -> None:
    """No point of the ellipsoid's surface stands above its outline, and one comes close to it."""
    part = LIME.seen_from(np.array([east, north, up]))
    away = np.array([LIME.east_m - east, LIME.north_m - north])
    middle = np.degrees(np.arctan2(away[0], away[1]))
    half = np.degrees(np.arcsin(LIME.radius_m / np.hypot(*away)))
    azimuth = middle + 0.98 * half * share
    u, v = np.meshgrid(np.linspace(0, 2 * np.pi, 361), np.linspace(-np.pi / 2, np.pi / 2, 181))
    x = LIME.east_m - east + LIME.radius_m * np.cos(v) * np.cos(u)
    y = LIME.north_m - north + LIME.radius_m * np.cos(v) * np.sin(u)
    z = LIME.middle_m - up + LIME.half_height_m * np.sin(v)
    near = np.abs(angle_between(np.degrees(np.arctan2(x, y)), azimuth)) < 0.3
    highest = np.degrees(np.arctan2(z, np.hypot(x, y)))[near].max()
    outline = part.shape(azimuth + np.linspace(-0.3, 0.3, 7))
    assert outline.max() >= highest - 0.05
    assert outline.min() <= highest + 0.5 or abs(share) > 0.9


def test_the_same_things_seen_from_two_positions_differ_as_near_things_do() -> None:
    place = Place("yard", (WALL, LIME, MAST), **FLAT)
    here, there = place.scene(0.0, 0.0, 1.5), place.scene(5.0, 0.0, 1.5)
    corner = np.degrees(np.arctan2(-15.0 - 5.0, 16.0)) % 360
    (barn,) = [o for o in there.obstructions if o.name == "barn"]
    assert angle_between(barn.from_azimuth_deg, corner) == pytest.approx(0.0, abs=0.11)
    assert here.elevation_at(0.0) == pytest.approx(np.degrees(np.arctan(7.5 / 16.0)), abs=1e-3)


def test_a_place_looks_the_same_far_away_wherever_one_stands() -> None:
    place = Place("meadow", (), ridge_low_deg=2.0, ridge_high_deg=9.0)
    here, there = place.scene(0.0, 0.0, 0.0), place.scene(40.0, -10.0, 6.0)
    assert np.array_equal(here.elevation_deg, there.elevation_deg)


def test_nobody_stands_inside_a_crown() -> None:
    with pytest.raises((ValueError, LoggerError), match="within the crown"):
        seen(LIME, at=(12.0, -8.0, 1.5))
