"""Swing: the five coefficients of compass adjustment."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from calibrated_boards import DECLINATION, rms, stream_of
from hypothesis import given
from hypothesis import strategies as st

from logger.calibration import deviation_curve, fit_swing
from logger.errors import InputError
from logger.geometry import angle_between
from logger.orientation import Corrections, DeviationCurve, orient
from logger.recording.samples import Stream, presses
from logger.simulation import Sensor, simulate_swing

COMPASS_POINTS = np.arange(0.0, 360.0, 45.0)

HANDBOOK = np.array([10.5, 20.0, 11.5, -1.2, -5.5, -8.0, -12.5, -6.8])
"""Deviations on the eight points, east positive: the data of article 501, Handbook of Magnetic
Compass Adjustment (US National Geospatial-Intelligence Agency, 2004, formerly Pub. No. 226)."""


def test_the_handbooks_deviation_curve_gives_its_coefficients() -> None:
    # By the same article's rules: A the mean, B and C half the differences of east and west, of
    # north and south; D and E a quarter of the differences between the pairs of points.
    n, ne, e, se, s, sw, w, nw = HANDBOOK
    by_rule = {
        "a": HANDBOOK.mean(),
        "b": (e - w) / 2,
        "c": (n - s) / 2,
        "d": ((ne + sw) - (se + nw)) / 4,
        "e": ((n + s) - (e + w)) / 4,
    }
    assert by_rule == pytest.approx({"a": 1.0, "b": 12.0, "c": 8.0, "d": 5.0, "e": 1.5})
    curve, residual = deviation_curve(COMPASS_POINTS, HANDBOOK)
    # The rules leave the intercardinal points out of B and C; least squares takes all eight.
    assert curve.a == pytest.approx(1.0, abs=0.001)
    assert curve.b == pytest.approx(12.0, abs=0.1)
    assert curve.c == pytest.approx(8.0, abs=0.1)
    assert curve.d == pytest.approx(5.0, abs=0.001)
    assert curve.e == pytest.approx(1.5, abs=0.001)
    assert np.abs(residual).max() < 0.15


def test_four_headings_give_the_constant_only() -> None:
    # Indicated less actual heading +6, 0, -5, +6 on north, east, south, west, index +1.75:
    # example of a compass alignment after MIL-STD-765A, published by Duncan Aviation. Deviation
    # has the other sign.
    curve, _ = deviation_curve([6.0, 90.0, 175.0, 276.0], [-6.0, 0.0, 5.0, -6.0])
    assert curve.a == pytest.approx(-1.75)
    assert (curve.b, curve.c, curve.d, curve.e) == (0, 0, 0, 0)
    assert curve.standard_error_deg > 2


@given(st.lists(st.floats(-15, 15), min_size=5, max_size=5), st.integers(8, 36))
def test_any_curve_comes_back_from_enough_headings(values: list[float], n: int) -> None:
    curve = DeviationCurve(*values)
    headings = np.linspace(0, 360, n, endpoint=False)
    found, residual = deviation_curve(headings, curve.deviation_deg(headings))
    assert [getattr(found, k) for k in "abcde"] == pytest.approx(values, abs=1e-9)
    assert np.abs(residual).max() < 1e-9


def sights(swing: Stream, bearings: Any) -> list[tuple[float, float]]:
    return list(zip(presses(swing.keys), bearings, strict=True))


def test_a_swing_takes_the_deviation_out_of_a_board_that_sends_attitude_only() -> None:
    sensor = replace(Sensor(individual=4), hard_iron_ut=5.0, soft_iron_share=0.02)
    bearings = np.arange(5.0, 360.0, 36.0)
    swing = stream_of(simulate_swing(bearings, sensor=sensor, seed=1))
    calibration = fit_swing(swing.samples, sights(swing, bearings), DECLINATION)
    assert calibration.figures["headings"] == 10
    assert calibration.checks[0].passed
    other = np.arange(20.0, 360.0, 36.0)
    again = simulate_swing(other, sensor=sensor, seed=2)
    samples = stream_of(again).samples

    def error(corrections: Corrections) -> float:
        sight = orient(samples, corrections).sight
        return rms(angle_between(sight.azimuth_deg, again.azimuth_deg))

    before = error(Corrections(DECLINATION))
    after = error(Corrections(DECLINATION, deviation=calibration.correction))
    assert before > 4
    assert after < 1.6  # of which 1.1 is the noise of a single sample


def test_too_few_marks_are_poor_and_none_is_refused() -> None:
    sensor = replace(Sensor(individual=4), hard_iron_ut=5.0, soft_iron_share=0.02)
    bearings = [10.0, 100.0, 190.0, 280.0]
    swing = stream_of(simulate_swing(bearings, sensor=sensor, seed=1))
    poor = fit_swing(swing.samples, sights(swing, bearings), DECLINATION)
    assert not poor.checks[0].passed
    assert "constant only" in poor.checks[0].why
    with pytest.raises(InputError, match="known bearing"):
        fit_swing(swing.samples, (), DECLINATION)
