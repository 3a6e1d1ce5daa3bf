"""From the height of the sight to the height of the module."""

from __future__ import annotations

import numpy as np
import pytest
from skyline_paths import LATITUDE

from logger.horizon import HorizonProfile, Obstruction
from logger.horizon_fit.heights import at_module

AZIMUTH = np.arange(0.0, 360.0, 5.0)


def flat(obstructions: tuple[Obstruction, ...] = ()) -> HorizonProfile:
    return HorizonProfile(AZIMUTH, np.full(72, 20.0), np.full(72, 0.1), obstructions=obstructions)


ALL_ROUND = Obstruction("all", 0.0, 360.0, "building", 10.0)
SOUTH = Obstruction("south side", 45.0, 315.0, "building", 12.0)  # what the sun crosses


@pytest.mark.parametrize(
    ("known", "rise_m", "passed", "words"),
    [
        ((ALL_ROUND,), -2.0, True, "the module is 2.00 m above the sight"),
        ((SOUTH,), -2.0, True, "distances that matter are known"),
        ((), -2.0, False, "give the obstructions"),
        ((), 1.5, False, "the module is 1.50 m below the sight"),
    ],
)
def test_distances_must_be_known_and_the_profile_stays_as_the_sight_saw_it(
    known: tuple[Obstruction, ...], rise_m: float, passed: bool, words: str
) -> None:
    profile, check = at_module(flat(known), [5.0], 5.0 - rise_m, LATITUDE)
    assert profile.elevation_deg == pytest.approx(20.0)
    assert profile.rise_m == pytest.approx(rise_m)
    assert check is not None
    assert check.passed == passed
    assert words in check.why


def test_a_module_where_the_sight_was_needs_nothing() -> None:
    assert at_module(flat(), [1.6], 1.6, LATITUDE)[1] is None
    assert at_module(flat(), [], 1.6, LATITUDE)[1] is None
