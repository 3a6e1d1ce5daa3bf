"""Drawn horizons spread as the errors of the profile say, and hold together as skylines do."""

import numpy as np
import pytest

from logger.access.draws import _noise, draw_horizons, has_errors, sector_middles
from logger.horizon import HorizonProfile


def rng():
    return np.random.default_rng(7)


AZIMUTH = np.arange(360.0)


def test_without_errors_every_draw_is_the_profile():
    profile = HorizonProfile(AZIMUTH, 10 + 5 * np.sin(np.radians(AZIMUTH)))
    drawn = draw_horizons(profile, 4, rng())
    assert drawn.elevation_deg == pytest.approx(
        np.broadcast_to(profile.elevation_at(drawn.azimuth_deg), (4, 720))
    )
    assert not has_errors(profile)


def test_a_level_error_lifts_all_of_a_draw():
    profile = HorizonProfile(AZIMUTH, np.full(360, 10.0), level_error_deg=0.7)
    drawn = draw_horizons(profile, 4000, rng()).elevation_deg
    assert np.ptp(drawn, axis=1).max() < 1e-9
    assert drawn[:, 0].std() == pytest.approx(0.7, rel=0.04)
    assert drawn[:, 0].mean() == pytest.approx(10, abs=0.04)


def test_a_heading_error_turns_all_of_a_draw():
    edge = HorizonProfile([100, 100, 200, 200], [0, 30, 30, 0], heading_error_deg=3.0)
    drawn = draw_horizons(edge, 3000, rng())
    middle = drawn.azimuth_deg
    centre = (drawn.elevation_deg * middle).sum(axis=1) / drawn.elevation_deg.sum(axis=1)
    width = (drawn.elevation_deg > 15).sum(axis=1) * 0.5
    assert centre.std() == pytest.approx(3.0, rel=0.05)
    assert np.abs(width - 100).max() <= 0.5


def test_random_errors_have_their_size_and_go_together_over_the_correlation_length():
    profile = HorizonProfile(
        AZIMUTH, np.full(360, 20.0), np.linspace(0.2, 0.8, 360), correlation_deg=4.0
    )
    drawn = draw_horizons(profile, 4000, rng()).elevation_deg
    spread = drawn.std(axis=0)
    assert spread[200] == pytest.approx(0.2 + 0.6 * 100 / 359, rel=0.06)
    assert spread[700] == pytest.approx(0.2 + 0.6 * 350 / 359, rel=0.06)
    for apart_deg in (1, 4, 8):
        found = np.corrcoef(drawn[:, 300], drawn[:, 300 + 2 * apart_deg])[0, 1]
        assert found == pytest.approx(np.exp(-0.5 * (apart_deg / 4) ** 2), abs=0.05)
    # Around north too.
    assert np.corrcoef(drawn[:, 0], drawn[:, -2])[0, 1] > 0.9


def test_gaps_keep_the_value_they_are_given():
    gap = HorizonProfile(
        AZIMUTH,
        np.where((AZIMUTH > 90) & (AZIMUTH < 180), np.nan, 10.0),
        np.full(360, 0.5),
        level_error_deg=0.0,
    )
    middle = sector_middles()
    inside = (middle > 95) & (middle < 175)
    for fill in (0.0, 90.0):
        drawn = draw_horizons(gap, 50, rng(), unmeasured_deg=fill).elevation_deg
        assert (drawn[:, inside] == fill).all()
        assert drawn[:, middle > 200].std() == pytest.approx(0.5, rel=0.15)


def test_the_same_seed_draws_the_same():
    profile = HorizonProfile(AZIMUTH, np.full(360, 5.0), np.full(360, 1.0), heading_error_deg=1)
    a, b = (draw_horizons(profile, 3, rng()).elevation_deg for _ in range(2))
    assert np.array_equal(a, b)


def test_noise_that_is_kept_changes_neither_the_draws_nor_what_is_drawn_after_them():
    profile = HorizonProfile(np.arange(0.0, 360.0, 5.0), np.full(72, 8.0), np.full(72, 0.5))
    found = []
    for fresh in (True, False, True):
        if fresh:
            _noise.cache_clear()
        rng = np.random.default_rng(7)
        drawn = [draw_horizons(profile, 30, rng).elevation_deg for _ in range(2)]
        found.append(np.concatenate([*(d.ravel() for d in drawn), rng.standard_normal(5)]))
        assert not np.array_equal(*drawn)
    assert np.array_equal(found[0], found[1])
    assert np.array_equal(found[0], found[2])
