"""The operator's motion is physically consistent with what an error-free sensor gives."""

from dataclasses import replace

import numpy as np
import pytest

from logger.geomagnetism import geomagnetic_field
from logger.geometry import angle_between, angles_of, attitude_from_vectors
from logger.simulation import (
    DEFAULT_SITE,
    DEFAULT_START,
    Operator,
    Sensor,
    Simulated,
    scene_named,
    simulate_bearing,
    simulate_level,
    simulate_plane,
    simulate_sweep,
)
from logger.simulation.motion import Script
from logger.site import Site
from logger.sun import sun_track

IDEAL = Sensor.ideal()


@pytest.fixture(scope="module")
def perfect() -> Simulated:
    return simulate_sweep(scene_named("ridge", 1), Operator.perfect(), IDEAL, seed=1)


@pytest.fixture(scope="module")
def by_hand() -> Simulated:
    operator = replace(Operator.brisk(), hand_g=0.0)
    return simulate_sweep(scene_named("street", 1), operator, IDEAL, seed=1)


def integrated(rates_deg_s: np.ndarray, step_s: float, start: np.ndarray) -> np.ndarray:
    """Attitude from angular rates by the trapezoidal rule and Rodrigues' formula."""
    attitude = [start]
    turns = np.radians((rates_deg_s[1:] + rates_deg_s[:-1]) / 2 * step_s)
    for turn in turns:
        angle = np.linalg.norm(turn)
        k = turn / max(angle, 1e-15)
        cross = np.array([[0, -k[2], k[1]], [k[2], 0, -k[0]], [-k[1], k[0], 0]])
        step = np.eye(3) + np.sin(angle) * cross + (1 - np.cos(angle)) * cross @ cross
        attitude.append(attitude[-1] @ step)
    return np.array(attitude)


def test_a_perfect_operator_stays_on_the_skyline(perfect: Simulated) -> None:
    off = perfect.elevation_deg - scene_named("ridge", 1).elevation_at(perfect.azimuth_deg)
    assert np.abs(off).max() < 0.02


def test_a_calm_sweep_runs_at_eight_degrees_a_second_and_a_brisk_one_at_twenty() -> None:
    for speed, operator in ((8.0, Operator.calm()), (20.0, Operator.brisk())):
        still = replace(operator, tremor_deg=0.0, tilt_rms_deg=0.0, pauses=0)
        done = simulate_sweep(scene_named("ridge", 1), still, IDEAL, streams="A")
        along = np.hypot(
            np.diff(np.unwrap(done.azimuth_deg, period=360))
            * np.cos(np.radians(done.elevation_deg[1:])),
            np.diff(done.elevation_deg),
        )
        assert np.median(along * 50) == pytest.approx(speed, rel=0.02)


def test_tremor_tilt_and_hand_have_their_stated_sizes() -> None:
    script = Script(0.0, 0.0)
    script.rest(200.0)
    motion = script.motion(Operator(), np.random.default_rng(3), 0.005)
    assert np.std(motion.elevation_deg[400:]) == pytest.approx(0.3, rel=0.1)
    assert np.std(motion.azimuth_deg[400:]) == pytest.approx(0.3, rel=0.1)
    assert np.std(motion.tilt_deg) == pytest.approx(4.0, rel=0.35)
    assert np.std(motion.acceleration_g[400:], axis=0) == pytest.approx([0.008] * 3, rel=0.1)
    spectrum = np.abs(np.fft.rfft(motion.elevation_deg)) ** 2
    hz = np.fft.rfftfreq(len(motion), 0.005)
    assert hz[np.argmax(spectrum[1:]) + 1] == pytest.approx(1.5, abs=0.6)


def test_the_gyro_integrates_to_the_attitude(by_hand: Simulated) -> None:
    m = by_hand.measured
    attitude = integrated(m.rate_deg_s, 0.02, m.attitude[0])
    apart = np.linalg.norm(attitude - m.attitude, axis=(1, 2)) / np.sqrt(2)
    # Within a twentieth of a degree after two full turns with tremor and tilt.
    assert np.degrees(apart).max() < 0.05


@pytest.mark.parametrize(
    "site", [Site(46.05, 14.51), Site(-33.9, 18.4), Site(0.0, -78.5), Site(64.1, -21.9)]
)
def test_field_and_gravity_give_the_magnetic_heading_and_the_true_tilt(site: Site) -> None:
    done = simulate_sweep(scene_named("street", 1), replace(Operator(), hand_g=0), IDEAL, site)
    heading, tilt, pitch = angles_of(
        attitude_from_vectors(done.measured.field_ut, done.measured.force_g)
    )
    model = geomagnetic_field(site, DEFAULT_START.date())
    field, force = done.measured.field_ut, done.measured.force_g
    assert np.allclose(np.linalg.norm(force, axis=1), 1.0)
    assert np.allclose(np.linalg.norm(field, axis=1), model.field_ut)
    dip = np.degrees(np.arcsin(-(field * force).sum(axis=1) / model.field_ut))
    assert np.allclose(dip, model.inclination_deg)
    true = heading + model.declination_deg
    assert np.abs(angle_between(true, done.azimuth_deg)).max() < 1e-6
    assert np.allclose(pitch, done.elevation_deg)
    assert np.allclose(tilt, done.tilt_deg)


def test_index_and_collimation_move_the_sight_against_the_board() -> None:
    sensor = replace(IDEAL, index_error_deg=0.6, collimation_error_deg=0.8)
    done = simulate_level((63.0, 1.2), Operator.perfect(), sensor)
    heading, tilt, pitch = angles_of(
        attitude_from_vectors(done.measured.field_ut, done.measured.force_g)
    )
    model = geomagnetic_field(DEFAULT_SITE, DEFAULT_START.date())
    upright, rolled = np.abs(tilt) < 5, np.abs(tilt) > 175
    off = angle_between(heading + model.declination_deg, 63.0)
    assert pitch[upright].mean() == pytest.approx(1.2 - 0.6, abs=0.02)
    assert pitch[rolled].mean() == pytest.approx(1.2 + 0.6, abs=0.02)
    assert off[upright].mean() == pytest.approx(-0.8, abs=0.02)
    assert off[rolled].mean() == pytest.approx(0.8, abs=0.02)


def test_noise_has_its_stated_size() -> None:
    sensor = replace(
        IDEAL, field_noise_ut=0.4, force_noise_g=0.004, rate_noise_deg_s=0.07, warming_c=0
    )
    done = simulate_plane(20.0, 180.0, sensor, seconds_s=60.0).measured
    assert done.field_ut.std(axis=0) == pytest.approx([0.4] * 3, rel=0.06)
    assert done.force_g.std(axis=0) == pytest.approx([0.004] * 3, rel=0.06)
    assert done.rate_deg_s.std(axis=0) == pytest.approx([0.07] * 3, rel=0.06)


def test_the_shadow_points_away_from_the_sun() -> None:
    done = simulate_bearing(operator=Operator.perfect(), sensor=IDEAL)
    marks = [k.t_s for k in done.motion.keys if k.key == 2 and k.down]
    assert len(marks) == 3
    for t in marks:
        moment = np.datetime64(DEFAULT_START.replace(tzinfo=None), "ms")
        sun = sun_track(moment + np.array([round(t * 1000)], dtype="timedelta64[ms]"), DEFAULT_SITE)
        at = round(t * 50)
        away = angle_between(done.azimuth_deg[at], sun.azimuth_deg[0])
        assert abs(abs(away) - 180) < 0.01


def test_a_board_on_a_plane_shows_its_tilt_and_downslope_azimuth() -> None:
    for twist in (0.0, 40.0, 170.0):
        done = simulate_plane(32.0, 205.0, IDEAL, twist_deg=twist)
        normal = -done.measured.attitude[10][:, 2]  # out of the board's top: z is down
        assert np.degrees(np.arccos(-normal[2])) == pytest.approx(32.0)
        assert np.degrees(np.arctan2(normal[1], normal[0])) % 360 == pytest.approx(205.0)
        sight = done.measured.attitude[10][:, 0]
        assert -sight[2] == pytest.approx(np.sin(np.radians(32.0)) * np.cos(np.radians(twist)))


def test_a_tracing_bias_lifts_the_whole_sweep() -> None:
    scene = scene_named("ridge", 1)
    operator = replace(Operator.perfect(), tracing_bias_deg=0.5, sectors=((0.0, 20.0),))
    lifts = []
    for seed in range(40):
        done = simulate_sweep(scene, operator, IDEAL, seed=seed, streams="A")
        off = done.elevation_deg - scene.elevation_at(done.azimuth_deg)
        assert off.std() < 0.03
        lifts.append(off.mean())
    assert np.std(lifts) == pytest.approx(0.5, rel=0.35)
