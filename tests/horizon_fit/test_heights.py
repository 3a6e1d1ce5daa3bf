"""From the height of the sight to the height of the module."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from skyline_paths import LATITUDE, fused, swept, wavy_line

from logger.horizon import HorizonProfile, Obstruction
from logger.horizon_fit import SightedSweep
from logger.horizon_fit.heights import carried, carried_elevation

AZIMUTH = np.arange(0.0, 360.0, 5.0)


def flat(obstructions: tuple[Obstruction, ...] = ()) -> HorizonProfile:
    return HorizonProfile(AZIMUTH, np.full(72, 20.0), np.full(72, 0.1), obstructions=obstructions)


def test_a_wall_of_known_height_and_distance() -> None:
    # A wall 10 m high, 15 m away, seen from 1.6 m: tan e = 8.4 / 15; from 4.6 m: 5.4 / 15.
    seen = np.degrees(np.arctan(8.4 / 15.0))
    assert carried_elevation(seen, 1.6 - 4.6, 15.0) == pytest.approx(
        np.degrees(np.arctan(5.4 / 15.0))
    )


@given(st.floats(-20, 80), st.floats(-10, 10), st.floats(-10, 10), st.floats(2, 1000))
def test_carrying_twice_is_carrying_once(e: float, one: float, two: float, d: float) -> None:
    twice = carried_elevation(carried_elevation(e, one, d), two, d)
    assert twice == pytest.approx(carried_elevation(e, one + two, d), abs=1e-9)


def test_with_a_distance_the_profile_moves_and_passes() -> None:
    near = Obstruction("all", 0.0, 360.0, "building", 10.0)
    profile, check = carried(flat((near,)), -2.0, LATITUDE)
    expected = np.degrees(np.arctan(np.tan(np.radians(20.0)) - 0.2))
    assert profile.elevation_deg == pytest.approx(expected)
    assert check.passed
    assert profile.distance_m is not None
    assert (profile.distance_m == 10.0).all()


def test_without_one_it_stays_widens_and_fails() -> None:
    profile, check = carried(flat(), -2.0, LATITUDE)
    assert profile.elevation_deg == pytest.approx(20.0)
    assert profile.standard_error_deg is not None
    assert profile.standard_error_deg.min() > 3.0
    assert not check.passed
    assert "give the obstructions" in check.why


@pytest.mark.parametrize(("rise_m", "side"), [(-2.0, "2.00 m above"), (1.5, "1.50 m below")])
def test_the_module_is_told_to_be_above_or_below_the_sight(rise_m: float, side: str) -> None:
    assert f"the module is {side} the sight" in carried(flat(), rise_m, LATITUDE)[1].why


def test_far_terrain_needs_no_distance() -> None:
    hills = Obstruction("hills", 0.0, 360.0, "terrain")
    profile, check = carried(flat((hills,)), -1.0, LATITUDE)
    assert check.passed
    assert profile.standard_error_deg is not None
    assert profile.standard_error_deg.max() < 0.3


def test_only_what_the_sun_crosses_counts() -> None:
    south = Obstruction("south side", 45.0, 315.0, "building", 12.0)
    assert carried(flat((south,)), -2.0, LATITUDE)[1].passed


def test_in_a_survey_heights_are_applied_where_known() -> None:
    one = SightedSweep(swept(*wavy_line()), sight_height_m=1.6)
    names = [g.check for g in fused(one).checks]
    assert "corrected to module height" not in names
    moved = fused(one, module_height_m=5.0)
    check = next(g for g in moved.checks if g.check == "corrected to module height")
    assert not check.passed
    same = fused(one, module_height_m=1.6)
    assert len(same.checks) == len(names)


def test_recordings_from_different_heights_are_not_mixed_silently() -> None:
    one = SightedSweep(swept(*wavy_line()), sight_height_m=1.6)
    two = replace(one, sight_height_m=3.0)
    check = fused(one, two, module_height_m=2.0).checks[-1]
    assert not check.passed
    assert "1.6 to 3 m" in check.why
