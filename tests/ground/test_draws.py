"""Drawn horizons spread as the errors of the profile say, and hold together as skylines do."""

import numpy as np
import pytest

from logger.access.draws import (
    SECTOR_MIDDLES,
    SurveyErrors,
    drawn_elevation,
    has_errors,
    survey_errors,
)
from logger.horizon import HorizonProfile

AZIMUTH = np.arange(360.0)


def drawn(profile, n, seed=7):
    return drawn_elevation(profile, survey_errors(n, seed, profile.correlation_deg))


def test_without_errors_every_draw_is_the_profile():
    profile = HorizonProfile(AZIMUTH, 10 + 5 * np.sin(np.radians(AZIMUTH)))
    expected = np.broadcast_to(profile.elevation_at(SECTOR_MIDDLES), (4, 720))
    assert drawn(profile, 4) == pytest.approx(expected)
    assert not has_errors(profile)


def test_a_level_error_lifts_all_of_a_draw():
    profile = HorizonProfile(AZIMUTH, np.full(360, 10.0), level_error_deg=0.7)
    found = drawn(profile, 4000)
    assert np.ptp(found, axis=1).max() < 1e-9
    assert found[:, 0].std() == pytest.approx(0.7, rel=0.04)
    assert found[:, 0].mean() == pytest.approx(10, abs=0.04)


def test_a_heading_error_turns_all_of_a_draw():
    edge = HorizonProfile([100, 100, 200, 200], [0, 30, 30, 0], heading_error_deg=3.0)
    found = drawn(edge, 3000)
    centre = (found * SECTOR_MIDDLES).sum(axis=1) / found.sum(axis=1)
    width = (found > 15).sum(axis=1) * 0.5
    assert centre.std() == pytest.approx(3.0, rel=0.05)
    assert np.abs(width - 100).max() <= 0.5
    # A positive error turns the skyline clockwise.
    turned = drawn_elevation(edge, SurveyErrors.of([2.0], [0.0]))[0]
    assert turned == pytest.approx(edge.turned(6.0).elevation_at(SECTOR_MIDDLES))


def test_random_errors_have_their_size_and_go_together_over_the_correlation_length():
    profile = HorizonProfile(
        AZIMUTH, np.full(360, 20.0), np.linspace(0.2, 0.8, 360), correlation_deg=4.0
    )
    found = drawn(profile, 4000)
    spread = found.std(axis=0)
    assert spread[200] == pytest.approx(0.2 + 0.6 * 100 / 359, rel=0.06)
    assert spread[700] == pytest.approx(0.2 + 0.6 * 350 / 359, rel=0.06)
    for apart_deg in (1, 4, 8):
        alike = np.corrcoef(found[:, 300], found[:, 300 + 2 * apart_deg])[0, 1]
        assert alike == pytest.approx(np.exp(-0.5 * (apart_deg / 4) ** 2), abs=0.05)
    # Around north too.
    assert np.corrcoef(found[:, 0], found[:, -2])[0, 1] > 0.9


def test_a_node_of_unknown_error_takes_the_mean_of_the_others():
    error = np.where(AZIMUTH < 180, 0.5, np.nan)
    found = drawn(HorizonProfile(AZIMUTH, np.full(360, 20.0), error), 3000)
    assert found[:, 600].std() == pytest.approx(0.5, rel=0.06)
