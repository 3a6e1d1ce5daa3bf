"""calibrate and plane by command: from a recording, into the job, with every exit code."""

from __future__ import annotations

import datetime as dt
import json
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner, Result

from firmware_protocol import Identity
from logger.cli import main
from logger.errors import InputError
from logger.job import read_job
from logger.orientation import declination_at
from logger.recording import write_recording
from logger.simulation import (
    DEFAULT_SITE,
    DEFAULT_START,
    Operator,
    Sensor,
    scene_named,
    simulate_bearing,
    simulate_level,
    simulate_plane,
    simulate_sweep,
    simulate_swing,
    simulate_tumble,
)
from logger.survey.calibrations import refuse_level_without_compass, stored_calibrations
from logger.survey.pipeline import chosen_for
from logger.survey.points import load_sweep

BOARD = replace(Sensor(individual=4), index_error_deg=0.6, collimation_error_deg=0.8)


def minutes(after: float) -> dt.datetime:
    return DEFAULT_START + dt.timedelta(minutes=after)


def written(path: Path, simulated: Any) -> Path:
    """A simulated task as a sealed recording."""
    write_recording(path, simulated.header, simulated.chunks, simulated.notes)
    return path


@pytest.fixture(scope="module")
def recordings(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("recordings")
    made = {
        "compass": simulate_tumble(sensor=BOARD, started=minutes(0), streams="MG"),
        "level": simulate_level(sensor=BOARD, started=minutes(3), streams="MG", pairs=2),
        "target": simulate_bearing((63.0, 1.2), sensor=BOARD, started=minutes(6), streams="MG"),
        "sun": simulate_bearing(sensor=BOARD, started=minutes(-100), streams="MG"),
        "noon": simulate_bearing(sensor=BOARD, started=minutes(200), streams="MG"),
        "plane": simulate_plane(30, 180, BOARD, started=minutes(9), streams="MG"),
        "half": simulate_tumble(sensor=BOARD, started=minutes(1), streams="M", hemisphere=True),
        "swing": simulate_swing(
            range(0, 360, 40), sensor=replace(BOARD, hard_iron_ut=5.0, soft_iron_share=0.02)
        ),
        "sweep": simulate_sweep(
            scene_named("ridge", 1),
            Operator(closing_target=(63.0, 1.2), passes=1),
            BOARD,
            started=minutes(12),
            streams="MG",
        ),
    }
    for name, simulated in made.items():
        written(folder / f"{name}.sweep", simulated)
    return folder


@pytest.fixture
def job(tmp_path: Path) -> Path:
    folder = tmp_path / "job"
    place = ["--latitude", "46.05", "--longitude", "14.51", "--altitude", "310"]
    assert CliRunner().invoke(main, ["new", str(folder), *place]).exit_code == 0
    return folder


def run(*arguments: Any) -> Result:
    return CliRunner().invoke(main, [str(a) for a in arguments])


def test_compass_level_and_bearing_are_stored_with_recording_and_figures(
    job: Path, recordings: Path
) -> None:
    done = run(
        "calibrate", "compass", job, "--recording", recordings / "compass.sweep", "--json", "-"
    )
    assert done.exit_code == 0
    document = json.loads(done.stdout)
    assert document["schema"] == "horizon-logger calibration 1"
    assert document["serial_number"] == "V001"
    assert document["figures"]["heading_error_95_deg"] < 1
    level = run("calibrate", "level", job, "--recording", recordings / "level.sweep")
    assert level.exit_code == 0
    assert "index +0." in level.stdout
    bearing = run(
        "calibrate", "bearing", job, "--recording", recordings / "target.sweep", "--target", 63
    )
    assert bearing.exit_code == 0
    sun = run("calibrate", "bearing", job, "--recording", recordings / "sun.sweep", "--sun")
    assert sun.exit_code == 0
    names = sorted(path.name for path in (job / "calibrations").iterdir())
    assert "20260514T081231Z-compass.sweep" in names
    assert "20260514T081231Z-compass.json" in names
    stored = stored_calibrations(read_job(job))
    assert sorted(s.about.purpose for s in stored) == ["bearing", "bearing", "compass", "level"]
    assert all(s.about.sha256 for s in stored)


def test_a_sweep_gets_the_jobs_calibrations_and_their_checks(job: Path, recordings: Path) -> None:
    run("calibrate", "compass", job, "--recording", recordings / "compass.sweep")
    run("calibrate", "level", job, "--recording", recordings / "level.sweep")
    sweep = load_sweep(recordings / "sweep.sweep")
    declination = declination_at(DEFAULT_SITE, DEFAULT_START.date())
    chosen = chosen_for(stored_calibrations(read_job(job)), sweep, DEFAULT_SITE, declination)
    assert chosen.corrections.compass is not None
    assert chosen.corrections.level is not None
    assert [g.passed for g in chosen.checks] == [True, True]
    assert "12 min before the sweep" in chosen.checks[0].why
    assert chosen.closing_target_deg == pytest.approx(63.0, abs=1.0)


def test_an_unusable_calibration_leaves_with_3_and_stores_nothing(
    job: Path, recordings: Path
) -> None:
    half = run("calibrate", "compass", job, "--recording", recordings / "half.sweep")
    assert half.exit_code == 3
    assert "one hemisphere only" in half.stderr
    assert "top" in half.stderr
    first = run("calibrate", "level", job, "--recording", recordings / "level.sweep")
    assert first.exit_code == 3
    assert "calibrate compass" in first.stderr
    noon = run("calibrate", "bearing", job, "--recording", recordings / "noon.sweep", "--sun")
    assert noon.exit_code == 3
    assert "high" in noon.stderr
    missing = run("calibrate", "compass", job, "--recording", recordings / "none.sweep")
    assert missing.exit_code == 3
    assert not list((job / "calibrations").glob("*.json"))


def test_a_poor_calibration_leaves_with_4_and_is_stored(job: Path, tmp_path: Path) -> None:
    shaky = simulate_tumble(
        Operator(hand_g=0.08), BOARD, started=minutes(0), streams="M", seconds_s=20
    )
    poor = run("calibrate", "compass", job, "--recording", written(tmp_path / "shaky.sweep", shaky))
    assert poor.exit_code == 4
    assert "not fit for use - compass heading error" in poor.stderr
    assert len(stored_calibrations(read_job(job))) == 1


def test_a_recording_of_another_site_is_refused(tmp_path: Path, recordings: Path) -> None:
    run("new", tmp_path / "far", "--latitude", "47", "--longitude", "14.51")
    done = run(
        "calibrate", "compass", tmp_path / "far", "--recording", recordings / "compass.sweep"
    )
    assert done.exit_code == 3
    assert "106 km from the job's site" in done.stderr


def test_a_board_of_attitude_only_is_swung(job: Path, recordings: Path) -> None:
    swing = recordings / "swing.sweep"
    untold = run("calibrate", "compass", job, "--recording", swing)
    assert untold.exit_code == 3
    assert "--bearings" in untold.stderr
    given = run(
        "calibrate", "compass", job, "--recording", swing,
        "--bearings", ",".join(str(b) for b in range(0, 360, 40)),
    )  # fmt: skip
    assert given.exit_code == 0
    assert stored_calibrations(read_job(job))[0].kind == "deviation"
    wrong = run("calibrate", "compass", job, "--recording", swing, "--bearings", "1,2,3")
    assert wrong.exit_code == 2
    assert "there are 9 presses" in wrong.stderr


def test_a_plane_is_measured_and_stored_with_its_uncertainty(job: Path, recordings: Path) -> None:
    run("calibrate", "compass", job, "--recording", recordings / "compass.sweep")
    done = run("plane", job, "south roof", "--recording", recordings / "plane.sweep", "--json", "-")
    assert done.exit_code == 0
    document = json.loads(done.stdout)
    assert document["tilt_deg"] == pytest.approx(30, abs=1)
    assert document["azimuth_deg"] == pytest.approx(180, abs=2)
    planes = read_job(job).planes
    assert [p.name for p in planes] == ["south roof"]
    assert planes[0].tilt_deg == pytest.approx(document["tilt_deg"], abs=0.01)
    assert "tilt_error_deg" in (job / "job.toml").read_text()
    assert run("plane", job, "x", "--recording", recordings / "half.sweep").exit_code == 3


def test_a_port_that_is_not_there_is_told_and_not_remembered(job: Path, tmp_path: Path) -> None:
    done = run("calibrate", "compass", job, "--port", tmp_path / "ttyNone")
    assert done.exit_code == 3
    assert "cannot be opened" in str(done.stderr)
    assert "port" not in (job / "job.toml").read_text()  # only one that opened is remembered
    assert not (job / "calibrations").exists()


def test_a_level_without_compass_is_refused_for_a_raw_board_alone(
    job: Path, recordings: Path
) -> None:
    raw = Identity(1, "virtual board", "V001", "1.0", 50, "MG")
    other = replace(raw, serial_number="V002")
    refuse_level_without_compass(read_job(job), None)  # a board that says nothing: told later
    refuse_level_without_compass(read_job(job), replace(raw, streams="A"))
    with pytest.raises(InputError, match="the level needs one"):
        refuse_level_without_compass(read_job(job), raw)
    run("calibrate", "compass", job, "--recording", recordings / "compass.sweep")
    refuse_level_without_compass(read_job(job), raw)
    with pytest.raises(InputError, match="no compass calibration of this board"):
        refuse_level_without_compass(read_job(job), other)


def test_each_calibration_names_the_next_step(job: Path, recordings: Path) -> None:
    done = run("calibrate", "compass", job, "--recording", recordings / "compass.sweep")
    assert done.stderr.splitlines()[-1] == f"next: horizon-logger calibrate level {job}"
