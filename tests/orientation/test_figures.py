"""What each figure of an orientation is made of, with numbers that can be reckoned by hand."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from logger.geometry import angle_between
from logger.orientation import (
    BearingCorrection,
    CompassCorrection,
    Corrections,
    Declination,
    DeviationCurve,
    LevelCorrection,
    SensorPrior,
    orient,
)
from logger.orientation import sight as module
from logger.orientation.attitude import attitude_row_by_row, hand_motion_g
from logger.orientation.running import rows_in, running_median
from logger.recording.samples import Samples
from logger.settings import Settings

from .made_up import board, raw

NONE = Declination(0.0, 0.0, "none")
PLAIN = Corrections(NONE)
HERE = CompassCorrection(
    field_ut=float(np.hypot(20, 43)), dip_deg=float(np.degrees(np.arctan2(43, 20)))
)
BY_ROW = Settings(use_gyro=False)


# --- Errors that all rows share ---

MAGNETIC = Declination(4.0, 0.5, "model")
BEARING = BearingCorrection(7.0, 0.6)
COMPASS = CompassCorrection(heading_error_deg=1.2, heading_ripple_deg=0.8)
CURVE = DeviationCurve(standard_error_deg=0.7)
ASIDE = LevelCorrection(collimation_error_deg=0.3)
TRUE, MIXED = np.array([True, True]), np.array([True, False])


@pytest.mark.parametrize(
    ("samples", "given", "parts", "turn_deg"),
    [
        (raw(10.0), {}, (0.5, 5.0), 4.0),
        (raw(10.0), {"compass": COMPASS}, (0.5, 1.2), 4.0),
        (raw(10.0), {"compass": COMPASS, "level": ASIDE}, (0.5, 1.2, 0.3), 4.0),
        (
            raw(10.0),
            {"compass": COMPASS, "level": ASIDE, "bearing": BEARING},
            (0.6, 0.8, 0.3),
            7.0,
        ),
        (raw(10.0), {"bearing": BEARING}, (0.6, 5.0), 7.0),
        (board(10.0), {}, (0.5, 2.0), 4.0),
        (board(10.0), {"deviation": CURVE}, (0.5, 0.7), 4.0),
        (board(10.0), {"deviation": CURVE, "level": ASIDE}, (0.5, 0.7, 0.3), 4.0),
        (
            board(10.0),
            {"deviation": CURVE, "level": ASIDE, "bearing": BEARING},
            (0.6, 0.7, 0.3),
            7.0,
        ),
        # A true heading bears no error of declination unless some row is magnetic.
        (board([10.0, 10.0], heading_is_true=TRUE), {}, (2.0,), 0.0),
        (board([10.0, 10.0], heading_is_true=MIXED), {}, (0.5, 2.0), [0.0, 4.0]),
        # A raw row needs the declination whatever its heading is said to be.
        (raw([10.0, 10.0], heading_is_true=TRUE), {}, (0.5, 5.0), 4.0),
        (Samples(**Samples.blank(0)), {}, (0.5, 2.0), 0.0),
    ],
)
def test_what_turns_the_heading_and_its_error(
    samples: Samples, given: dict[str, Any], parts: tuple[float, ...], turn_deg: Any
) -> None:
    found = orient(samples, Corrections(MAGNETIC, **given)).sight
    assert found.heading_error_deg == pytest.approx(np.linalg.norm(parts))
    assert found.azimuth_deg == pytest.approx(
        np.broadcast_to(10.0 + np.array(turn_deg), len(samples))
    )


DRIFT = float(np.degrees(0.003))
OFFSET = LevelCorrection(pitch_offset_error_deg=0.11, index_error_deg=0.2)
INDEX = LevelCorrection(index_error_deg=0.2)
LEANING = CompassCorrection(level_error_deg=0.25)


@pytest.mark.parametrize(
    ("samples", "compass", "level", "parts"),
    [
        (raw(10.0), None, None, (0.5,)),
        (board(10.0), None, None, (0.5,)),
        (board(10.0), LEANING, None, (0.5,)),
        (board(10.0), None, INDEX, (0.5, 0.2)),
        (board(10.0), None, OFFSET, (0.11, 0.2)),
        (raw(10.0), None, OFFSET, (0.11, 0.2)),
        (raw(10.0), LEANING, None, (0.25, DRIFT)),
        (raw(10.0), LEANING, INDEX, (0.25, DRIFT, 0.2)),
        (raw(10.0), LEANING, OFFSET, (0.11, 0.2)),
    ],
)
def test_the_level_error(samples: Samples, compass: Any, level: Any, parts: Any) -> None:
    found = orient(samples, Corrections(NONE, compass, level=level)).sight.level_error_deg
    assert found == pytest.approx(np.linalg.norm(parts))


def turning(n: int = 300, **more: Any) -> Samples:
    """A raw stream with angular rate: level, turning at 20 deg/s."""
    t = np.arange(n) * 0.02
    rate = np.zeros((n, 3))
    rate[:, 2] = 20.0
    return raw(20.0 * t, 0.0, np.zeros(n), **{"rate_deg_s": rate} | more)


def test_a_fused_attitude_states_its_own_level_error_only_where_something_was_calibrated() -> None:
    level = LevelCorrection(pitch_offset_error_deg=0.05, index_error_deg=0.2)
    for given, index in (
        (Corrections(NONE, compass=HERE), 0.0),
        (Corrections(NONE, level=level), 0.2),
        (Corrections(NONE, compass=HERE, level=level), 0.2),
    ):
        found = orient(turning(), given)
        steady = found.attitude.steady_level_error_deg
        assert steady is not None
        assert found.sight.level_error_deg == pytest.approx(np.linalg.norm([steady, 0.03, index]))
    assert orient(turning(), PLAIN).sight.level_error_deg == pytest.approx(0.5)


# --- Errors of one row ---


def test_a_boards_own_attitude_has_half_a_degree_of_error_and_less_across_a_steep_sight() -> None:
    found = orient(board([10.0, 10.0], 0.0, [0.0, 60.0]), PLAIN).sight
    assert found.standard_error_deg == pytest.approx([0.5, 0.5 * np.sqrt((0.25 + 1) / 2)])


def test_the_error_of_a_row_of_field_and_force_at_rest() -> None:
    """An error of the level turns the heading by tan(dip) times as much."""
    samples = raw(np.full(50, 30.0), 10.0, 20.0)
    found = attitude_row_by_row(samples.t_s, samples.field_ut, samples.force_g)
    level = np.degrees(0.004)
    assert found.level_error_deg == pytest.approx(np.full(50, level), rel=1e-6)
    heading = np.hypot(np.degrees(0.4 / 20.0), level * 43.0 / 20.0)
    assert found.heading_error_deg == pytest.approx(np.full(50, heading), rel=1e-6)
    assert found.rate_bias_deg_s is None
    assert found.steady_level_error_deg is None


def test_the_motion_of_a_hand() -> None:
    t = np.arange(200) * 0.02
    heavy = np.tile([0.0, 0.0, -1.05], (200, 1))
    assert hand_motion_g(t, heavy) == pytest.approx(np.full(200, 0.05))
    light = np.tile([0.0, 0.0, -0.93], (200, 1))
    assert hand_motion_g(t, light) == pytest.approx(np.full(200, 0.07))
    # Shaken to and fro by 0.1 g at every sample: of the square, half goes to each of two level
    # axes; a window of 25 samples has a mean of its own.
    to_and_fro = np.tile([0.0, 0.0, -1.0], (200, 1))
    to_and_fro[:, 0] = 0.1 * (-1.0) ** np.arange(200)
    assert hand_motion_g(t, to_and_fro)[50:150] == pytest.approx(
        np.full(100, 0.1 * 24 / 25 / np.sqrt(2))
    )
    # A jolt is seen a quarter of a second before and after, no further.
    jolt = np.tile([0.0, 0.0, -1.0], (200, 1))
    jolt[100, 1] = 0.5
    moved = np.flatnonzero(hand_motion_g(t, jolt) > 0.01)
    assert 100 - 26 <= moved[0] < 100 - 10
    assert 100 + 10 < moved[-1] <= 100 + 26
    assert hand_motion_g(np.zeros(0), np.zeros((0, 3))).shape == (0,)


@pytest.mark.parametrize(
    ("n", "every_s", "window_s", "rows"),
    [
        (100, 0.02, 0.5, 25),
        (100, 0.02, 0.52, 27),
        (100, 0.02, 0.48, 25),
        (100, 0.02, 0.0, 1),
        (100, 0.02, 9.0, 101),
        (2, 1.0, 1.0, 1),
        (2, 1.0, 2.0, 3),
        (1, 1.0, 9.0, 1),
        (0, 1.0, 9.0, 1),
        (50, 0.0, 1.0, 1),
    ],
)
def test_an_odd_number_of_rows_spans_a_window(
    n: int, every_s: float, window_s: float, rows: int
) -> None:
    assert rows_in(5.0 + np.arange(n) * every_s, window_s) == rows


def test_a_running_median_is_blind_to_one_odd_row() -> None:
    values = np.array([1.0, 1.0, 9.0, 1.0, 2.0, 2.0])
    assert list(running_median(values, 3)) == [1.0, 1.0, 1.0, 2.0, 2.0, 2.0]
    assert list(running_median(values, 1)) == list(values)
    assert running_median(np.zeros(0), 3).shape == (0,)


# --- Which rows are used ---


def test_the_first_reason_that_holds_counts() -> None:
    samples = board(
        [10.0, 10.0, np.nan, np.nan, 10.0, 10.0], [0.0, 0.0, 0.0, 0.0, 9.0, 9.0],
        status=np.array([1 | 2, 1 | 4, 1 | 2, 1, 0, 8]),
    )  # fmt: skip
    found = orient(samples, PLAIN).sight
    assert list(found.reason) == [
        "board says out of range", "board says out of range", "board says out of range",
        "no direction", *["heading not compensated for roll and pitch"] * 2,
    ]  # fmt: skip
    assert not found.used.any()
    assert found.azimuth_deg[0] == pytest.approx(10.0)  # known, though not used
    kept = orient(board([10.0, 10.0], 9.0, status=np.array([1, 9])), PLAIN).sight
    assert kept.used.all()


def test_an_uncompensated_heading_is_used_up_to_two_degrees_of_lean() -> None:
    none = np.zeros(4, dtype=int)
    samples = board(10.0, [1.9, 0.0, 1.5, np.nan], [0.0, -2.1, 1.5, 1.9], status=none)
    lean = "heading not compensated for roll and pitch"
    assert list(orient(samples, PLAIN).sight.reason) == ["", lean, lean, ""]
    first_of_all = board(10.0, 8.0, status=none[:1])
    assert first_of_all.seq[0] == 0
    assert list(orient(first_of_all, PLAIN).sight.reason) == [lean]
    plain_log = board(10.0, 8.0, status=none[:1], seq=np.full(1, -1))
    assert orient(plain_log, PLAIN).sight.used.all()
    # Raw field and force are compensated here.
    assert orient(raw(10.0, 9.0, 9.0, roll_deg=[9.0], pitch_deg=[9.0]), PLAIN).sight.used.all()


def test_a_shaken_row_is_left_out_only_without_a_gyro() -> None:
    n = 300
    force = np.array(turning().force_g)
    force[100:130] *= 1.2
    alone = orient(turning(force_g=force, rate_deg_s=np.full((n, 3), np.nan)), PLAIN).sight
    assert set(alone.reason[100:130]) == {"board shaken"}
    assert alone.used[:80].all()
    assert orient(turning(force_g=force), PLAIN).sight.used.all()


def test_tilt_is_told_where_it_was_measured() -> None:
    found = orient(board(10.0, [5.0, np.nan], 3.0), PLAIN).sight
    np.testing.assert_allclose(found.roll_deg, [5.0, np.nan])
    assert found.used.all()
    assert orient(raw(10.0, 7.0, 3.0), PLAIN).sight.roll_deg == pytest.approx([7.0])


# --- Board's own attitude ---


def test_a_pitch_offset_tells_more_on_a_steep_sight_up_to_ten_times() -> None:
    """The accelerometer adds a constant to sin(pitch)."""
    level = Corrections(NONE, level=LevelCorrection(pitch_offset_deg=1.0))
    found = orient(board(10.0, 0.0, [0.0, 60.0, -60.0, 89.0]), level).sight
    assert found.elevation_deg == pytest.approx([-1.0, 58.0, -62.0, 79.0])


def test_a_pitch_offset_is_taken_from_the_force_of_a_raw_stream() -> None:
    lying = np.array([[np.sin(np.radians(0.5)), 0.0, -1.0]])
    samples = raw(10.0, force_g=lying)
    assert orient(samples, PLAIN).sight.elevation_deg == pytest.approx([0.5], abs=1e-4)
    level = Corrections(NONE, level=LevelCorrection(pitch_offset_deg=0.5))
    assert orient(samples, level).sight.elevation_deg == pytest.approx([0.0], abs=1e-9)
    upwards = raw(10.0, 0.0, 20.0)
    lifted = upwards.force_g + np.array([np.sin(np.radians(0.5)), 0.0, 0.0])
    found = orient(raw(10.0, 0.0, 20.0, force_g=lifted), level).sight
    assert found.elevation_deg == pytest.approx([20.0], abs=1e-9)
    assert found.roll_deg == pytest.approx([0.0], abs=1e-9)


def test_deviation_is_not_for_a_heading_that_is_true() -> None:
    curve = Corrections(NONE, deviation=DeviationCurve(a=3.0))
    found = orient(board([10.0, 10.0], heading_is_true=np.array([False, True])), curve).sight
    assert found.azimuth_deg == pytest.approx([13.0, 10.0])


@pytest.mark.parametrize(
    ("heading", "expected"),
    [(0, 1 + 3 + 5), (90, 1 + 2 - 5), (180, 1 - 3 + 5), (270, 1 - 2 - 5),
     (45, 1 + (2 + 3) / np.sqrt(2) + 4)],
)  # fmt: skip
def test_the_five_coefficients_of_deviation(heading: float, expected: float) -> None:
    curve = DeviationCurve(a=1, b=2, c=3, d=4, e=5)
    assert curve.deviation_deg(heading) == pytest.approx(expected)


# --- With the gyro ---


@pytest.mark.parametrize(
    ("n", "every_s", "with_rate", "fused"),
    [
        (20, 0.02, 20, True),
        (19, 0.02, 19, False),
        (20, 0.01, 20, False),
        (21, 0.0101, 21, True),
        (20, 0.02, 16, False),
        (20, 0.02, 17, True),
    ],
)
def test_when_rate_is_enough_to_fuse(n: int, every_s: float, with_rate: int, fused: bool) -> None:
    rate = np.full((n, 3), np.nan)
    rate[:with_rate] = 0.0
    samples = raw(np.full(n, 10.0), every_s=every_s, rate_deg_s=rate)
    found = orient(samples, PLAIN)
    assert found.attitude.fused == fused
    said = "attitude from field, force and angular rate, fused over the whole recording"
    alone = "attitude from field and force, each row on its own"
    assert (said if fused else alone) in found.sight.steps
    assert not orient(samples, PLAIN, BY_ROW).attitude.fused
    late = raw(np.full(n, 10.0), every_s=every_s, rate_deg_s=rate, t_s=100 + samples.t_s)
    assert orient(late, PLAIN).attitude.fused == fused


def test_a_boards_own_attitude_is_fused_with_its_rate() -> None:
    n = 300
    t = np.arange(n) * 0.02
    rate = np.zeros((n, 3))
    rate[:, 2] = 20.0
    noise = np.random.default_rng(2).normal(0.0, 1.0, n)
    found = orient(board(20 * t + 10 + noise, 0.0, np.full(n, 0.0), rate_deg_s=rate), PLAIN)
    assert "board's attitude and angular rate fused over the whole recording" in found.sight.steps
    assert np.std(found.sight.azimuth_deg - 20 * t - 10) < 0.4
    assert found.sight.elevation_deg == pytest.approx(np.zeros(n), abs=0.05)
    assert found.field is None


def test_raw_values_override_the_boards_own_attitude_and_a_row_without_them_says_nothing() -> None:
    samples = raw(np.full(6, 40.0), 0.0, 3.0)
    field = np.array(samples.field_ut)
    field[[1, 4]] = np.nan
    mixed = board(np.full(6, 90.0), 0.0, 7.0, field_ut=field, force_g=samples.force_g)
    found = orient(mixed, PLAIN).sight
    assert list(np.flatnonzero(~found.used)) == [1, 4]
    assert set(found.reason[[1, 4]]) == {"no direction"}
    assert found.azimuth_deg[found.used] == pytest.approx(40.0)
    assert found.elevation_deg[found.used] == pytest.approx(3.0)


def test_a_disturbed_stretch_does_not_bend_the_heading_of_its_neighbours() -> None:
    field = np.array(turning().field_ut)
    field[140:180] = np.roll(field[140:180], 1, axis=1) * 1.6
    found = orient(turning(field_ut=field), Corrections(NONE, compass=HERE))
    assert set(found.sight.reason[150:170]) == {"magnetic disturbance"}
    assert found.field is not None
    sound = ~found.field.disturbed
    truth = 20.0 * np.arange(300) * 0.02
    turned = np.abs(angle_between(found.sight.azimuth_deg, truth))
    assert turned[sound].max() < 0.01
    assert turned.max() < 0.1


STILL = CompassCorrection(rate_bias_deg_s=(0.1, -0.2, 0.3))
TWICE = ((2.0, 0.0, 0.0), (0.0, 2.0, 0.0), (0.0, 0.0, 2.0))
UNCALIBRATED = {
    "offset_error_g": (0.005, 0.005, 0.005), "bias_deg_s": (0.0, 0.0, 0.0),
    "bias_error_deg_s": 3.0, "scale_error": 0.01, "misalignment_error": 0.005,
    "dip_error_deg": 0.25,
}  # fmt: skip


@pytest.mark.parametrize(
    ("given", "known"),
    [
        ({}, {}),
        ({"compass": HERE}, {"dip_deg": HERE.dip_deg, "strength_ut": HERE.field_ut}),
        ({"compass": STILL}, {"bias_deg_s": (0.1, -0.2, 0.3), "bias_error_deg_s": 0.4}),
        (
            {"compass": replace(STILL, rate_matrix=TWICE)},
            {
                "bias_deg_s": (0.2, -0.4, 0.6),
                "bias_error_deg_s": 0.4,
                "scale_error": 0.002,
                "misalignment_error": 0.001,
            },
        ),
        (
            {"level": LevelCorrection(pitch_offset_error_deg=0.1)},
            {"offset_error_g": (np.radians(0.1), 0.005, 0.005)},
        ),
        ({"level": LevelCorrection()}, {}),
    ],
    ids=["nothing", "field", "still", "gyro's matrix", "pitch offset", "no pitch offset"],
)
def test_what_is_known_of_the_sensors_before_the_fit(
    monkeypatch: pytest.MonkeyPatch, given: dict[str, Any], known: dict[str, Any]
) -> None:
    told: list[SensorPrior] = []
    fit = module.attitude_in_stretches
    monkeypatch.setattr(
        module, "attitude_in_stretches", lambda *given: told.append(given[-1]) or fit(*given)
    )
    prior = SensorPrior(
        bias_error_deg_s=0.4, offset_error_g=(0.005, 0.005, 0.005), dip_error_deg=0.25
    )
    orient(turning(), Corrections(NONE, **given), prior=prior)
    for name, value in (UNCALIBRATED | known).items():
        assert getattr(told[0], name) == pytest.approx(value), name
    assert ("dip_deg" in known) or given.get("compass") or told[0].dip_deg is None


def test_the_gyro_is_corrected_before_it_is_fused() -> None:
    """A gyro that reads half: corrected by its matrix, its scale is found to be right."""
    rate = np.zeros((300, 3))
    rate[:, 2] = 10.0
    compass = replace(HERE, rate_matrix=TWICE, rate_bias_deg_s=(0.0, 0.0, 0.0))
    found = orient(turning(rate_deg_s=rate), Corrections(NONE, compass=compass))
    assert found.attitude.rate_matrix is not None
    assert found.attitude.rate_matrix[2][2] == pytest.approx(1.0, abs=0.005)


# --- What a result says of how it came about ---


def test_every_correction_is_told_in_words_with_its_sign() -> None:
    iron = CompassCorrection(hard_iron_ut=(3.0, -4.0, 12.0), field_ut=HERE.field_ut)
    level = LevelCorrection(index_deg=0.6, collimation_deg=-0.25)
    found = orient(raw(10.0), Corrections(Declination(-4.0, 0.3, "chart"), iron, level=level)).sight
    assert found.steps == (
        "compass calibration, hard iron 13.0 µT",
        "attitude from field and force, each row on its own",
        "index +0.60°, collimation -0.25°",
        "declination -4.00° (chart)",
    )
    bearing = BearingCorrection(7.5, 0.5, source="sun")
    found = orient(raw(10.0), Corrections(NONE, bearing=bearing)).sight
    assert found.steps[0] == "raw field and force, no compass calibration"
    assert found.steps[-1] == "heading +7.50° by sun"
    curve = DeviationCurve(a=1.0, b=2.0)
    found = orient(board([0.0, 90.0]), Corrections(NONE, deviation=curve)).sight
    assert found.steps == (
        "attitude as the board computes it",
        "deviation curve, +1.0° to +3.0°",
        "declination +0.00° (none)",
    )


def test_declination_is_told_only_where_some_heading_needs_it() -> None:
    none_needed = "no declination for headings that are already true"
    both = np.array([True, True])
    true = orient(board([1.0, 2.0], heading_is_true=both), PLAIN).sight
    assert true.steps == ("attitude as the board computes it", none_needed)
    mixed = orient(board([1.0, 2.0], heading_is_true=np.array([True, False])), PLAIN).sight
    assert mixed.steps[1:] == ("declination +0.00° (none)", none_needed)
    empty = orient(Samples(**Samples.blank(0)), PLAIN).sight
    assert empty.steps == ("declination +0.00° (none)",)


@pytest.mark.parametrize(
    ("status", "share"), [([1, 9, 1, 9, 1, 1, 1, 1], 0.25), ([9, 1, 1], 0.3333)]
)
def test_a_board_that_asks_for_calibration_fails_a_check_unless_its_deviation_is_known(
    status: list[int], share: float
) -> None:
    asks = board(np.full(len(status), 10.0), status=np.array(status))
    (check,) = orient(asks, PLAIN).checks
    assert (check.check, check.passed, check.value, check.limit, check.unit) == (
        "board calibrated", False, share, 0, "",
    )  # fmt: skip
    percent = f"{100 * share:.0f} %"
    assert check.why == f"the board asks for calibration in {percent} of its samples: calibrate it"
    assert not orient(asks, Corrections(NONE, deviation=DeviationCurve())).checks
    assert not orient(board(np.full(8, 10.0)), PLAIN).checks
    assert not orient(raw(np.full(2, 10.0), status=np.array([8, 8])), PLAIN).checks


# --- Corrections, as they are stored ---


def test_iron_is_taken_off_before_the_matrix_turns_what_is_left() -> None:
    compass = CompassCorrection(
        matrix=((0.0, 2.0, 0.0), (1.0, 0.0, 0.0), (0.0, 0.0, 1.0)), hard_iron_ut=(1.0, 2.0, 3.0),
        force_offset_g=(0.1, 0.2, 0.3), force_scale=(2.0, 3.0, 4.0),
    )  # fmt: skip
    assert compass.corrected_field([11.0, 22.0, 33.0]) == pytest.approx([40.0, 10.0, 30.0])
    assert compass.corrected_force([1.1, 1.2, 1.3]) == pytest.approx([2.0, 3.0, 4.0])
    assert compass.corrected_rate([1.0, 2.0, 3.0]) == pytest.approx([1.0, 2.0, 3.0])
    mixed = CompassCorrection(rate_matrix=((1.0, 1.0, 0.0), (0.0, 2.0, 0.0), (0.0, 0.0, 3.0)))
    assert mixed.corrected_rate([1.0, 2.0, 3.0]) == pytest.approx([3.0, 4.0, 9.0])


def test_where_the_line_of_sight_points_in_the_board() -> None:
    up = LevelCorrection(index_deg=30.0).sight_in_body()
    assert up == pytest.approx([np.sqrt(0.75), 0.0, -0.5])
    right = LevelCorrection(collimation_deg=30.0).sight_in_body()
    assert right == pytest.approx([np.sqrt(0.75), 0.5, 0.0])
    both = LevelCorrection(index_deg=60.0, collimation_deg=30.0).sight_in_body()
    assert both == pytest.approx([np.sqrt(0.75) / 2, 0.25, -np.sqrt(0.75)])
