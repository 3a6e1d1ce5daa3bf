"""Lag between heading and elevation, drift between passes, turns between sweeps."""

from __future__ import annotations

import numpy as np
import pytest
from skyline_paths import blocks, blocks_line, failed, fused, off, swept, wavy, wavy_line

from logger.horizon_fit import HorizonResult


def found(result: HorizonResult, kind: str) -> dict[int, float]:
    """What was found of one kind, by sweep."""
    return {m.sweep: m.value for m in result.misclosures if m.kind == kind}


def test_where_there_is_nothing_nothing_is_removed() -> None:
    for line in (wavy_line(), blocks_line()):
        result = fused(swept(*line, seed=1))
        assert abs(found(result, "lag")[-1]) < 0.03
        assert not any(m.removed for m in result.misclosures)


def test_a_heading_that_comes_late_is_found_and_removed() -> None:
    result = fused(swept(*wavy_line(), seed=2, lag_s=0.15))
    assert found(result, "lag")[-1] == pytest.approx(0.15, abs=0.05)
    assert any("lag" in step for step in result.profile.steps)


def test_a_heading_that_drifts_is_closed_and_reported() -> None:
    result = fused(swept(*blocks_line(), seed=3, drift_deg_per_min=1.5))
    assert found(result, "drift")[0] == pytest.approx(1.5, abs=0.4)
    assert any("drift +" in step for step in result.profile.steps)
    assert np.abs(off(result, blocks)).mean() < 0.25


def test_a_heading_that_drifts_far_fails_a_check() -> None:
    result = fused(swept(*wavy_line(), seed=4, drift_deg_per_min=6.0))
    assert failed(result) == ["heading steady"]


def test_a_sweep_turned_against_another_is_turned_back_half_way() -> None:
    azimuth, _ = wavy_line()
    result = fused(
        swept(azimuth, wavy(azimuth), seed=5), swept(azimuth + 1.6, wavy(azimuth), seed=6)
    )
    turns = found(result, "turn")
    assert turns[1] - turns[0] == pytest.approx(1.6, abs=0.4)


def test_a_single_pass_shows_neither_lag_nor_drift() -> None:
    assert fused(swept(*wavy_line(), passes=1)).misclosures == ()
