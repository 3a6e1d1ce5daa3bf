"""The operator's motion is physically consistent with what an error-free sensor gives."""

from dataclasses import replace

import numpy as np
import pytest

from logger.geomagnetism import geomagnetic_field
from logger.geometry import angle_between, angles_of, attitude_from_vectors
from logger.simulation import (
    DEFAULT_SITE,
    DEFAULT_START,
    Glance,
    Operator,
    Sensor,
    Simulated,
    Steel,
    scene_named,
    simulate_bearing,
    simulate_corners,
    simulate_level,
    simulate_plane,
    simulate_sweep,
    simulate_tumble,
)
from logger.simulation.motion import Script
from logger.simulation.scripts import points_script
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


def test_the_whole_circle_is_swept_forth_and_back(perfect: Simulated) -> None:
    turn = np.unwrap(perfect.azimuth_deg, period=360)
    assert turn.max() - turn[0] == pytest.approx(364, abs=0.1)
    assert turn[-1] == pytest.approx(turn[0], abs=0.1)


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


def test_vertical_edges_are_climbed_at_fifteen_degrees_a_second() -> None:
    still = replace(Operator.calm(), tremor_deg=0.0, tilt_rms_deg=0.0, pauses=0)
    done = simulate_sweep(scene_named("street-with-mast", 1), still, IDEAL, streams="A")
    climb = np.abs(np.diff(done.elevation_deg)) * 50
    assert np.median(climb[climb > 10]) == pytest.approx(15, rel=0.02)


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


def test_at_rest_the_specific_force_is_one_g_and_level_it_is_0_0_minus_1() -> None:
    done = simulate_plane(0.0, 180.0, IDEAL)
    assert np.allclose(done.measured.force_g, [0.0, 0.0, -1.0], atol=1e-9)
    tilted = simulate_plane(35.0, 210.0, IDEAL, twist_deg=25.0)
    assert np.allclose(np.linalg.norm(tilted.measured.force_g, axis=1), 1.0)


def test_the_field_has_the_strength_and_dip_of_the_model(by_hand: Simulated) -> None:
    model = geomagnetic_field(DEFAULT_SITE, DEFAULT_START.date())
    m = by_hand.measured
    assert np.allclose(np.linalg.norm(m.field_ut, axis=1), model.field_ut)
    down = -m.force_g / np.linalg.norm(m.force_g, axis=1, keepdims=True)
    dip = np.degrees(np.arcsin((m.field_ut * down).sum(axis=1) / model.field_ut))
    assert np.allclose(dip, model.inclination_deg)


@pytest.mark.parametrize(
    "site", [Site(46.05, 14.51), Site(-33.9, 18.4), Site(0.0, -78.5), Site(64.1, -21.9)]
)
def test_field_and_gravity_give_the_magnetic_heading_and_the_true_tilt(site: Site) -> None:
    done = simulate_sweep(scene_named("street", 1), replace(Operator(), hand_g=0), IDEAL, site)
    heading, tilt, pitch = angles_of(
        attitude_from_vectors(done.measured.field_ut, done.measured.force_g)
    )
    model = geomagnetic_field(site, DEFAULT_START.date())
    true = heading + model.declination_deg
    assert np.abs(angle_between(true, done.azimuth_deg)).max() < 1e-6
    assert np.allclose(pitch, done.elevation_deg)
    assert np.allclose(tilt, done.tilt_deg)


def test_a_declination_error_turns_the_field_and_nothing_else() -> None:
    scene = scene_named("ridge", 1)
    straight = simulate_sweep(scene, Operator.perfect(), IDEAL)
    turned = simulate_sweep(scene, Operator.perfect(), IDEAL, declination_error_deg=0.7)
    assert np.array_equal(turned.measured.force_g, straight.measured.force_g)
    first, second = (
        angles_of(attitude_from_vectors(s.measured.field_ut, s.measured.force_g))[0]
        for s in (straight, turned)
    )
    # East of the model: the needle points further east, the compass reads less.
    assert np.allclose(angle_between(second, first), -0.7)


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


def test_iron_offsets_and_scales_are_those_of_the_individual_board() -> None:
    sensor = Sensor(individual=5, field_noise_ut=0.0, force_noise_g=0.0, rate_noise_deg_s=0.0)
    clean = simulate_tumble(sensor=IDEAL, seed=3).measured
    dirty = simulate_tumble(sensor=sensor, seed=3).measured
    board = sensor.board()
    assert np.allclose(
        dirty.field_ut, clean.field_ut @ board.soft_iron.T + board.hard_iron_ut, atol=1e-9
    )
    assert np.linalg.norm(board.hard_iron_ut) == pytest.approx(25.0)
    assert np.allclose(dirty.rate_deg_s - clean.rate_deg_s, board.rate_bias_deg_s)
    assert not np.allclose(sensor.board().hard_iron_ut, Sensor(6).board().hard_iron_ut)


def test_a_drift_after_calibration_is_one_more_offset_of_that_length() -> None:
    before, after = Sensor(2).board(), Sensor(2, force_drift_g=0.010).board()
    drift = after.force_offset_g - before.force_offset_g
    assert np.linalg.norm(drift) == pytest.approx(0.010)
    assert np.array_equal(before.hard_iron_ut, after.hard_iron_ut)


def test_noise_has_its_stated_size() -> None:
    sensor = replace(
        IDEAL, field_noise_ut=0.4, force_noise_g=0.004, rate_noise_deg_s=0.07, warming_c=0
    )
    done = simulate_plane(20.0, 180.0, sensor, seconds_s=60.0).measured
    assert done.field_ut.std(axis=0) == pytest.approx([0.4] * 3, rel=0.06)
    assert done.force_g.std(axis=0) == pytest.approx([0.004] * 3, rel=0.06)
    assert done.rate_deg_s.std(axis=0) == pytest.approx([0.07] * 3, rel=0.06)


def test_steel_turns_the_compass_across_the_field_without_changing_its_strength_much() -> None:
    # 2 uT east-west turns the heading by about 5 degrees and changes strength by 0.1 %.
    scene = replace(scene_named("ridge", 1), steel=Steel(steady_ut=(0.0, 2.0, 0.0)))
    done = simulate_sweep(scene, Operator.perfect(), IDEAL)
    model = geomagnetic_field(DEFAULT_SITE, DEFAULT_START.date())
    strength = np.linalg.norm(done.measured.field_ut, axis=1)
    assert np.abs(strength / model.field_ut - 1).max() < 0.005
    heading = angles_of(attitude_from_vectors(done.measured.field_ut, done.measured.force_g))[0]
    off = np.abs(angle_between(heading + model.declination_deg, done.azimuth_deg))
    assert off.mean() == pytest.approx(np.degrees(2.0 / model.horizontal_ut), rel=0.1)


def test_a_tumble_shows_every_side_of_the_board_to_the_field_and_to_gravity() -> None:
    done = simulate_tumble(sensor=IDEAL).measured
    for vectors in (done.field_ut, done.force_g):
        unit = vectors / np.linalg.norm(vectors, axis=1, keepdims=True)
        octants = {tuple(row) for row in (unit > 0).tolist()}
        assert len(octants) == 8
        assert (np.abs(unit).max(axis=0) > 0.9).all()
    half = simulate_tumble(sensor=IDEAL, hemisphere=True).measured
    assert (half.force_g[:, 2] < 0).all()


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


def test_every_corner_is_held_still_while_the_mark_key_goes_down() -> None:
    scene = scene_named("street", 1)
    done = simulate_corners(scene, Operator.perfect(), IDEAL)
    azimuth, elevation = scene.corners()
    presses = [k.t_s for k in done.motion.keys if k.key == 2 and k.down]
    assert len(presses) == len(azimuth)
    at = np.round(np.array(presses) * 50).astype(int)
    assert np.abs(angle_between(done.azimuth_deg[at], azimuth)).max() < 0.01
    assert np.abs(done.elevation_deg[at] - elevation).max() < 0.01
    assert np.abs(done.measured.rate_deg_s[at]).max() < 0.01


def test_a_glance_at_the_ground_leaves_the_skyline_for_its_time() -> None:
    operator = replace(Operator.perfect(), glances=(Glance(90.0, 20.0, -40.0),))
    done = simulate_sweep(scene_named("ridge", 1), operator, IDEAL)
    down = done.elevation_deg < -35
    assert down.sum() / 50 == pytest.approx(20, abs=2)
    assert np.abs(angle_between(done.azimuth_deg[down], 90.0)).max() < 0.2


def test_sectors_leave_the_rest_unseen() -> None:
    operator = replace(Operator.perfect(), sectors=((100.0, 200.0),))
    done = simulate_sweep(scene_named("ridge", 1), operator, IDEAL)
    assert done.azimuth_deg.min() > 99
    assert done.azimuth_deg.max() < 201


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


def test_a_closing_target_is_sighted_before_and_after() -> None:
    operator = replace(Operator.perfect(), closing_target=(63.0, 1.2), opening_trigger=True)
    done = simulate_sweep(scene_named("ridge", 1), operator, IDEAL)
    keys = [k.key for k in done.motion.keys if k.down]
    assert sorted(keys) == [1, 1, 2, 2]
    for press in (k for k in done.motion.keys if k.key == 2 and k.down):
        at = round(press.t_s * 50)
        assert done.azimuth_deg[at] == pytest.approx(63.0, abs=0.01)
        assert done.elevation_deg[at] == pytest.approx(1.2, abs=0.01)


def test_labels_are_noted_where_the_operator_reaches_them() -> None:
    scene = scene_named("street", 1)
    done = simulate_sweep(scene, Operator.perfect(), IDEAL)
    assert {n.label for n in done.notes} == {o.name for o in scene.obstructions}
    for note in done.notes:
        at = round(note.t_s * 50)
        here = scene.obstruction_at(done.azimuth_deg[min(at + 8, len(done.t_s) - 1)])
        assert here is not None
        assert here.name == note.label


def test_turning_at_arms_length_adds_its_own_acceleration() -> None:
    operator = replace(Operator.perfect(), speed_deg_s=20.0, arm_m=0.5)
    done = simulate_sweep(scene_named("ridge", 1), operator, IDEAL)
    # Uniform circular motion: a = omega^2 r.
    along_sight = np.median(done.measured.force_g[200:-200, 0] - np.sin(
        np.radians(done.elevation_deg[200:-200])))  # fmt: skip
    steady = np.radians(20.0 / np.cos(np.radians(np.median(done.elevation_deg))))
    assert along_sight == pytest.approx(-(steady**2) * 0.5 / 9.80665, rel=0.1)


def test_the_same_seed_gives_the_same_bytes_and_another_one_others() -> None:
    scene = scene_named("ridge", 1)
    once, again, other = (simulate_sweep(scene, seed=seed) for seed in (7, 7, 8))
    assert once.chunks == again.chunks
    assert once.sent != other.sent


def test_points_are_opened_and_closed_by_the_trigger_with_a_closing_target_in_each() -> None:
    operator = replace(Operator.perfect(), closing_target=(63.0, 1.2), sectors=((90.0, 150.0),))
    scenes = [scene_named("ridge", 1), scene_named("street", 1)]
    rng = np.random.default_rng(0)
    motion = points_script(scenes, operator, rng).motion(operator, rng, 0.01)
    keys = [k for k in motion.keys if k.down]
    assert [k.key for k in keys] == [1, 2, 2, 1] * 2
    for mark in (k for k in keys if k.key == 2):
        assert motion.azimuth_deg[round(mark.t_s * 100)] == pytest.approx(63.0, abs=0.01)
    between = slice(round((keys[3].t_s + 3) * 100), round((keys[4].t_s - 4) * 100))
    assert motion.elevation_deg[between].max() < -50
    for opened, closed, scene in ((keys[0], keys[3], scenes[0]), (keys[4], keys[7], scenes[1])):
        part = slice(round((opened.t_s + 4) * 100), round((closed.t_s - 5) * 100))
        on = motion.elevation_deg[part] - scene.elevation_at(motion.azimuth_deg[part])
        assert np.median(np.abs(on)) < 0.05
