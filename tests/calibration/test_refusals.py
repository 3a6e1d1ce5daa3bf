"""What no calibration is made of: the last value that is taken, the first that is refused."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable
from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from calibrated_boards import MODEL, corrections_of, stream_of

from logger.calibration import bearing, compass, plane
from logger.errors import InputError, UsageError
from logger.geometry import attitude_matrix
from logger.job import read_job
from logger.orientation import (
    CompassCorrection,
    Corrections,
    Declination,
    declination_at,
    orient,
)
from logger.recording import load_stream
from logger.recording.samples import KeyPress, Note, Samples, Stream
from logger.simulation import DEFAULT_SITE, Sensor, simulate_bearing, simulate_tumble
from logger.survey.calibrations import Wanted, _clock_moved_s, calibrate
from logger.survey.demo import shipped_survey

NORTH = Declination(0.0, 0.3, "chart")


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
    angles = 30.0 + np.array([-1.0, 1.0]) * apart_deg / 2
    plane._normal(-attitude_matrix(0.0, 0.0, angles)[:, :, 2])


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
    # With a compass whose ripple lifts the error above the half degree that is always claimed.
    here = corrections_of(BOARD)
    here = replace(here, compass=replace(here.compass, heading_ripple_deg=5.0))  # type: ignore[type-var]
    exact, doubtful = (
        bearing.fit_bearing_to_sun(shadow.samples, shadow.keys, here, DEFAULT_SITE, MORNING, doubt)
        for doubt in (0.0, 15.0)
    )
    cosine = np.cos(np.radians(exact.figures["sun_elevation_deg"])).min()
    more = doubtful.correction.standard_error_deg**2 - exact.correction.standard_error_deg**2
    assert more == pytest.approx((15.0 / 3600 * 15.0 / cosine) ** 2, rel=1e-3)


@pytest.mark.parametrize(("moved_s", "told"), [((9.0, -9.0), "18"), ((-3600.0,), "3600")])
def test_a_clock_set_while_the_sun_was_sighted_is_told_by_the_command(
    moved_s: tuple[float, ...], told: str
) -> None:
    """On the shipped bearing, as if the computer's clock had been set while it was recorded."""
    job = read_job(shipped_survey())
    recording, stream = load_stream(next((job.folder / "calibrations").glob("*-bearing.sweep")))
    notes = tuple(Note(5.0, more={"host_clock_moved_s": s}) for s in moved_s)
    with pytest.raises(InputError, match=f"the clock is in doubt by {told} s"):
        calibrate(job, recording, replace(stream, notes=notes), Wanted("bearing"))


def test_only_a_press_of_the_mark_key_chooses_a_hold() -> None:
    holds = [bearing.Hold(0, 10, 1.0, 4.0), bearing.Hold(20, 30, 6.0, 9.0)]
    for key, t_s, chosen in ((2, 3.0, [0]), (2, 5.4, [0]), (2, 5.6, []), (1, 3.0, [0, 1]),
                             (2, 0.9, []), (2, 7.0, [1])):  # fmt: skip
        found = bearing.chosen_holds(holds, [KeyPress(t_s, key, True)])
        assert found == [holds[i] for i in chosen]
