"""The sight leaves the skyline now and then; the horizon must not."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from skyline_paths import (
    blocks_line,
    followed,
    fused,
    mean_difference,
    sight,
    swept,
    tremor,
    wavy,
    wavy_line,
)

from logger.arrays import Floats
from logger.calibration import check_closing_target
from logger.horizon_fit import SightedSweep
from logger.orientation.sight_lines import SightLines
from logger.simulation import Operator, Sensor, scene_named, simulate_sweep


def with_glance(
    t: Floats, a: Floats, e: Floats, at_s: float, seconds: float, to_deg: float, wander: float = 0.0
) -> SightLines:
    """The same path with the sight away from it for a while."""
    i = int(np.searchsorted(t, at_s))
    away = np.arange(0.0, seconds, 0.02)
    swing = round(1.5 / 0.02)
    down = np.linspace(e[i], to_deg, swing)
    a_away = a[i] + wander * np.sin(2 * np.pi * away / seconds)
    a = np.concatenate([a[:i], np.full(swing, a[i]), a_away, np.full(swing, a[i]), a[i:]])
    e = np.concatenate([e[:i], down, np.full(len(away), to_deg), down[::-1], e[i:]])
    n = len(a)
    shaken_a, shaken_e = tremor(n, 3)
    return sight(np.arange(n) * 0.02, a + shaken_a, e + shaken_e)


@pytest.mark.parametrize("wander", [0.0, 20.0])
def test_twenty_seconds_at_the_ground_leave_no_trace(wander: float) -> None:
    recorded = with_glance(*followed(*wavy_line()), 20.0, 20.0, -40.0, wander)
    result = fused(recorded)
    assert result.sight[0].rejected()["off the skyline"] > 900
    assert all(check.passed for check in result.checks)
    assert mean_difference(result.profile.elevation_at, wavy) < 0.12


def test_lingering_on_something_beside_the_skyline_is_left_out() -> None:
    recorded = with_glance(*followed(*wavy_line()), 20.0, 10.0, 2.0)
    result = fused(recorded)
    assert result.sight[0].rejected()["off the skyline"] > 400
    assert mean_difference(result.profile.elevation_at, wavy) < 0.12


def test_a_pause_on_the_skyline_is_no_glance() -> None:
    t, a, e = followed(*wavy_line())
    i = len(t) // 3
    a, e = np.insert(a, i, np.full(500, a[i])), np.insert(e, i, np.full(500, e[i]))
    shaken_a, shaken_e = tremor(len(a), 4)
    recorded = sight(np.arange(len(a)) * 0.02, a + shaken_a, e + shaken_e)
    result = fused(recorded)
    assert result.sight[0].used.all()
    assert mean_difference(result.profile.elevation_at, wavy) < 0.1


def test_a_mast_is_no_glance() -> None:
    t, a, e = followed(*blocks_line())
    shaken_a, shaken_e = tremor(len(t), 5)
    result = fused(sight(t, a + shaken_a, e + shaken_e))
    assert result.sight[0].used.all()
    assert result.profile.elevation_at(150.7) > 30.0


@pytest.mark.parametrize("target", [(100.0, 3.0), (300.0, 25.0), (2.0, 2.0)])
def test_the_way_from_the_closing_target_and_back_is_no_skyline(
    target: tuple[float, float],
) -> None:
    scene = scene_named("ridge", 5)
    operator = replace(Operator.brisk(), closing_target=target)
    made = simulate_sweep(scene, operator, Sensor().without_iron(), seed=5)
    n = len(made.t_s)
    true = sight(made.t_s, made.azimuth_deg, made.elevation_deg)
    kept = check_closing_target(true, made.motion.keys, made.notes)
    result = fused(SightedSweep(kept.sight, kept.keys))
    azimuth = np.arange(0.0, 360.0, 0.5)
    away = np.abs(result.profile.elevation_at(azimuth) - scene.elevation_at(azimuth))
    assert away.max() < 1.0
    assert len(result.passes) == 2
    assert result.sight[0].used.sum() > 0.7 * n


def test_a_sweep_that_starts_on_the_closing_target_is_kept_whole() -> None:
    t, a, e = followed(*wavy_line(0.0, 360.0))
    hold = 100
    at = np.arange(len(t) + 2 * hold) * 0.02
    a, e = np.pad(a, hold, mode="edge"), np.pad(e, hold, mode="edge")
    shaken_a, shaken_e = tremor(len(a), 6)
    recorded = sight(at, a + shaken_a, e + shaken_e)
    target = (at < 2.0) | (at > at[-1] - 2.0)
    result = fused(recorded.without(target, "closing target sighted"))
    assert result.sight[0].used.sum() > len(t) - 5


def test_a_target_sighted_half_way_drops_nothing_before_it() -> None:
    recorded = swept(*wavy_line(), seed=7)
    middle = recorded.t_s[-1] / 2.0
    looked = np.abs(recorded.t_s - middle) < 1.0
    result = fused(recorded.without(looked, "closing target sighted"))
    assert result.sight[0].used.sum() == (~looked).sum()
