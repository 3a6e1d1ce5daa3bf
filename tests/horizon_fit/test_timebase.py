"""Lag between heading and elevation, drift between passes, turns between recordings."""

from __future__ import annotations

import pytest
from skyline_paths import blocks, blocks_line, mean_difference, swept, wavy, wavy_line

from logger.horizon_fit import HorizonSettings, Pass, horizon_from

SETTINGS = HorizonSettings(latitude_deg=46.0)


def test_where_there_is_nothing_nothing_is_removed() -> None:
    for line in (wavy_line(), blocks_line()):
        base = horizon_from([Pass(swept(*line, seed=1))], SETTINGS).time_base
        assert base.lag_s is not None
        assert abs(base.lag_s.value) < 0.03
        assert base.steps == ()


def test_a_heading_that_comes_late_is_found_and_removed() -> None:
    result = horizon_from([Pass(swept(*wavy_line(), seed=2, lag_s=0.15))], SETTINGS)
    assert result.time_base.lag_s is not None
    assert result.time_base.lag_s.removed
    assert result.time_base.lag_s.value == pytest.approx(0.15, abs=0.05)
    assert any("lag" in step for step in result.profile.steps)


def test_a_heading_that_drifts_is_closed_and_reported() -> None:
    drifting = swept(*blocks_line(), seed=3, drift_deg_per_min=1.5)
    result = horizon_from([Pass(drifting)], SETTINGS)
    drift = result.time_base.drift_deg_per_min[0]
    assert drift is not None
    assert drift.removed
    assert drift.value == pytest.approx(1.5, abs=0.4)
    assert mean_difference(result.profile.elevation_at, blocks) < 0.25


def test_a_heading_that_drifts_far_fails_a_check() -> None:
    result = horizon_from([Pass(swept(*wavy_line(), seed=4, drift_deg_per_min=6.0))], SETTINGS)
    check = next(g for g in result.checks if g.check == "heading steady")
    assert not check.passed
    assert check.value is not None
    assert check.value > 3.0


def test_a_recording_turned_against_another_is_turned_back_half_way() -> None:
    azimuth, _ = wavy_line()
    one = Pass(swept(azimuth, wavy(azimuth), seed=5))
    two = Pass(swept(azimuth + 1.6, wavy(azimuth), seed=6))
    turns = horizon_from([one, two], SETTINGS).time_base.turn_deg
    assert turns[0] is not None
    assert turns[1] is not None
    assert turns[1].value - turns[0].value == pytest.approx(1.6, abs=0.4)


def test_a_single_pass_shows_neither_lag_nor_drift() -> None:
    base = horizon_from([Pass(swept(*wavy_line(), passes=1))], SETTINGS).time_base
    assert base.lag_s is None
    assert base.drift_deg_per_min == (None,)
