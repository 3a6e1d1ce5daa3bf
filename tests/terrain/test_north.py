"""North from the far ridge: found on hills, declined on the plain, refused against the compass."""

from __future__ import annotations

import json

import numpy as np
import pytest
from invented_valley import far_of

from logger.geometry import interpolate_azimuthal
from logger.horizon import HorizonProfile
from logger.job import read_job
from logger.survey.calibrations import stored_calibrations
from logger.terrain import FarHorizon, north_from

GRID = np.arange(0.0, 360.0, 0.5)


def ridge(shape, error_deg=0.05):
    """A far horizon whose elevation is a function of azimuth."""
    azimuth = np.arange(0.0, 360.0, 0.25)
    away = np.full(azimuth.size, 10_000.0)
    error, gap = np.full(azimuth.size, error_deg), np.full(azimuth.size, np.inf)
    return FarHorizon(azimuth, shape(azimuth), away, error, gap, 312.0)


def swept(far, turn_deg, seed=0, noise_deg=0.1, lift_deg=0.0, near=(), swept_only=None):
    """A sweep of it whose azimuths need a turn, with errors alike over 2°."""
    rng = np.random.default_rng(seed)
    elevation = interpolate_azimuthal(GRID + turn_deg, far.azimuth_deg, far.elevation_deg)
    white = rng.normal(size=GRID.size)
    kernel = np.exp(-0.5 * (np.minimum(GRID, 360 - GRID) / 2.0) ** 2)
    noise = np.fft.irfft(np.fft.rfft(white) * np.sqrt(np.abs(np.fft.rfft(kernel))), GRID.size)
    elevation = elevation + lift_deg + noise_deg * noise
    for start, end, top in near:
        elevation = np.where((start <= GRID) & (end >= GRID), top, elevation)
    measured = np.ones(GRID.size, bool) if swept_only is None else swept_only(GRID)
    return HorizonProfile(
        GRID,
        np.where(measured, elevation, np.nan),
        np.full(GRID.size, noise_deg),
        measured,
        heading_error_deg=0.8,
        level_error_deg=0.2,
        correlation_deg=2.0,
    )


def bumpy(azimuth):
    angle = np.radians(azimuth)
    return 5 + 2 * np.sin(3 * angle) + np.sin(7 * angle + 1) + 0.7 * np.sin(16 * angle + 2)


def flat(azimuth):
    return np.full(azimuth.size, -0.04)


def saw(azimuth):
    """The same hill every 6°."""
    return 3 + np.abs((azimuth % 6) - 3)


@pytest.mark.parametrize("turn_deg", [-11.3, -2.0, 0.0, 0.55, 7.9, 14.2])
def test_the_turn_is_found_whichever_way_the_compass_was_turned(turn_deg):
    fix = north_from(swept(ridge(bumpy), turn_deg), ridge(bumpy))
    assert fix.declined == ""
    assert fix.turn_deg == pytest.approx(turn_deg, abs=0.25)
    assert fix.standard_error_deg < 0.15


def test_its_standard_error_is_honest():
    fixes = [
        (north_from(swept(ridge(bumpy), 3.0, seed, noise_deg=0.3), ridge(bumpy)))
        for seed in range(60)
    ]
    off = np.array([fix.turn_deg - 3.0 for fix in fixes])
    stated = np.array([fix.standard_error_deg for fix in fixes])
    assert 0.6 < off.std() / stated.mean() < 1.3
    assert np.mean(np.abs(off) < 1.96 * stated) > 0.88


def test_what_stands_near_does_not_count():
    near = ((20, 95, 25.0), (140, 200, 14.0), (230, 300, 9.5))
    fix = north_from(swept(ridge(bumpy), -4.0, near=near), ridge(bumpy))
    assert fix.declined == ""
    assert fix.turn_deg == pytest.approx(-4.0, abs=0.2)
    assert 125 < fix.used_deg < 155  # 155° of ridge are left


def test_nor_does_what_lies_beside_a_near_edge():
    """Corners of a swept line stand apart: it is not on the ridge as soon as a wall ends."""

    def walls(azimuth):
        rising = bumpy(azimuth + 0.5) > bumpy(azimuth)  # elsewhere it would lift alone
        since = np.where(rising, azimuth % 10, 10.0)
        return bumpy(azimuth) + np.select([since < 4, since < 5.5], [20.0, -0.5])

    fix = north_from(swept(ridge(walls), 3.0, noise_deg=0.03), ridge(bumpy))
    assert fix.declined == ""
    assert fix.turn_deg == pytest.approx(3.0, abs=0.12)


def test_headings_that_are_not_off_alike_all_round_make_the_mean_less_sure():
    """A ridge of which a quarter is seen tells of the headings there, not of all."""
    far = ridge(bumpy)
    whole, part = (
        north_from(swept(far, 3.0, noise_deg=0.01, swept_only=seen), far)
        for seen in (None, lambda a: (a > 100) & (a < 190))
    )
    assert whole.standard_error_deg < 0.03
    assert part.standard_error_deg > 0.03


def test_a_smooth_ridge_is_hard_to_tell_from_a_level_that_wavers():
    """0.02° of the level, twice round, turn this ridge by 0.3° and leave no residual."""

    def smooth(azimuth):
        return 5 + 2 * np.cos(np.radians(2 * azimuth)) + 0.3 * np.cos(np.radians(9 * azimuth))

    wavering = ridge(lambda a: smooth(a) + 0.02 * np.sin(np.radians(2 * a)))
    fix = north_from(swept(wavering, 0.0, noise_deg=0.01), ridge(smooth))
    assert 0.1 < abs(fix.turn_deg) < 1.96 * fix.standard_error_deg


def test_a_lift_of_the_level_is_told_apart_from_the_turn():
    fix = north_from(swept(ridge(bumpy), 2.0, lift_deg=0.3), ridge(bumpy))
    assert fix.turn_deg == pytest.approx(2.0, abs=0.2)
    assert fix.lift_deg == pytest.approx(0.3, abs=0.1)


@pytest.mark.parametrize("seed", range(5))
def test_a_plain_gives_no_north(seed):
    fix = north_from(swept(ridge(flat), 3.0, seed, noise_deg=0.3), ridge(flat))
    assert "too little shape" in fix.declined


@pytest.mark.parametrize("seed", range(5))
def test_the_noise_of_a_plain_s_heights_is_no_shape(seed):
    rng = np.random.default_rng(seed)
    rough = ridge(lambda a: rng.normal(0, 0.03, a.size))
    fix = north_from(swept(ridge(flat), 3.0, seed, noise_deg=0.1), rough)
    assert fix.declined != ""


def test_a_ridge_that_resembles_itself_gives_none():
    fix = north_from(swept(ridge(saw), 2.0), ridge(saw))
    assert "resembles itself" in fix.declined


def test_too_little_of_the_ridge_gives_none():
    few = swept(ridge(bumpy), 2.0, swept_only=lambda a: (a > 100) & (a < 120))
    assert "only" in north_from(few, ridge(bumpy)).declined
    walls = swept(ridge(bumpy), 2.0, near=((0, 360, 40.0),))
    assert "far ridge" in north_from(walls, ridge(bumpy)).declined


def test_a_turn_beyond_what_is_tried_gives_none():
    assert north_from(swept(ridge(bumpy), 25.0), ridge(bumpy)).declined != ""


# Through the command, with whole sweeps by the virtual board.


def bearings(job):
    return [one for one in stored_calibrations(read_job(job)) if one.kind == "bearing"]


def test_north_is_stored_as_a_bearing_with_proof_and_picture(run, calm_job, hills, copy):
    job = copy(calm_job)
    done = run("terrain", job, "--tiles", hills)
    assert done.code == 0, done.err
    (stored,) = bearings(job)
    assert abs(stored.correction.residual_deg) < 0.5
    assert stored.correction.standard_error_deg < 0.25
    assert stored.figures["ridge_used_deg"] > 90
    assert stored.about.recording == "20260514T082231Z.sweep"
    picture = (job / "terrain" / "yard.png").read_bytes()
    assert picture.startswith(b"\x89PNG")
    again = run("terrain", job, "--tiles", hills)
    assert again.code == 0
    assert len(bearings(job)) == 1


def test_where_ridge_and_compass_differ_nothing_is_believed_unasked(run, steel_job, hills, copy):
    job = copy(steel_job)
    done = run("terrain", job, "--tiles", hills)
    assert done.code == 4
    assert "ridge agrees with compass" in done.err
    assert "--believe terrain" in done.err
    assert bearings(job) == []
    assert (job / "terrain" / "yard.json").is_file()

    assert run("terrain", job, "--tiles", hills, "--believe", "terrain").code == 0
    (stored,) = bearings(job)
    assert stored.correction.residual_deg == pytest.approx(6.0, abs=0.4)

    assert run("terrain", job, "--tiles", hills, "--believe", "compass").code == 0
    assert bearings(job) == []


def test_the_point_s_horizon_is_turned_by_it(run, steel_job, hills, copy):
    job, far = copy(steel_job), far_of(hills)
    run("terrain", job, "--tiles", hills, "--believe", "terrain")
    done = run("replay", job, "yard", "--json", "-")
    horizon = json.loads(done.out)["horizon"]
    elevation = np.array(horizon["elevation_deg"], dtype=float)
    computed = interpolate_azimuthal(horizon["azimuth_deg"], far.azimuth_deg, far.elevation_deg)
    apart = elevation - computed
    # Half of the horizon is the far ridge, elsewhere the street stands before it.
    assert np.percentile(np.abs(apart), 40) < 0.3
    assert horizon["heading_error_deg"] < 0.6


def test_a_plain_is_no_fault(run, plain, hills, tmp_path):
    from invented_valley import swept_job

    job = swept_job(tmp_path / "plain", plain, 0.0)
    done = run("terrain", job.folder, "--tiles", plain)
    assert done.code == 0, done.err
    assert "too little shape" in done.out
    assert bearings(job.folder) == []


def test_a_job_that_is_not_swept_yet_has_a_far_horizon(run, hills, tmp_path):
    job = tmp_path / "job"
    run("new", job, "--latitude", 46.05, "--longitude", 14.51)
    done = run("terrain", job, "--tiles", hills, "--json", "-")
    assert done.code == 0, done.err
    (point,) = json.loads(done.out)["points"]
    assert point["eye_m"] == pytest.approx(311.6)
    assert len(point["elevation_deg"]) == 1440
    assert point["elevation_deg"] == pytest.approx(far_of(hills).elevation_deg, abs=1e-3)


def test_an_altitude_far_from_the_tiles_fails_its_check(run, hills, tmp_path):
    job = tmp_path / "job"
    run("new", job, "--latitude", 46.05, "--longitude", 14.51, "--altitude", 500)
    done = run("terrain", job, "--tiles", hills)
    assert done.code == 4
    assert "altitude agrees with tiles" in done.err
