"""The closing target sees what strength and dip do not."""

from __future__ import annotations

from dataclasses import replace
from functools import lru_cache
from typing import Any

import numpy as np
import pytest
from calibrated_boards import corrections_of, rms, stream_of

from logger.calibration import ClosingTarget, check_closing_target
from logger.geometry import angle_between
from logger.orientation import orient
from logger.orientation.sight_lines import SightLines
from logger.recording.samples import KeyPress, Note
from logger.simulation import Operator, Scene, Sensor, Steel, scene_named, simulate_sweep

MARK = (63.0, 1.2)
SENSOR = Sensor(individual=1)


@lru_cache
def swept(steel: Steel | None) -> tuple[Any, Any, Any]:
    scene: Scene = replace(scene_named("ridge", 2), steel=steel)
    operator = Operator(closing_target=MARK, passes=1)
    simulated = simulate_sweep(scene, operator, SENSOR, seed=6, streams="MG")
    stream = stream_of(simulated)
    return simulated, stream, orient(stream.samples, corrections_of(SENSOR))


def checked(
    steel: Steel | None, bearing_deg: float | None = MARK[0]
) -> tuple[Any, ClosingTarget, Any]:
    simulated, stream, got = swept(steel)
    found = check_closing_target(got.sight, stream.keys, stream.notes, bearing_deg)
    return simulated, found, got


def check(found: ClosingTarget, name: str) -> Any:
    return next(g for g in found.checks if g.check == name)


def test_an_undisturbed_sweep_closes_on_its_mark() -> None:
    _, found, _ = checked(None)
    assert found.drift_deg is not None
    assert abs(found.drift_deg) < 0.4
    assert [g.passed for g in found.checks] == [True, True]
    assert found.sight.rejected()["closing target sighted"] > 100


def test_a_disturbance_across_the_field_is_seen_by_the_mark_and_not_by_strength_and_dip() -> None:
    # 2 µT east-west turn the heading by 5 degrees and change the strength by 0.1 %.
    _, found, got = checked(Steel(steady_ut=(0.0, 2.0, 0.0)))
    assert got.field is not None
    assert not got.field.disturbed.any()
    assert np.nanmedian(np.abs(got.field.strength_share)) < 0.01
    assert not check(found, "closing target bearing").passed
    assert found.misclosure_deg == pytest.approx(-5.0, abs=1.0)
    assert check(found, "closing target drift").passed


def test_a_growing_disturbance_fails_the_drift() -> None:
    _, found, got = checked(Steel(growing_ut=(0.0, 2.0, 0.0)))
    assert got.field is not None
    assert not got.field.disturbed.any()
    assert not check(found, "closing target drift").passed
    assert abs(found.drift_deg or 0) > 3
    assert found.sight.steps == got.sight.steps


def test_a_small_drift_is_spread_over_the_sweep() -> None:
    simulated, found, got = checked(Steel(growing_ut=(0.0, 0.4, 0.0)))
    assert found.drift_deg is not None
    assert 0.6 < abs(found.drift_deg) < 1.5
    late = got.sight.t_s > 0.7 * got.sight.t_s[-1]

    def error(sight: SightLines) -> float:
        return rms(angle_between(sight.azimuth_deg, simulated.azimuth_deg)[late])

    assert error(found.sight) < 0.6 * error(got.sight)
    assert any("spread over the sweep" in step for step in found.sight.steps)


def test_without_a_note_a_press_at_either_end_is_the_mark() -> None:
    _, stream, got = swept(None)
    found = check_closing_target(got.sight, stream.keys)
    assert found.drift_deg is not None
    assert found.misclosure_deg is None
    assert not any(key.key == 2 for key in found.keys)


def test_presses_on_corners_are_not_taken_for_the_mark() -> None:
    n = 3000
    t = np.arange(n) / 50
    azimuth = np.floor(t / 5) * 30.0
    sight = SightLines(
        t, azimuth, np.full(n, 5.0), np.zeros(n), np.full(n, 0.1), np.ones(n, bool),
        np.full(n, ""),
    )  # fmt: skip
    keys = [KeyPress(float(s), 2, True) for s in np.arange(4.0, 60.0, 5.0)]
    assert check_closing_target(sight, keys).checks == ()
    assert check_closing_target(sight, keys, bearing_deg=200.0).checks == ()
    # A known bearing that a corner at the end happens to be near is taken at its word.
    assert check_closing_target(sight, keys, bearing_deg=2.0).misclosure_deg == pytest.approx(-2.0)
    labelled = [
        Note(4.3, more={"sight": "closing target"}),
        Note(59.3, more={"sight": "closing target"}),
    ]
    assert check_closing_target(sight, keys, labelled).drift_deg == pytest.approx(-30.0)


def test_a_sight_that_was_not_held_says_nothing() -> None:
    n = 1000
    t = np.arange(n) / 50
    sight = SightLines(
        t, 20 * t % 360, np.full(n, 5.0), np.zeros(n), np.full(n, 0.1), np.ones(n, bool),
        np.full(n, ""),
    )  # fmt: skip
    keys = [KeyPress(3.0, 2, True), KeyPress(19.0, 2, True)]
    found = check_closing_target(sight, keys)
    assert found.start is None
    assert found.sight is sight
