"""Level: face left, face right, and end for end."""

from __future__ import annotations

from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest
from calibrated_boards import DECLINATION, calibrated, corrections_of, stream_of

from logger.calibration import fit_level
from logger.calibration.level import _errors
from logger.errors import InputError
from logger.geometry import attitude_matrix
from logger.orientation import Corrections, orient
from logger.recording.samples import Samples
from logger.simulation import Sensor, scene_named, simulate_level, simulate_sweep

INDEX, COLLIMATION = 0.6, 0.8
EDGE = (150.0, 2.0)


def with_errors(sensor: Sensor, drift_g: float = 0.0) -> Sensor:
    return replace(
        sensor, index_error_deg=INDEX, collimation_error_deg=COLLIMATION, force_drift_g=drift_g
    )


@pytest.mark.parametrize(
    ("streams", "within"), [("MG", (0.1, 0.15)), ("M", (0.15, 0.35))], ids=["gyro", "no gyro"]
)
@pytest.mark.parametrize("seed", range(3))
def test_index_and_collimation_come_back_from_two_faces_of_four_seconds(
    seed: int, streams: str, within: tuple[float, float]
) -> None:
    sensor = Sensor(individual=seed)
    level = stream_of(
        simulate_level((63.0, 1.2), sensor=with_errors(sensor), seed=seed, streams=streams)
    )
    fit = fit_level(level.samples, corrections_of(sensor, streams))
    found = fit.correction
    assert found.index_deg == pytest.approx(INDEX, abs=within[0])
    assert found.collimation_deg == pytest.approx(COLLIMATION, abs=within[1])
    assert 0 < found.index_error_deg < 0.3
    assert 0 < found.collimation_error_deg < 0.5
    # The target's own direction comes out as well.
    assert fit.figures["target_azimuth_deg"] == pytest.approx(63.0, abs=0.6)
    assert fit.figures["target_elevation_deg"] == pytest.approx(1.2, abs=0.2)


@pytest.mark.parametrize("streams", ["MG", "M"])
def test_an_accelerometer_offset_since_the_tumble_comes_out_end_for_end(streams: str) -> None:
    sensor = Sensor(individual=3)
    moved = with_errors(sensor, drift_g=0.012)
    level = stream_of(simulate_level(sensor=moved, seed=3, streams=streams, edge=EDGE))
    calibration = fit_level(level.samples, corrections_of(sensor, streams))
    left = (
        moved.board().force_offset_g[0] - calibrated(sensor, streams).correction.force_offset_g[0]
    )
    assert abs(np.degrees(left)) > 0.15
    found = calibration.correction
    assert calibration.figures["reversals"] == 1
    assert found.pitch_offset_deg == pytest.approx(np.degrees(left), abs=0.12)
    assert found.index_deg == pytest.approx(INDEX, abs=0.1)


def test_the_level_correction_takes_index_offset_and_collimation_out_of_a_sweep() -> None:
    sensor = Sensor(individual=0)
    moved = with_errors(sensor, drift_g=0.012)
    level = stream_of(simulate_level(sensor=moved, seed=3, streams="M", edge=EDGE)).samples
    before = corrections_of(sensor, "M")
    after = replace(before, level=fit_level(level, before).correction)
    sweep = simulate_sweep(scene_named("ridge", 1), sensor=moved, seed=4, streams="M")
    samples = stream_of(sweep).samples

    def lifted(corrections: Corrections) -> float:
        sight = orient(samples, corrections).sight
        return float(np.mean(sight.elevation_deg - sweep.elevation_deg))

    assert abs(lifted(before)) > 0.3
    assert abs(lifted(after)) < 0.15


def test_three_pairs_are_found_and_state_less_error() -> None:
    sensor = Sensor(individual=2)
    one, three = (
        fit_level(
            stream_of(
                simulate_level(sensor=with_errors(sensor), seed=2, streams="MG", pairs=pairs)
            ).samples,
            corrections_of(sensor),
        )
        for pairs in (1, 3)
    )
    assert one.figures["pairs"] == 1
    assert three.figures["pairs"] == 5  # each change of face is one
    assert three.correction.index_deg == pytest.approx(INDEX, abs=0.1)


@pytest.mark.parametrize("shake_deg", [1.0, 2.0])
@pytest.mark.parametrize("over_s", [2.0, 12.0])
def test_a_hand_that_shakes_in_roll_holds_still_all_the_same(
    shake_deg: float, over_s: float
) -> None:
    """The sight stays on the target; the board rolls about it, quickly or slowly."""
    t = np.arange(0.0, 8.0 + over_s, 0.02)
    roll = np.interp(t, [4.0, 4.0 + over_s], [0.0, 180.0])
    roll += np.sqrt(2) * shake_deg * np.sin(2 * np.pi * 1.5 * t)
    board = attitude_matrix(COLLIMATION, 0.0, INDEX)  # its first column is the true sight
    body = attitude_matrix(63.0, roll, 1.2) @ board.T
    rng = np.random.default_rng(1)
    columns = Samples.blank(len(t)) | {
        "t_s": t,
        "field_ut": np.array([20.0, 0.0, 43.0]) @ body + rng.normal(0, 0.2, (len(t), 3)),
        "force_g": np.array([0.0, 0.0, -1.0]) @ body + rng.normal(0, 0.004, (len(t), 3)),
    }
    found = fit_level(Samples(**columns), Corrections(DECLINATION))
    assert found.figures["pairs"] == 1
    assert found.correction.index_deg == pytest.approx(INDEX, abs=0.06)
    assert found.correction.collimation_deg == pytest.approx(COLLIMATION, abs=0.12)
    assert found.correction.index_error_deg < 0.05


def test_a_sight_that_wanders_is_not_held() -> None:
    """By 2 degrees from side to side at 1.5 Hz, the roll steady."""
    t = np.arange(0.0, 10.0, 0.02)
    roll = np.interp(t, [4.0, 6.0], [0.0, 180.0])
    body = attitude_matrix(63.0 + 2.0 * np.sin(2 * np.pi * 1.5 * t), roll, 1.2)
    vectors = {"field_ut": np.array([20.0, 0.0, 43.0]) @ body, "force_g": [0, 0, -1.0] @ body}
    with pytest.raises(InputError, match="never held still"):
        fit_level(Samples(**Samples.blank(len(t)) | {"t_s": t} | vectors), Corrections(DECLINATION))


def test_without_a_rolled_hold_it_is_refused_and_says_how() -> None:
    sensor = Sensor(individual=2)
    level = stream_of(simulate_level(sensor=sensor, seed=2, streams="MG")).samples
    upright = level.rows(level.t_s < 3.9)
    with pytest.raises(InputError, match="rolled over") as caught:
        fit_level(upright, corrections_of(sensor))
    assert "roll the board over" in caught.value.hint
    with pytest.raises(InputError, match="never held still"):
        fit_level(Samples(**Samples.blank(0)), corrections_of(sensor))


def test_two_different_marks_are_refused() -> None:
    sensor = replace(Sensor(individual=2), index_error_deg=14.0)
    level = stream_of(simulate_level(sensor=sensor, seed=2, streams="M")).samples
    with pytest.raises(InputError):
        fit_level(level, corrections_of(Sensor(individual=2), "M"))


def test_a_pair_states_the_errors_of_both_its_holds() -> None:
    up, down = (SimpleNamespace(level_error_deg=level, heading_error_deg=heading)
                for level, heading in ((0.3, 0.6), (0.4, 0.8)))  # fmt: skip
    index, collimation = _errors([(up, down)], turn_error_deg=1.2)  # type: ignore[list-item]
    # Half the sum of two holds: 0.5 / 2 and 1.0 / 2, beside 0.02 and 1.2 that no pair takes away.
    assert (index, collimation) == pytest.approx((np.hypot(0.25, 0.02), np.hypot(0.5, 1.2)))
