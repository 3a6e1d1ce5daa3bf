"""Attitude fused over a whole recording: against the virtual board's truth and an optical one."""

from __future__ import annotations

import os
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from firmware_protocol import Decoder, RawField, RawRate, encode
from logger.geomagnetism import geomagnetic_field
from logger.geometry import angle_between, mean_azimuth
from logger.orientation import (
    CompassCorrection,
    Corrections,
    Declination,
    SensorPrior,
    orient,
)
from logger.orientation.fusion import attitude_over_recording
from logger.recording import RecordingWriter
from logger.recording.samples import Samples
from logger.settings import Settings
from logger.simulation import (
    DEFAULT_SITE,
    DEFAULT_START,
    Operator,
    Sensor,
    scene_named,
    simulate_sweep,
)

from .made_up import samples_of

NO_DECLINATION = Declination(0.0, 0.0, "none")
HERE = geomagnetic_field(DEFAULT_SITE, DEFAULT_START.date())
FREE_OF_IRON = CompassCorrection(field_ut=HERE.field_ut, dip_deg=HERE.inclination_deg)


def rms(values: Any) -> float:
    return float(np.sqrt(np.mean(np.square(values))))


@pytest.fixture(scope="module")
def brisk() -> tuple[Any, Samples]:
    sensor = replace(Sensor().without_iron(), rate_scale_share=0.01)
    sweep = simulate_sweep(scene_named("street", 3), Operator.brisk(), sensor, seed=5, streams="MG")
    return sweep, samples_of(sweep)


def errors(simulated: Any, sight: Any) -> tuple[Any, Any]:
    turned = angle_between(sight.azimuth_deg, simulated.azimuth_deg)
    return angle_between(
        turned, mean_azimuth(turned)
    ), sight.elevation_deg - simulated.elevation_deg


@pytest.mark.parametrize("use_gyro", [True, False])
def test_the_gyro_takes_hand_motion_out_and_the_stated_error_is_honest(
    brisk: tuple[Any, Samples], use_gyro: bool
) -> None:
    simulated, samples = brisk
    sight = orient(samples, Corrections(NO_DECLINATION), Settings(use_gyro=use_gyro)).sight
    turned, lifted = map(rms, errors(simulated, sight))
    if use_gyro:
        assert lifted < 0.25
        assert turned < 0.3
    else:
        assert lifted > 2.0
    found, stated = np.hypot(turned, lifted) / np.sqrt(2), rms(sight.standard_error_deg)
    assert found / 1.5 < stated < 3 * found


def test_a_gyros_bias_and_scale_are_found_and_bend_no_first_second(
    brisk: tuple[Any, Samples],
) -> None:
    """The scale about the axis that the sweep turns about."""
    simulated, samples = brisk
    rate = samples.rate_deg_s / 1.02 + np.array([2.0, -1.5, 3.0])
    before = orient(samples, Corrections(NO_DECLINATION)).attitude
    after = orient(replace(samples, rate_deg_s=rate), Corrections(NO_DECLINATION))
    assert before.rate_bias_deg_s is not None
    assert before.rate_matrix is not None
    assert after.attitude.rate_bias_deg_s is not None
    assert after.attitude.rate_matrix is not None
    scale = after.attitude.rate_matrix[2][2] / before.rate_matrix[2][2]
    assert scale == pytest.approx(1.02, abs=0.004)
    # A bias is taken off after the scale.
    moved = np.subtract(after.attitude.rate_bias_deg_s, before.rate_bias_deg_s)
    assert moved == pytest.approx([2.0, -1.5, 3.0 * 1.02], abs=0.1)
    _, lifted = errors(simulated, after.sight)
    assert rms(lifted[samples.t_s < samples.t_s[0] + 3]) < 0.4


def leaning_along_the_meridian_deg(sweep: Any, sight: Any) -> float:
    """How far the whole sweep's level leans towards magnetic north."""
    from_north = np.radians(sweep.azimuth_deg - HERE.declination_deg)
    parts = np.column_stack([np.ones(len(from_north)), np.cos(from_north), np.sin(from_north)])
    lifted = sight.elevation_deg - sweep.elevation_deg
    return float(np.linalg.lstsq(parts, lifted, rcond=None)[0][1])


def test_the_dip_steadies_the_level_along_the_meridian_while_the_hand_shakes_the_board() -> None:
    with_dip, without = [], []
    for seed in range(6):
        sweep = simulate_sweep(
            scene_named("ridge", 1), Operator.brisk(), Sensor().without_iron(), seed=seed,
            streams="MG",
        )  # fmt: skip
        samples = samples_of(sweep)
        got = orient(samples, Corrections(NO_DECLINATION, compass=FREE_OF_IRON))
        assert got.attitude.dip_error_deg is not None
        with_dip.append(leaning_along_the_meridian_deg(sweep, got.sight))
        unsure = SensorPrior(bias_error_deg_s=0.3, dip_error_deg=80.0)
        got = orient(samples, Corrections(NO_DECLINATION, compass=FREE_OF_IRON), prior=unsure)
        without.append(leaning_along_the_meridian_deg(sweep, got.sight))
    assert rms(without) > 0.1
    assert rms(with_dip) < 0.6 * rms(without)


@pytest.mark.parametrize("towards", ["steeper", "stronger"])
def test_iron_nearby_does_not_tilt_the_level(brisk: tuple[Any, Samples], towards: str) -> None:
    simulated, samples = brisk
    plain = orient(samples, Corrections(NO_DECLINATION, compass=FREE_OF_IRON))
    down, north = plain.attitude.matrix[:, 2, :], plain.attitude.matrix[:, 0, :]
    dip = np.radians(HERE.inclination_deg)
    across = np.cos(dip) * down - np.sin(dip) * north
    along = np.sin(dip) * down + np.cos(dip) * north
    iron = 0.5 * across + (2.0 * along if towards == "stronger" else 1.5 * across)
    disturbed = replace(samples, field_ut=samples.field_ut + iron)
    got = orient(disturbed, Corrections(NO_DECLINATION, compass=FREE_OF_IRON))
    before = leaning_along_the_meridian_deg(simulated, plain.sight)
    after = leaning_along_the_meridian_deg(simulated, got.sight)
    # The iron turns the dip by 0.6 degrees or more.
    assert abs(after - before) < 0.15


def test_rows_without_field_are_carried_by_the_gyro(brisk: tuple[Any, Samples]) -> None:
    simulated, samples = brisk
    field = samples.field_ut.copy()
    field[400:500] = np.nan
    got = orient(replace(samples, field_ut=field), Corrections(NO_DECLINATION)).sight
    assert got.used.all()
    turned, lifted = errors(simulated, got)
    assert np.abs(turned[400:500]).max() < 1.5
    assert np.abs(lifted[400:500]).max() < 0.8


def broad() -> dict[str, Any]:
    """Real 9-axis board with optical reference, raw values turned into the wire's body axes.

    Eleven seconds of it, or all where HORIZON_CHECKS names the folder that has it.
    """
    path = Path(__file__).with_name("broad_trial_02_extract.csv")
    whole = Path(os.environ.get("HORIZON_CHECKS", "nowhere")) / "imu"
    whole = whole / "broad_02_undisturbed_slow_rotation_B_47Hz.csv"
    lines = (whole if whole.exists() else path).read_text("utf-8").splitlines()
    table = np.genfromtxt([x for x in lines if x[0] != "#"], delimiter=",", names=True)
    turn = np.array([1.0, -1.0, -1.0])  # theirs: x forward, y left, z up
    column = lambda *names: np.stack([table[n] for n in names], axis=1)  # noqa: E731
    quaternion = column("qx", "qy", "qz", "qw")
    known = np.isfinite(quaternion).all(axis=1)
    to_level = np.array([[0, 1, 0], [1, 0, 0], [0, 0, -1.0]])  # east-north-up to north-east-down
    truth = np.full((len(table), 3, 3), np.nan)
    truth[known] = to_level @ Rotation.from_quat(quaternion[known]).as_matrix() * turn
    return {
        "t_s": table["t"],
        "force_g": column("ax", "ay", "az") / 9.80665 * turn,
        "rate_deg_s": np.degrees(column("gx", "gy", "gz")) * turn,
        "field_ut": column("mx", "my", "mz") * turn,
        "truth": truth,
        "moving": (table["moving"] == 1) & known,
    }


def heading_and_tilt_error(matrix: Any, truth: Any) -> tuple[float, float]:
    off = matrix @ truth.transpose(0, 2, 1)
    heading = np.degrees(np.arctan2(off[:, 1, 0] - off[:, 0, 1], off[:, 0, 0] + off[:, 1, 1]))
    tilt = np.degrees(np.arccos(np.clip(off[:, 2, 2], -1, 1)))
    return rms(angle_between(heading, mean_azimuth(heading))), rms(tilt)


@pytest.mark.parametrize("magnet_ut", [(20.0, 0.0, 0.0), (0.0, -40.0, 0.0), (10.0, 10.0, -80.0)])
def test_a_magnet_on_the_board_without_calibration(magnet_ut: tuple[float, float, float]) -> None:
    """What a magnet fixed to the board adds, put into the real board's magnetic field."""
    real = broad()
    trusted = np.ones(len(real["t_s"]), dtype=bool)
    columns = [real[name] for name in ("t_s", "rate_deg_s", "force_g", "field_ut")]
    found = attitude_over_recording(*columns[:3], columns[3] + np.array(magnet_ut), trusted)
    moving = real["moving"]
    heading, tilt = heading_and_tilt_error(found.matrix[moving], real["truth"][moving])
    assert heading < 2.0
    assert tilt < 0.6


def test_the_same_board_as_a_recording_of_sentences_replayed(
    run: Callable[..., Any], tmp_path: Path
) -> None:
    real = broad()
    path, rows = tmp_path / "broad.sweep", tmp_path / "rows.csv"
    header = {"started": "2020-01-01T12:00:00.000Z", "latitude": 52.5, "longitude": 13.4}
    decoder = Decoder()
    with RecordingWriter(path, header) as writer:
        for i, t in enumerate(real["t_s"]):
            t_ms, seq = round(1000 * t), i % 65536
            m = [round(100 * v) for v in real["field_ut"][i]]
            f = [round(10_000 * v) for v in real["force_g"][i]]
            g = [round(100 * v) for v in real["rate_deg_s"][i]]
            text = encode(RawField(seq, t_ms, *m, *f)) + encode(RawRate(seq, t_ms, *g, 200))
            writer.add(float(t), decoder.feed(text))
    done = run("replay", path, "--declination", 0, "--samples", rows)
    assert done.code == 4, done.err  # no calibration came with it
    table = np.genfromtxt(rows, delimiter=",", names=True, dtype=None, encoding="utf-8")
    assert len(table) == len(real["t_s"])
    moving = real["moving"]
    forward = real["truth"][moving][:, :, 0]
    level = np.hypot(forward[:, 0], forward[:, 1])
    near_level = level > 0.5
    azimuth = np.degrees(np.arctan2(forward[:, 1], forward[:, 0]))[near_level]
    elevation = np.degrees(np.arctan2(-forward[:, 2], level))[near_level]
    turned = angle_between(table["azimuth_deg"][moving][near_level], azimuth)
    assert rms(angle_between(turned, mean_azimuth(turned))) < 0.6
    assert rms(table["elevation_deg"][moving][near_level] - elevation) < 0.6
