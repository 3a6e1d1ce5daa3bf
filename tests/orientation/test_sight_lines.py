"""Sight lines: where the line of sight points, and which rows are not used."""

from __future__ import annotations

import datetime as dt

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from logger.geometry import angle_between, attitude_matrix, unit_vector
from logger.orientation import (
    CompassCorrection,
    Corrections,
    Declination,
    FieldReference,
    LevelCorrection,
    declination_at,
    declination_given,
    field_expected_at,
    orient,
)
from logger.site import Site

from .made_up import FIELD, board, raw

NO_DECLINATION = Declination(0.0, 0.0, "none")
PLAIN = Corrections(NO_DECLINATION)

heading = st.floats(0, 359.99)
tilt = st.floats(-180, 180)
pitch = st.floats(-80, 80)


@given(heading, tilt, pitch)
def test_raw_vectors_and_board_attitude_give_the_same_sight(h: float, r: float, p: float) -> None:
    for samples in (board(h, r, p), raw(h, r, p)):
        sight = orient(samples, PLAIN).sight
        assert sight.used.all()
        assert abs(angle_between(sight.azimuth_deg[0], h)) < 1e-6
        assert abs(sight.elevation_deg[0] - p) < 1e-6


@given(heading, tilt, pitch, st.floats(-3, 3), st.floats(-3, 3))
def test_the_sight_is_a_rotation_of_the_boards_own_axis(
    h: float, r: float, p: float, index: float, collimation: float
) -> None:
    level = LevelCorrection(index_deg=index, collimation_deg=collimation)
    sight = orient(board(h, r, p), Corrections(NO_DECLINATION, level=level)).sight
    expected = attitude_matrix(h, r, p) @ level.sight_in_body()
    got = unit_vector(sight.azimuth_deg[0], sight.elevation_deg[0])
    assert np.allclose(got, expected, atol=1e-9)


def test_index_lifts_and_collimation_turns_an_upright_sight_and_rolling_swaps_their_signs() -> None:
    level = Corrections(NO_DECLINATION, level=LevelCorrection(0.6, 0.8))
    sight = orient(board([100, 100], [0, 180], [5, 5]), level).sight
    assert sight.elevation_deg == pytest.approx([5.6, 4.4], abs=0.01)
    assert sight.azimuth_deg == pytest.approx([100.8, 99.2], abs=0.02)


def test_compass_correction_undoes_iron_and_accelerometer_errors() -> None:
    truth = np.array([[1.1, 0.05, -0.02], [0.03, 0.93, 0.04], [0.0, -0.06, 1.0]])
    bias, offset = np.array([20.0, -15.0, 8.0]), np.array([0.004, -0.003, 0.02])
    clean = raw(np.arange(0, 360, 30.0), 20.0, -15.0)
    seen = raw(
        np.arange(0, 360, 30.0),
        20.0,
        -15.0,
        field_ut=clean.field_ut @ truth.T + bias,
        force_g=clean.force_g + offset,
    )
    compass = CompassCorrection(
        matrix=tuple(map(tuple, np.linalg.inv(truth))),  # type: ignore[arg-type]
        hard_iron_ut=tuple(bias),
        field_ut=float(np.linalg.norm(FIELD)),
        dip_deg=float(np.degrees(np.arctan2(FIELD[2], FIELD[0]))),
        force_offset_g=tuple(offset),
    )
    sight = orient(seen, Corrections(NO_DECLINATION, compass=compass)).sight
    assert sight.used.all()
    assert np.abs(angle_between(sight.azimuth_deg, np.arange(0, 360, 30.0))).max() < 1e-6
    assert np.abs(sight.elevation_deg + 15.0).max() < 1e-6
    wrong = orient(seen, PLAIN).sight
    assert np.abs(angle_between(wrong.azimuth_deg, np.arange(0, 360, 30.0))).max() > 20


def test_a_stretch_of_disturbed_field_is_not_used_and_a_weaker_one_is_used() -> None:
    n = 600
    field = raw(np.linspace(0, 100, n), 0.0, 5.0).field_ut.copy()
    field[200:300] *= 1.13
    field[400:500] *= 1.05
    compass = CompassCorrection(
        field_ut=float(np.linalg.norm(FIELD)), dip_deg=float(np.degrees(np.arctan2(43, 20)))
    )
    model = FieldReference(compass.field_ut, compass.dip_deg, "model")
    got = orient(
        raw(np.linspace(0, 100, n), 0.0, 5.0, field_ut=field),
        Corrections(NO_DECLINATION, compass=compass, field=model),
    )
    assert got.field is not None
    assert set(got.sight.reason[225:275]) == {"magnetic disturbance"}
    assert got.sight.used[425:475].all()
    assert got.sight.used[:170].all()
    assert not got.field.disturbed[400:].any()
    assert [(c.check, c.passed) for c in got.checks] == [
        ("magnetic disturbance", False), ("magnetic field against the model", True),
    ]  # fmt: skip
    assert "between 4 and 6 s; 100 samples" in got.checks[0].why


def test_hand_motion_widens_the_error_and_shaking_takes_rows_out_of_use() -> None:
    n = 400
    still = raw(np.full(n, 30.0), 0.0, 0.0)
    t = np.arange(n) / 50
    moved = np.zeros((n, 3))
    moved[:, 0] = 0.05 * np.sin(2 * np.pi * 2 * t)
    moved[200:300, 2] = 0.4
    shaken = orient(raw(np.full(n, 30.0), 0.0, 0.0, force_g=still.force_g + moved), PLAIN).sight
    quiet = orient(still, PLAIN).sight
    assert np.median(shaken.standard_error_deg[:150]) > 2 * np.median(quiet.standard_error_deg)
    assert set(shaken.reason[210:290]) == {"board shaken"}
    assert shaken.used[:150].all()


def test_declination_comes_from_the_model_with_its_published_error() -> None:
    # NOAA NCEI and BGS, WMM2025 technical report: declination error sqrt(0.26^2 + (5417/H)^2).
    site = Site(46.05, 14.51, 310)
    got = declination_at(site, dt.date(2026, 5, 14))
    assert 3.5 < got.value_deg < 5.5
    assert got.standard_error_deg == pytest.approx(0.36, abs=0.02)
    assert "WMM2025" in got.source
    field = field_expected_at(site, dt.date(2026, 5, 14))
    assert field.field_ut == pytest.approx(48, abs=1)
    assert field.dip_deg == pytest.approx(63, abs=1)
    assert declination_given(-3.5).value_deg == -3.5
