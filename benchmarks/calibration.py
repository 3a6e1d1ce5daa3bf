"""How good calibration and fused attitude are: virtual boards of known truth, and real ones.

    python benchmarks/calibration.py            20 seeds of each (about a minute and a half)
    python benchmarks/calibration.py --seeds 5

The real recordings are read from the folder that HORIZON_CHECKS names, and left out without it.
Times are ratios to a straightforward reference in the same run.
"""

from __future__ import annotations

import argparse
import datetime as dt
import os
import time
from dataclasses import replace
from pathlib import Path

import numpy as np
from accuracy import received as stream_of
from scipy.ndimage import uniform_filter1d
from scipy.spatial.transform import Rotation

from logger.calibration import fit_bearing_to_sun, fit_compass, fit_level
from logger.calibration.compass_fit import fit_ellipsoid
from logger.errors import InputError
from logger.geomagnetism import geomagnetic_field
from logger.geometry import (
    angle_between,
    angles_of,
    attitude_from_vectors,
    attitude_matrix,
    mean_azimuth,
)
from logger.orientation import (
    Corrections,
    declination_at,
    field_expected_at,
    orient,
)
from logger.orientation.attitude import attitude_row_by_row
from logger.orientation.fusion import attitude_over_recording
from logger.simulation import (
    DEFAULT_SITE,
    DEFAULT_START,
    Operator,
    Sensor,
    scene_named,
    simulate_bearing,
    simulate_level,
    simulate_sweep,
    simulate_tumble,
)
from logger.site import Site

MODEL = field_expected_at(DEFAULT_SITE, DEFAULT_START.date())
DECLINATION = declination_at(DEFAULT_SITE, DEFAULT_START.date())


def rms(values):
    return float(np.sqrt(np.mean(np.square(values))))


def heading_error(sensor, correction):
    """RMS over all headings at pitch 0, 15 and 40 degrees of the same board without noise."""
    field = geomagnetic_field(DEFAULT_SITE, DEFAULT_START.date())
    heading, pitch = (a.ravel() for a in np.meshgrid(np.arange(0, 360, 5.0), [0.0, 15.0, 40.0]))
    body, board = attitude_matrix(heading, 0.0, pitch), sensor.board()
    raw_field = (np.array([field.horizontal_ut, 0, field.down_ut]) @ body) @ board.soft_iron.T
    raw_force = (np.array([0, 0, -1.0]) @ body) * board.force_scale + board.force_offset_g
    found, _, _ = angles_of(
        attitude_from_vectors(
            correction.corrected_field(raw_field + board.hard_iron_ut),
            correction.corrected_force(raw_force),
        )
    )
    return rms(angle_between(found, heading))


def compass(seeds):
    print("Compass: soft iron 8 %, hard iron 25 uT, 0.4 uT, 4 mg + 4 mg offset, 8 mg hand, 40 s")
    for streams, name in (("MG", "with gyro"), ("M", "without")):
        found, stated, kept = [], [], []
        for seed in range(seeds):
            sensor = Sensor(individual=seed)
            tumble = simulate_tumble(sensor=sensor, seed=seed, streams=streams)
            calibration = fit_compass(stream_of(tumble).samples, MODEL)
            kept.append(calibration.correction)
            found.append(heading_error(sensor, calibration.correction))
            stated.append(calibration.figures["heading_error_95_deg"])
        covered = int(np.sum(np.greater_equal(stated, found)))
        print(
            f"  {name:10s} heading RMS median {np.median(found):.2f}, worst {max(found):.2f} deg; "
            f"stated 95 % covers {covered} of {seeds}, median {np.median(stated):.2f} deg = "
            f"{np.median(stated) / np.median(found):.1f} times the median error, "
            f"largest ratio of one seed {np.max(np.divide(stated, found)):.1f}"
        )
        # What one value for all, chosen with the truth at hand, would need to be.
        hindsight = np.sort(found)[int(np.ceil(0.85 * seeds)) - 1]
        print(
            f"  {'':10s} the least single value that covers 85 % of these seeds is "
            f"{hindsight / min(found):.1f} times the luckiest seed's error"
        )


def level(seeds):
    print("Level: index 0.6, collimation 0.8 deg injected, one pair of faces of 4 s")
    for streams, name, shake in (
        ("MG", "with gyro", 0.0),
        ("M", "without", 0.0),
        ("MG", "with gyro, hand shaking by 1 deg in roll", 1.0),
        ("M", "without, hand shaking by 1 deg in roll", 1.0),
    ):
        off, refused = [], 0
        for seed in range(seeds):
            sensor = Sensor(individual=seed)
            tumble = simulate_tumble(sensor=sensor, seed=seed, streams=streams)
            corrections = Corrections(
                DECLINATION, fit_compass(stream_of(tumble).samples).correction
            )
            held = replace(sensor, index_error_deg=0.6, collimation_error_deg=0.8)
            operator = Operator(roll_tremor_deg=shake)
            faces = simulate_level(operator=operator, sensor=held, seed=seed, streams=streams)
            try:
                got = fit_level(stream_of(faces).samples, corrections).correction
            except InputError:
                refused += 1
                continue
            off.append((got.index_deg - 0.6, got.collimation_deg - 0.8))
        worst, spread = np.abs(off).max(axis=0), np.sqrt(np.mean(np.square(off), axis=0))
        print(
            f"  {name:10s} index RMS {spread[0]:.2f}, worst {worst[0]:.2f}; "
            f"collimation RMS {spread[1]:.2f}, worst {worst[1]:.2f} deg; {refused} refused"
        )


def bearing(seeds):
    print("Sun bearing: residual against truth, sun below 40 deg, turned once round between sights")
    places = {
        "Europe": (DEFAULT_SITE, dt.datetime(2026, 5, 14, 6, 0, tzinfo=dt.UTC)),
        "Australia": (Site(-33.9, 151.2, 30), dt.datetime(2026, 7, 2, 23, 30, tzinfo=dt.UTC)),
        "South America": (Site(-23.5, -46.6, 700), dt.datetime(2026, 6, 20, 12, 0, tzinfo=dt.UTC)),
        "North America": (Site(40, -105, 1600), dt.datetime(2026, 11, 5, 22, 0, tzinfo=dt.UTC)),
    }
    for name, (site, when) in places.items():
        field = field_expected_at(site, when.date())
        declination = declination_at(site, when.date())
        plain, iron = [], []
        for seed in range(max(2, seeds // 2)):
            sensor = Sensor(individual=seed)
            tumble = simulate_tumble(
                sensor=sensor, seed=seed, streams="MG", site=site, started=when
            )
            fitted = fit_compass(stream_of(tumble).samples, field).correction
            unspoilt = replace(
                fitted, matrix=((1, 0, 0), (0, 1, 0), (0, 0, 1)), hard_iron_ut=(0, 0, 0),
                force_offset_g=(0, 0, 0), force_scale=(1, 1, 1), rate_matrix=None,
                rate_bias_deg_s=None, field_ut=field.field_ut, dip_deg=field.dip_deg,
            )  # fmt: skip
            for board, correction, into in (
                (sensor.without_iron(), unspoilt, plain),
                (sensor, fitted, iron),
            ):
                shadow = stream_of(
                    simulate_bearing(
                        sensor=board, seed=seed, streams="MG", site=site, started=when,
                        declination_error_deg=8.0,
                    )
                )  # fmt: skip
                got = fit_bearing_to_sun(
                    shadow.samples, shadow.keys, Corrections(declination, correction), site, when
                )
                into.append(got.correction.residual_deg - 8.0)
        print(
            f"  {name:14s} no iron: worst {np.abs(plain).max():.2f} deg; calibrated iron: RMS "
            f"{rms(iron):.2f}, worst {np.abs(iron).max():.2f} deg"
        )


def sweeps(seeds):
    print("Sweeps of a calibrated board: direction of each sample against truth")
    for operator, name in ((Operator.calm(), "calm"), (Operator.brisk(), "brisk, 50 mg")):
        for streams in ("MG", "M"):
            rows = []
            for seed in range(max(2, seeds // 5)):
                sensor = Sensor(individual=seed, rate_scale_share=0.01)
                tumble = simulate_tumble(sensor=sensor, seed=seed, streams=streams)
                fitted = fit_compass(stream_of(tumble).samples, MODEL).correction
                sweep = simulate_sweep(
                    scene_named("street", seed), operator, sensor, seed=seed, streams=streams
                )
                sight = orient(stream_of(sweep).samples, Corrections(DECLINATION, fitted)).sight
                rows.append(
                    (
                        rms(sight.elevation_deg - sweep.elevation_deg),
                        rms(angle_between(sight.azimuth_deg, sweep.azimuth_deg)),
                        rms(sight.standard_error_deg),
                    )
                )
            e, a, s = np.sqrt(np.mean(np.square(rows), axis=0))
            gyro = "gyro" if streams == "MG" else "no gyro"
            print(
                f"  {name:13s} {gyro:8s} elevation RMS {e:.2f}, azimuth RMS {a:.2f}, "
                f"stated {s:.2f} deg"
            )


def real(folder):
    print("Real boards")
    path = folder / "imu" / "qmc5883l_raw_counts_50hz.csv"
    if path.exists():
        field = np.genfromtxt(path, delimiter=",", skip_header=3) / 12000 * 100
        root, centre = fit_ellipsoid(field)
        strength = np.linalg.norm((field - centre) @ root.T, axis=1)
        strength /= strength.mean()
        print(
            f"  QMC5883L strength constant to {100 * rms(strength - 1):.1f} % a sample, "
            f"{100 * rms(uniform_filter1d(strength, 25) - 1):.1f} % over half a second"
        )
    path = folder / "imu" / "broad_02_undisturbed_slow_rotation_B_47Hz.csv"
    if path.exists():
        broad(np.genfromtxt(path, delimiter=",", names=True))


def broad(table):
    turn = np.array([1.0, -1.0, -1.0])

    def columns(*names):
        return np.stack([table[name] for name in names], axis=1)

    quaternion = columns("qx", "qy", "qz", "qw")
    known = np.isfinite(quaternion).all(axis=1)
    to_level = np.array([[0, 1, 0], [1, 0, 0], [0, 0, -1.0]])
    truth = np.full((len(table), 3, 3), np.nan)
    truth[known] = to_level @ Rotation.from_quat(quaternion[known]).as_matrix() * turn
    moving = (table["moving"] == 1) & known
    t = table["t"]
    force, rate = columns("ax", "ay", "az") / 9.80665 * turn, columns("gx", "gy", "gz") * turn
    field = columns("mx", "my", "mz") * turn

    def error(matrix):
        off = matrix[moving] @ truth[moving].transpose(0, 2, 1)
        heading = np.degrees(np.arctan2(off[:, 1, 0] - off[:, 0, 1], off[:, 0, 0] + off[:, 1, 1]))
        tilt = np.degrees(np.arccos(np.clip(off[:, 2, 2], -1, 1)))
        return rms(angle_between(heading, mean_azimuth(heading))), rms(tilt)

    trusted = np.ones(len(t), dtype=bool)
    began = time.perf_counter()
    plain = attitude_row_by_row(t, field, force)
    plain_s = time.perf_counter() - began
    began = time.perf_counter()
    fused = attitude_over_recording(t, np.degrees(rate), force, field, trusted)
    fused_s = time.perf_counter() - began
    print(f"  BROAD 02 while moving, {len(t)} rows, {t[-1]:.0f} s:")
    magnet = attitude_over_recording(
        t, np.degrees(rate), force, field + np.array([0.0, -40.0, 0.0]), trusted
    )
    for name, matrix in (
        ("row by row", plain.matrix),
        ("fused", fused.matrix),
        ("fused, 40 uT of a magnet added", magnet.matrix),
    ):
        heading, tilt = error(matrix)
        print(f"    {name:30s} heading RMS {heading:.2f}, tilt RMS {tilt:.2f} deg")
    try:
        from vqf import offlineVQF
    except ImportError:
        pass
    else:
        found = offlineVQF(
            np.ascontiguousarray(rate * turn),
            np.ascontiguousarray(force * turn * 9.80665),
            np.ascontiguousarray(field * turn),
            float(np.median(np.diff(t))),
        )
        other = Rotation.from_quat(found["quat9D"][:, [1, 2, 3, 0]]).as_matrix() * turn
        heading, tilt = error(to_level @ other)
        print(f"    {'vqf, offline':30s} heading RMS {heading:.2f}, tilt RMS {tilt:.2f} deg")
    print(f"    fused takes {fused_s / plain_s:.0f} times as long as row by row, {fused_s:.2f} s")


def main():
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--seeds", type=int, default=20)
    seeds = parser.parse_args().seeds
    compass(seeds)
    level(seeds)
    bearing(seeds)
    sweeps(seeds)
    folder = os.environ.get("HORIZON_CHECKS")
    if folder:
        real(Path(folder))
    else:
        print("HORIZON_CHECKS is not set: real boards left out")


if __name__ == "__main__":
    main()
