"""Every limit of orientation and calibration, typed by hand: what passes last, what fails first."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable
from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from calibrated_boards import MODEL, corrections_of, stream_of

from logger.calibration import bearing, closing_target, compass, level, plane, swing
from logger.checks import Check
from logger.errors import InputError, UsageError
from logger.geometry import attitude_matrix
from logger.orientation import (
    BearingCorrection,
    CompassCorrection,
    Corrections,
    Declination,
    DeviationCurve,
    LevelCorrection,
    declination_at,
    model_years_check,
    orient,
)
from logger.orientation.field_check import model_check
from logger.recording.samples import KeyPress, Note, Samples, Stream
from logger.simulation import DEFAULT_SITE, Sensor, simulate_bearing, simulate_tumble
from logger.survey.calibrations import _clock_moved_s

NORTH = Declination(0.0, 0.3, "chart")
COMPASS = CompassCorrection(heading_error_deg=0.4)
GOOD = {"heading_error_95_deg": 0.3, "side_gap_deg": 30.0, "field_gap_deg": 30.0,
        "residual_smoothed_share": 0.002}  # fmt: skip


def tumbled(**figures: float) -> dict[str, Check]:
    return {c.check: c for c in compass._checks(GOOD | figures, COMPASS, None)}


def beside(strength: float = 1.0, dip: float = 0.0) -> Check:
    return model_check("x", MODEL.field_ut * strength, MODEL.dip_deg + dip, MODEL)


def sights(*offsets: float) -> Check:
    given = np.array(offsets)
    return bearing._corrected(given, 0.1, 0.0, Corrections(NORTH), "a target")[1][0]


def apart(residual: float, **corrections: Any) -> Check:
    found = BearingCorrection(residual, 0.5, residual, "a target")
    return bearing._residual_check(found, Corrections(NORTH, **corrections))


def steel(share: float) -> Check:
    """A sweep of which a share stands beside steel that adds half to the magnetic field."""
    n = 10_000
    field = np.tile([20.0, 0.0, 43.0], (n, 1))
    field[: round(share * n)] *= 1.5
    columns = Samples.blank(n) | {"t_s": np.arange(n) * 1.0, "field_ut": field}
    samples = Samples(**columns | {"force_g": np.tile([0.0, 0.0, -1.0], (n, 1))})
    here = CompassCorrection(field_ut=float(np.hypot(20, 43)), dip_deg=65.06)
    return orient(samples, Corrections(NORTH, here)).checks[0]


def asking(rows: int) -> Check:
    """A board of its own attitude that asks for calibration in some of eight rows."""
    own = {"heading_deg": np.full(8, 10.0), "pitch_deg": np.zeros(8), "tilt_deg": np.zeros(8)}
    status = np.where(np.arange(8) < rows, 9, 1)
    columns = Samples.blank(8) | own | {"t_s": np.arange(8) * 0.1, "status": status}
    checks = orient(Samples(**columns), Corrections(NORTH)).checks
    return checks[0] if checks else Check("board calibrated", True, 0, 0, "", "")


def swung(gap: float = 45.0, worst: float = 0.5, n: int = 8) -> Check:
    headings = np.linspace(0.0, 360.0 - gap, n)
    return swing._check(headings, worst)


LIMITS: list[tuple[str, Callable[[float], Check], float, float]] = [
    ("compass heading error", lambda v: tumbled(heading_error_95_deg=v)["compass heading error"],
     1.5, 1.501),
    ("tumble coverage, sides", lambda v: tumbled(side_gap_deg=v)["tumble coverage"], 60.0, 60.1),
    ("tumble coverage, field", lambda v: tumbled(field_gap_deg=v)["tumble coverage"], 60.0, 60.1),
    ("steady magnetic field while tumbling",
     lambda v: tumbled(residual_smoothed_share=v)["steady magnetic field while tumbling"],
     0.04, 0.0401),
    ("field against the model, too strong", lambda v: beside(strength=v), 1.199, 1.201),
    ("field against the model, too weak", lambda v: beside(strength=v), 0.801, 0.799),
    ("field against the model, too steep", lambda v: beside(dip=v), 5.99, 6.01),
    ("field against the model, too flat", lambda v: beside(dip=v), -5.99, -6.01),
    ("magnetic disturbance, share of a sweep", steel, 0.10, 0.1002),
    ("board calibrated", lambda v: asking(int(v)), 0, 1),
    ("level calibration, index",
     lambda v: level._check(LevelCorrection(index_error_deg=v)), 0.3, 0.301),
    ("level calibration, collimation",
     lambda v: level._check(LevelCorrection(collimation_error_deg=v)), 0.3, 0.301),
    ("bearing calibration, spread", lambda v: sights(-v, 0.0, v), 1.0, 1.001),
    ("bearing calibration, sights", lambda v: sights(*[0.1] * int(v)), 3, 2),
    # 3 degrees and twice sqrt(0.5^2 + 0.3^2 + 0.4^2)
    ("bearing agrees with compass", lambda v: apart(v, compass=COMPASS), 4.414, 4.415),
    ("bearing agrees with compass, west", lambda v: apart(v, compass=COMPASS), -4.414, -4.415),
    # 3 degrees and twice sqrt(0.5^2 + 0.3^2 + 1.2^2)
    ("bearing agrees with a deviation curve",
     lambda v: apart(v, deviation=DeviationCurve(standard_error_deg=1.2)), 5.668, 5.669),
    ("bearing agrees with compass, uncalibrated", apart, 10.0, 10.01),
    ("closing target drift", closing_target._drift_check, 1.5, 1.501),
    ("closing target drift, back", closing_target._drift_check, -1.5, -1.501),
    ("closing target bearing", lambda v: closing_target._bearing_check(v, 63.0), 1.5, 1.501),
    ("closing target bearing, west", lambda v: closing_target._bearing_check(v, 63.0),
     -1.5, -1.501),
    ("deviation curve, residual", lambda v: swung(worst=v), 2.0, 2.001),
    ("deviation curve, gap", lambda v: swung(gap=v, n=9), 60.0, 60.1),
    ("deviation curve, headings", lambda v: swung(n=int(v)), 8, 7),
    ("plane measured", lambda v: plane._check(30.0, 0.5, v), 5.0, 5.01),
    ("plane measured, nearly level", lambda v: plane._check(v, 0.5, 40.0), 2.99, 3.0),
    ("date within the magnetic model",
     lambda v: model_years_check(declination_at(DEFAULT_SITE, dt.date(2029, 12, 31)
                                                + dt.timedelta(days=int(v)))), 0, 2),
    ("date within the magnetic model, before",
     lambda v: model_years_check(declination_at(DEFAULT_SITE, dt.date(2025, 1, 1)
                                                - dt.timedelta(days=int(v)))), 0, 1),
]  # fmt: skip


@pytest.mark.parametrize(("name", "check", "passes", "fails"), LIMITS, ids=[c[0] for c in LIMITS])
def test_the_last_value_that_passes_and_the_first_that_fails(
    name: str, check: Callable[[float], Check], passes: float, fails: float
) -> None:
    assert check(passes).passed
    failed = check(fails)
    assert not failed.passed
    assert failed.why


# --- What is refused, not stored ---


def tumble_at(strength: float = 1.0, dip: float = 0.0, scatter: float = 0.0) -> None:
    n = 1000
    residual = np.zeros((n, 3))
    residual[:, 0] = scatter * 1.28 * (-1.0) ** np.arange(n)  # four in five within 1.28 sigma
    fit = compass.JointFit(np.zeros(19), np.zeros((19, 19)), residual)
    compass._refuse_a_disturbed_place(MODEL.field_ut * strength, MODEL.dip_deg + dip, fit, MODEL)


def sun_at(elevation: float) -> None:
    bearing._refuse_sun(np.array([elevation]))


def clock_off(seconds: float) -> None:
    bearing._refuse_doubtful_clock(dt.datetime(2026, 5, 14, tzinfo=dt.UTC), seconds)


def clock_in(year: float) -> None:
    bearing._refuse_doubtful_clock(dt.datetime(int(year), 12, 31, tzinfo=dt.UTC), 2.0)


def target_at(degrees: float) -> None:
    empty = Samples(**Samples.blank(0))
    try:
        bearing.fit_bearing_to_target(empty, (), Corrections(NORTH), degrees)
    except UsageError:
        raise
    except InputError:
        return  # nothing was sighted; the bearing itself was taken


def lays(apart_deg: float) -> None:
    plane._normal([attitude_matrix(0.0, 0.0, 30.0 + turn * apart_deg / 2) for turn in (-1, 1)])


REFUSED: list[tuple[str, Callable[[float], None], float, float]] = [
    ("magnetic field at the calibration, strong", lambda v: tumble_at(strength=v), 1.29, 1.31),
    ("magnetic field at the calibration, weak", lambda v: tumble_at(strength=v), 0.71, 0.69),
    ("magnetic field at the calibration, steep", lambda v: tumble_at(dip=v), 11.9, 12.1),
    ("magnetic field at the calibration, flat", lambda v: tumble_at(dip=v), -11.9, -12.1),
    ("scatter while tumbling", lambda v: tumble_at(scatter=v), 0.099, 0.101),
    ("sun too high", sun_at, 39.9, 40.1),
    ("sun below the horizon", sun_at, 0.1, -0.1),
    ("clock in doubt", clock_off, 15.0, 15.1),
    ("clock before this program", clock_in, 2025, 2024),
    ("bearing of the target, over", target_at, 360.0, 360.1),
    ("bearing of the target, under", target_at, -360.0, -360.1),
    ("lays of one surface", lays, 15.9, 16.1),
]


@pytest.mark.parametrize(("name", "ask", "taken", "refused"), REFUSED, ids=[r[0] for r in REFUSED])
def test_the_last_value_that_is_taken_and_the_first_that_is_refused(
    name: str, ask: Callable[[float], None], taken: float, refused: float
) -> None:
    ask(taken)
    with pytest.raises((InputError, UsageError)) as caught:
        ask(refused)
    assert caught.value.hint or isinstance(caught.value, UsageError)


@pytest.mark.parametrize(
    ("name", "found", "refused"),
    [
        ("widest_gap", (74.9, np.array([1.0, 0.0, 0.0])), ""),
        ("widest_gap", (75.1, np.array([1.0, 0.0, 0.0])), "one hemisphere only: the front end"),
        ("expected_error", compass.HeadingError(1.0, 4.99, 0.5, 0.1), ""),
        ("expected_error", compass.HeadingError(1.0, 5.01, 0.5, 0.1), "uncertain by 5°"),
    ],
)
def test_a_tumble_is_refused_past_75_degrees_of_gap_or_5_degrees_of_heading_error(
    monkeypatch: pytest.MonkeyPatch, name: str, found: Any, refused: str
) -> None:
    samples = stream_of(simulate_tumble(seed=3, streams="M")).samples
    monkeypatch.setattr(compass, name, lambda *_: found)
    if refused:
        with pytest.raises(InputError, match=refused):
            compass.fit_compass(samples, MODEL)
    else:
        assert not all(check.passed for check in compass.fit_compass(samples, MODEL).checks)


# --- Which samples a magnetic disturbance takes out ---


@pytest.mark.parametrize(
    ("strength", "dip", "used"),
    [(1.0, 0.0, True), (1.059, 0.0, True), (1.061, 0.0, False), (0.941, 0.0, True),
     (0.939, 0.0, False), (1.0, 2.9, True), (1.0, 3.1, False), (1.0, -2.9, True),
     (1.0, -3.1, False)],
)  # fmt: skip
def test_a_sample_is_not_used_past_6_percent_or_3_degrees_of_the_calibration(
    strength: float, dip: float, used: bool
) -> None:
    n, down = 100, np.radians(65.0 + dip)
    field = 48.0 * strength * np.array([np.cos(down), 0.0, np.sin(down)])
    columns = Samples.blank(n) | {"t_s": np.arange(n) * 0.02, "field_ut": np.tile(field, (n, 1))}
    samples = Samples(**columns | {"force_g": np.tile([0.0, 0.0, -1.0], (n, 1))})
    here = CompassCorrection(field_ut=48.0, dip_deg=65.0)
    assert orient(samples, Corrections(NORTH, here)).sight.used.all() == used


# --- A wrong clock spoils a bearing by the sun ---

MORNING = dt.datetime(2026, 5, 14, 6, 0, tzinfo=dt.UTC)
BOARD = replace(Sensor(individual=6).without_iron(), field_noise_ut=0.4)


@pytest.fixture(scope="module")
def shadow() -> Stream:
    return stream_of(simulate_bearing(sensor=BOARD, started=MORNING, seed=1, streams="MG"))


@pytest.mark.parametrize(
    ("steps_s", "doubt_s"),
    [((), 2.0), ((1.5,), 2.0), ((5.0,), 5.0), ((6.0, -8.5), 14.5), ((-16.0,), None),
     ((1800.0,), None), ((-1800.0, 1800.0), None)],
)  # fmt: skip
def test_a_clock_set_while_recording_is_in_the_stated_error_or_refuses_the_sun(
    shadow: Stream, steps_s: tuple[float, ...], doubt_s: float | None
) -> None:
    notes = tuple(Note(3.0 + i, more={"host_clock_moved_s": s}) for i, s in enumerate(steps_s))
    moved = max(bearing.CLOCK_DOUBT_S, _clock_moved_s(replace(shadow, notes=notes)))
    here = Corrections(declination_at(DEFAULT_SITE, MORNING.date()), corrections_of(BOARD).compass)

    def fit() -> Any:
        return bearing.fit_bearing_to_sun(
            shadow.samples, shadow.keys, here, DEFAULT_SITE, MORNING, moved
        )

    if doubt_s is None:
        with pytest.raises(InputError, match="the clock is in doubt"):
            fit()
    else:
        assert fit().figures["clock_doubt_s"] == doubt_s


@pytest.mark.parametrize("wrong_s", [-1800.0, -240.0, 240.0, 1800.0])
def test_a_clock_wrong_all_along_turns_north_by_as_much_as_the_sun_went(
    shadow: Stream, wrong_s: float
) -> None:
    """Nothing in the recording tells; the check against the compass does, from 20 minutes on."""
    here = replace(corrections_of(BOARD), level=None)
    claimed = MORNING + dt.timedelta(seconds=wrong_s)
    right, wrong = (
        bearing.fit_bearing_to_sun(shadow.samples, shadow.keys, here, DEFAULT_SITE, started)
        for started in (MORNING, claimed)
    )
    turned = wrong.correction.heading_deg - right.correction.heading_deg
    # In the morning at 46 north in May the sun's azimuth moves by some 11 degrees an hour.
    assert turned == pytest.approx(11.0 * wrong_s / 3600, rel=0.1)
    (agrees,) = (c for c in wrong.checks if c.check == "bearing agrees with compass")
    assert agrees.passed == (abs(wrong_s) < 1200)


def test_the_stated_error_of_a_sun_bearing_grows_with_the_doubt(shadow: Stream) -> None:
    """By how fast the sun's azimuth moves at most: 15 degrees an hour over cos(elevation)."""
    here = corrections_of(BOARD)
    errors = [
        bearing.fit_bearing_to_sun(
            shadow.samples, shadow.keys, here, DEFAULT_SITE, MORNING, doubt
        ).correction.standard_error_deg
        for doubt in (0.0, 15.0)
    ]
    assert errors[0] >= 0.5
    assert errors[1] >= errors[0]


def test_only_a_press_of_the_mark_key_chooses_a_hold() -> None:
    holds = [bearing.Stretch(0, 10, 1.0, 4.0), bearing.Stretch(20, 30, 6.0, 9.0)]
    for key, t_s, chosen in ((2, 3.0, [0]), (2, 5.4, [0]), (2, 5.6, []), (1, 3.0, [0, 1]),
                             (2, 0.9, []), (2, 7.0, [1])):  # fmt: skip
        found = bearing.chosen_holds(holds, [KeyPress(t_s, key, True)])
        assert found == [holds[i] for i in chosen]
