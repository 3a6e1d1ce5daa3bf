"""Stored calibrations: what fits a sweep, and what is said of it."""

from __future__ import annotations

import datetime as dt
import json
from dataclasses import replace
from typing import Any

import pytest

from logger.calibration import (
    CalibrationAbout,
    StoredCalibration,
    SweepAbout,
    choose_calibrations,
    read_calibration,
    stored_from_dict,
)
from logger.calibration.level import _check
from logger.checks import Check
from logger.errors import InputError
from logger.job import calibration_files, read_job
from logger.orientation import (
    BearingCorrection,
    CompassCorrection,
    Declination,
    DeviationCurve,
    LevelCorrection,
)
from logger.site import Site
from logger.survey.demo import shipped_survey

DECLINATION = Declination(4.7, 0.36, "model")
NOON = dt.datetime(2026, 5, 14, 12, 0, tzinfo=dt.UTC)
SWEEP = SweepAbout(NOON, "0007", Site(46.05, 14.51), 20.0, "clamp")
CORRECTIONS: dict[str, Any] = {
    "compass": CompassCorrection(hard_iron_ut=(1.0, 2.0, 3.0)),
    "deviation": DeviationCurve(1.0),
    "level": LevelCorrection(0.6, 0.8),
    "bearing": BearingCorrection(5.0, 0.5, 0.3, "sun"),
}


FIGURES: dict[str, dict[str, Any]] = {
    "compass": {"heading_error_95_deg": 0.3},
    "deviation": {"coefficients_deg": {"a": 1.0}},
    "level": {"target_azimuth_deg": 63.1, "target_is_near": True},
    "bearing": {"target_deg": 63.1},
}


def made(
    hours_before: float = 1.0, kind: str = "compass", poor: bool = False, **about: Any
) -> StoredCalibration:
    moment = NOON - dt.timedelta(hours=hours_before)
    purpose = "compass" if kind == "deviation" else kind
    base = CalibrationAbout(
        purpose=purpose, made=moment, serial_number="0007", board="demo board", firmware="1.0",
        latitude_deg=46.05, longitude_deg=14.51, temperature_c=20.0, holder="clamp",
        recording=f"{hours_before}.sweep", sha256=64 * "a",
    )  # fmt: skip
    check = Check("compass heading error", not poor, 0.3, 1.0, "deg", "good to 0.3°")
    figures = FIGURES[kind]
    return StoredCalibration(
        replace(base, **about), kind, CORRECTIONS[kind], figures, (check,), "file.json"
    )


def choose(*stored: StoredCalibration, sweep: SweepAbout = SWEEP, **more: Any) -> Any:
    return choose_calibrations(stored, sweep, DECLINATION, **more)


def test_a_calibration_survives_a_trip_through_json() -> None:
    for kind in CORRECTIONS:
        one = made(kind=kind)
        again = stored_from_dict(json.loads(json.dumps(one.as_dict())), "file.json")
        assert again == one


@pytest.mark.parametrize(
    "spoilt",
    [
        {"schema": "something else 3"},
        {"kind": "magic"},
        {"kind": "level"},
        {"correction": {"hard_iron_ut": "much"}},
        {"made": "yesterday"},
        {"made": "0001-01-01T00:00:00+14:00"},
        {"new": 1},
        {"quality": [{"check": 1}]},
    ],
)
def test_what_is_no_calibration_is_refused_by_file(spoilt: dict[str, Any]) -> None:
    with pytest.raises(InputError, match=r"^file\.json: ") as caught:
        stored_from_dict(made().as_dict() | spoilt, "file.json")
    assert "delete the file and calibrate again" in caught.value.hint


@pytest.mark.parametrize(
    ("hours_before", "used", "says"),
    [
        ((5, 1, 3), 1, "60 min before the sweep"),
        ((-1, -2), -1, "60 min after the sweep"),
        ((-1, 4), 4, "4 h before the sweep"),
        ((3.25,), 3.25, "3 h before the sweep"),
    ],
)
def test_the_newest_before_the_sweep_is_used_else_the_first_after_it(
    hours_before: tuple[float, ...], used: float, says: str
) -> None:
    chosen = choose(*map(made, hours_before))
    assert chosen.used[0].about.recording == f"{used}.sweep"
    assert chosen.corrections.compass == CORRECTIONS["compass"]
    (check,) = chosen.checks
    assert (check.check, check.passed, check.value, check.unit) == (
        "compass calibration", True, used, "h",
    )  # fmt: skip
    assert says in check.why
    assert "0.30°" in check.why


@pytest.mark.parametrize(
    ("stored", "says"),
    [
        ([], "horizon-logger calibrate compass"),
        ([made(serial_number="0008")], "other boards (0008)"),
        ([made(latitude_deg=46.2)], "another site"),
    ],
)
def test_none_that_fits_fails_the_check_and_says_why(
    stored: list[StoredCalibration], says: str
) -> None:
    chosen = choose(*stored)
    assert chosen.corrections.compass is None
    (check,) = chosen.checks
    assert not check.passed
    assert says in check.why
    assert choose(*stored, needed=()).checks == ()


@pytest.mark.parametrize(
    ("stored", "says"),
    [
        (made(30), "stale"),
        (made(poor=True), "poor"),
        (made(temperature_c=2.0), "+18 °C"),
        (made(holder="pole"), "held in pole, not clamp"),
    ],
)
def test_what_is_used_but_doubtful_fails_its_check(stored: StoredCalibration, says: str) -> None:
    chosen = choose(stored)
    assert chosen.corrections.compass is not None
    (check,) = chosen.checks
    assert not check.passed
    assert says in check.why
    assert "calibrate again" in check.why


def test_what_nobody_said_of_temperature_and_holder_fails_nothing() -> None:
    assert choose(made(temperature_c=None, holder="")).checks[0].passed


def test_a_raw_board_gets_no_deviation_curve_and_the_other_way_round() -> None:
    both = (made(2, "compass"), made(1, "deviation"))
    raw = choose(*both).corrections
    assert raw.compass is not None
    assert raw.deviation is None
    attitude = choose(*both, sweep=replace(SWEEP, raw=False)).corrections
    assert attitude.compass is None
    assert attitude.deviation is not None


def test_a_bearing_taken_before_the_compass_calibration_in_use_fails() -> None:
    late = choose(made(2, "compass"), made(1, "bearing"))
    assert all(g.passed for g in late.checks)
    early = choose(made(1, "compass"), made(2, "bearing"))
    assert "before the compass calibration" in early.checks[1].why


def test_the_closing_targets_bearing_comes_from_the_landmark_or_the_level() -> None:
    level = replace(made(1, "level"), figures={"target_azimuth_deg": 63.1})
    assert choose(level, needed=()).closing_target_deg == pytest.approx(63.1)
    near = replace(level, figures={"target_azimuth_deg": 63.1, "target_is_near": True})
    assert choose(near, needed=()).closing_target_deg is None
    landmark = replace(made(1, "bearing"), figures={"target_deg": 62.9})
    assert choose(level, landmark, needed=()).closing_target_deg == pytest.approx(62.9)


def test_every_plus_or_minus_of_a_check_is_a_95_percent_interval_and_says_so() -> None:
    told = 0
    for stored in map(read_calibration, calibration_files(read_job(shipped_survey()))):
        for check in stored.checks:
            if "±" in check.why or "good to" in check.why:
                assert "(95 %)" in check.why
                told += 1
        if stored.kind == "bearing":
            good_to = f"good to {1.96 * stored.figures['standard_error_deg']:.2f}° (95 %)"
            assert any(good_to in check.why for check in stored.checks)
    assert told >= 3


def test_a_level_fitted_now_tells_its_errors_as_the_shipped_one_does() -> None:
    correction = LevelCorrection(0.5, -0.3, index_error_deg=0.1, collimation_error_deg=0.05)
    check = _check(correction)
    assert check.why == "index +0.50° ± 0.20°, collimation -0.30° ± 0.10° (95 %)"
    assert check.value == 0.1
