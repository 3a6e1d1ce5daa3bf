"""From the height of the sight to the height of the module."""

from __future__ import annotations

import numpy as np
import pytest
from skyline_paths import LATITUDE

from logger.checks import Check
from logger.horizon import HorizonProfile, Obstruction
from logger.horizon_fit.heights import at_module

AZIMUTH = np.arange(0.0, 360.0, 5.0)


def flat(obstructions: tuple[Obstruction, ...] = ()) -> HorizonProfile:
    return HorizonProfile(AZIMUTH, np.full(72, 20.0), np.full(72, 0.1), obstructions=obstructions)


def judged(profile: HorizonProfile, rise_m: float) -> tuple[HorizonProfile, Check]:
    """Held against a module so far below the sight."""
    found, check = at_module(profile, [5.0], 5.0 - rise_m, LATITUDE)
    assert check is not None
    return found, check


def test_with_a_distance_it_passes_and_the_profile_stays_as_the_sight_saw_it() -> None:
    near = Obstruction("all", 0.0, 360.0, "building", 10.0)
    profile, check = judged(flat((near,)), -2.0)
    assert profile.elevation_deg == pytest.approx(20.0)
    assert profile.rise_m == pytest.approx(-2.0)
    assert check.passed


def test_without_one_it_fails() -> None:
    profile, check = judged(flat(), -2.0)
    assert profile.rise_m == pytest.approx(-2.0)
    assert not check.passed
    assert "give the obstructions" in check.why


@pytest.mark.parametrize(("rise_m", "side"), [(-2.0, "2.00 m above"), (1.5, "1.50 m below")])
def test_the_module_is_told_to_be_above_or_below_the_sight(rise_m: float, side: str) -> None:
    assert f"the module is {side} the sight" in judged(flat(), rise_m)[1].why


def test_only_what_the_sun_crosses_counts() -> None:
    south = Obstruction("south side", 45.0, 315.0, "building", 12.0)
    assert judged(flat((south,)), -2.0)[1].passed


def test_a_module_where_the_sight_was_needs_nothing() -> None:
    assert at_module(flat(), [1.6], 1.6, LATITUDE)[1] is None
    assert at_module(flat(), [], 1.6, LATITUDE)[1] is None
