"""Sweeps with a known turn, lift and shape, held against each other and against the truth."""

from __future__ import annotations

import re
from dataclasses import replace

import numpy as np
import pytest

from logger.agreement import Traced, observers_of
from logger.horizon import HorizonProfile
from logger.report.observers import observers_text
from logger.simulation import scene_named

STREET = scene_named("street", 12).truth()
MEADOW = HorizonProfile(np.arange(0.0, 360.0, 1.0), np.full(360, 4.0))


def traced(observer, lift=0.0, turn=0.0, noise=0.0, seed=0, horizon=STREET, **more):
    """A horizon as somebody traced it: too high, turned, unsteady."""
    shaken = np.random.default_rng(seed).normal(0.0, noise, len(horizon)) if noise else 0.0
    profile = replace(horizon, elevation_deg=horizon.elevation_deg + lift + shaken).turned(turn)
    access = np.full(13, 0.8 - 0.02 * lift)
    return Traced(f"{observer}-{seed}.sweep", observer, profile, access, 2, **more)


def test_turn_and_lift_of_each_observer_are_found_against_the_truth() -> None:
    found = observers_of([traced("high", 0.6, 1.5), traced("low", -0.4, -2.0)], STREET)
    assert [b.value for b in found.bias_deg] == pytest.approx([0.6, -0.4], abs=0.03)
    assert [h.value for h in found.heading_deg] == pytest.approx([1.5, -2.0], abs=0.1)
    assert found.sweeps[0].shape_rms_deg < 0.3


def test_without_a_truth_the_same_differences_show_about_their_middle() -> None:
    biases = [0.6, -0.4, 0.1, 0.3, -0.2]
    found = observers_of([traced(f"o{k}", b, 3 * b) for k, b in enumerate(biases)])
    lifts = np.array([b.value for b in found.bias_deg])
    assert lifts == pytest.approx(np.array(biases) - np.median(biases), abs=0.05)
    assert found.lift.reproducibility is not None
    assert found.lift.reproducibility.value == pytest.approx(np.std(biases, ddof=1), abs=0.03)


def test_a_level_horizon_shows_the_lift_and_no_turn() -> None:
    found = observers_of([traced("a", 0.3, 5.0, 0.1, 1, MEADOW)], MEADOW)
    assert np.isnan(found.heading_deg[0].value)
    assert found.bias_deg[0].value == pytest.approx(0.3, abs=0.03)


def test_half_a_horizon_is_held_against_the_half_that_was_swept() -> None:
    half = replace(STREET, measured=STREET.azimuth_deg < 180.0)
    found = observers_of([traced("half", 0.5, horizon=half)], STREET)
    assert found.bias_deg[0].value == pytest.approx(0.5, abs=0.05)
    assert np.isnan(found.sectors[8].mean)
    assert found.sectors[2].mean > 5


def test_the_interval_of_a_bias_allows_for_the_level() -> None:
    level = observers_of([traced("a", 0.3, noise=0.1, level_error_deg=0.2)], STREET).bias_deg[0]
    assert level.error == pytest.approx(0.2, abs=0.03)
    steady = observers_of([traced("a", 0.3, noise=0.1)], STREET).bias_deg[0]
    assert steady.interval[0] <= 0.3 <= steady.interval[1]
    assert steady.error < 0.05


def test_enough_observers_speak_for_themselves() -> None:
    biases = np.array([0.2, -0.2] * 10)
    sweeps = [traced(f"o{k}", b, noise=0.02, seed=k) for k, b in enumerate(biases)]
    tracing = observers_of(sweeps, STREET).tracing
    assert tracing is not None
    assert tracing.freedom == pytest.approx(20, abs=0.1)
    assert tracing.found_deg == pytest.approx(0.2, abs=0.01)
    # Student's t of 20 degrees of freedom is 2.086 at 97.5 % (any table of t)
    assert tracing.to_use_deg == pytest.approx(0.2 * 2.086 / 1.96, abs=0.01)


def test_of_two_observers_the_assumed_bias_stands_in_for_three() -> None:
    found = observers_of([traced("a", 0.1), traced("b", -0.1)], STREET)
    # Of what both do alike: 0.2° apart, and Student's t of 1 degree of freedom is 12.71
    assert found.common_bias_deg.error == pytest.approx(0.1 * 12.71 / 1.96, abs=0.1)
    tracing = found.tracing
    assert tracing is not None
    expected = np.sqrt((3 * 0.5**2 + 2 * 0.1**2) / 5)
    # Student's t of 5 degrees of freedom is 2.571 at 97.5 % (any table of t)
    assert tracing.to_use_deg == pytest.approx(expected * 2.571 / 1.96, abs=0.02)


def test_what_all_observers_do_alike_shows_against_the_truth_alone() -> None:
    sweeps = [traced(f"o{k}", 0.8 + 0.1 * (-1) ** k) for k in range(6)]
    against_truth, together = observers_of(sweeps, STREET), observers_of(sweeps)
    assert against_truth.common_bias_deg.value == pytest.approx(0.8, abs=0.03)
    # Student's t of 5 degrees of freedom is 2.571
    error = 0.1 * np.sqrt(6 / 5) / np.sqrt(6) * 2.571 / 1.96
    assert against_truth.common_bias_deg.error == pytest.approx(error, rel=0.1)
    assert against_truth.tracing is not None
    assert together.tracing is not None
    assert against_truth.tracing.found_deg > 0.75
    assert together.tracing.found_deg < 0.15
    told = observers_text(against_truth, "yard", "truth.csv")
    assert "All observers together trace 0.80° too high (95 % interval +0." in told
    assert "does not show" not in told
    assert "What all observers do alike does not show" in observers_text(together, "yard", "")


def test_a_second_sweep_gives_repeatability() -> None:
    sweeps = [
        traced(name, bias + off, seed=k)
        for name, bias in (("a", 0.5), ("b", -0.5), ("c", 0.0))
        for k, off in enumerate((-0.1, 0.1))
    ]
    lift = observers_of(sweeps).lift
    assert lift.repeatability is not None
    assert lift.repeatability.value == pytest.approx(0.1 * np.sqrt(2), abs=0.02)
    assert lift.reproducibility is not None
    assert lift.reproducibility.value > 0.45
    told = observers_text(observers_of(sweeps, STREET), "yard", "truth.csv")
    assert told.startswith("yard: 3 observers, 6 sweeps, against truth.csv")
    (line,) = [row for row in told.splitlines() if row.startswith("lift [°]")]
    again, another = (float(row.split(" ")[0]) for row in re.split(r"  +", line)[1:3])
    assert (again, another) == pytest.approx((0.14, lift.reproducibility.value), abs=0.02)


def test_one_wild_sweep_does_not_pull_the_rest() -> None:
    sound = [traced(f"o{k}", 0.0, noise=0.05, seed=k) for k in range(6)]
    found = observers_of([*sound, traced("wild", 6.0, 12.0)])
    assert [b.value for b in found.bias_deg[:6]] == pytest.approx([0.0] * 6, abs=0.05)
    assert found.bias_deg[6].value == pytest.approx(6.0, abs=0.1)
    assert (6, "h") in [one[:2] for one in found.lift.outlying()]
