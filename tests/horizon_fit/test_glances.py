"""The sight leaves the skyline now and then; the horizon must not."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from skyline_paths import (
    blocks_line,
    failed,
    followed,
    fused,
    off,
    shaken,
    sight,
    swept,
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
    return shaken(a, e, 3)


@pytest.mark.parametrize(
    ("seconds", "to_deg", "wander"), [(20.0, -40.0, 0.0), (20.0, -40.0, 20.0), (10.0, 2.0, 0.0)]
)
def test_a_look_at_the_ground_or_beside_the_skyline_leaves_no_trace(
    seconds: float, to_deg: float, wander: float
) -> None:
    result = fused(with_glance(*followed(*wavy_line()), 20.0, seconds, to_deg, wander))
    assert result.sight[0].rejected()["off the skyline"] > 40 * seconds
    assert failed(result) == []
    assert np.abs(off(result, wavy)).mean() < 0.12


def test_a_pause_on_the_skyline_is_no_glance() -> None:
    t, a, e = followed(*wavy_line())
    i = len(t) // 3
    a, e = np.insert(a, i, np.full(500, a[i])), np.insert(e, i, np.full(500, e[i]))
    result = fused(shaken(a, e, 4))
    assert result.sight[0].used.all()
    assert np.abs(off(result, wavy)).mean() < 0.1


def test_a_mast_is_no_glance() -> None:
    result = fused(swept(*blocks_line(), seed=5))
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
    assert np.abs(off(result, scene.elevation_at)).max() < 1.0
    assert len(result.passes) == 2
    assert result.sight[0].used.sum() > 0.7 * n


def test_a_sweep_that_starts_on_the_closing_target_is_kept_whole() -> None:
    t, a, e = followed(*wavy_line(0.0, 360.0))
    recorded = shaken(np.pad(a, 100, mode="edge"), np.pad(e, 100, mode="edge"), 6)
    at = recorded.t_s
    target = (at < 2.0) | (at > at[-1] - 2.0)
    result = fused(recorded.without(target, "closing target sighted"))
    assert result.sight[0].used.sum() > len(t) - 5


def test_a_target_sighted_half_way_drops_nothing_before_it() -> None:
    recorded = swept(*wavy_line(), seed=7)
    middle = recorded.t_s[-1] / 2.0
    looked = np.abs(recorded.t_s - middle) < 1.0
    result = fused(recorded.without(looked, "closing target sighted"))
    assert result.sight[0].used.sum() == (~looked).sum()
