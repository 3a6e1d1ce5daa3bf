"""calibrate and plane by command: from a recording, into the job, with every exit code."""

from __future__ import annotations

import datetime as dt
import json
from collections.abc import Callable
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


@pytest.fixture
def calibrate(job: Path, recordings: Path) -> Callable[..., Result]:
    """Calibrate the job from one of the recordings, by the command."""

    def run_it(purpose: str, name: str, *more: Any) -> Result:
        return run("calibrate", purpose, job, "--recording", recordings / f"{name}.sweep", *more)

    return run_it


def run(*arguments: Any) -> Result:
    return CliRunner().invoke(main, [str(a) for a in arguments])


def test_compass_level_and_bearing_are_stored_and_a_sweep_gets_them_with_their_checks(
    job: Path, recordings: Path, calibrate: Callable[..., Result]
) -> None:
    done = calibrate("compass", "compass", "--json", "-")
    assert done.exit_code == 0
    assert done.stderr.splitlines()[-1] == f"next: horizon-logger calibrate level {job}"
    document = json.loads(done.stdout)
    assert document["schema"] == "horizon-logger calibration 1"
    assert document["serial_number"] == "V001"
    assert document["figures"]["heading_error_95_deg"] < 1
    level = calibrate("level", "level")
    assert level.exit_code == 0
    assert "index +0." in level.stdout
    sweep = load_sweep(recordings / "sweep.sweep")
    declination = declination_at(DEFAULT_SITE, DEFAULT_START.date())
    chosen = chosen_for(stored_calibrations(read_job(job)), sweep, DEFAULT_SITE, declination)
    assert chosen.corrections.compass is not None
    assert chosen.corrections.level is not None
    assert [g.passed for g in chosen.checks] == [True, True]
    assert "12 min before the sweep" in chosen.checks[0].why
    assert chosen.closing_target_deg == pytest.approx(63.0, abs=1.0)
    assert calibrate("bearing", "target", "--target", 63).exit_code == 0
    assert calibrate("bearing", "sun", "--sun").exit_code == 0
    names = {path.name for path in (job / "calibrations").iterdir()}
    assert names >= {"20260514T081231Z-compass.sweep", "20260514T081231Z-compass.json"}
    stored = stored_calibrations(read_job(job))
    assert sorted(s.about.purpose for s in stored) == ["bearing", "bearing", "compass", "level"]
    assert all(s.about.sha256 for s in stored)


@pytest.mark.parametrize(
    ("purpose", "name", "options", "code", "says"),
    [
        ("compass", "half", [], 3, "one hemisphere only: the top"),
        ("level", "level", [], 3, "calibrate compass"),
        ("bearing", "noon", ["--sun"], 3, "high"),
        ("compass", "none", [], 3, "cannot be read"),
        ("compass", "swing", [], 3, "--bearings"),
        ("compass", "swing", ["--bearings", "1,2,3"], 2, "there are 9 presses"),
    ],
)
def test_an_unusable_calibration_says_why_and_stores_nothing(
    job: Path,
    calibrate: Callable[..., Result],
    purpose: str,
    name: str,
    options: list[str],
    code: int,
    says: str,
) -> None:
    done = calibrate(purpose, name, *options)
    assert done.exit_code == code
    assert says in done.stderr
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


def test_a_board_of_attitude_only_is_swung(job: Path, calibrate: Callable[..., Result]) -> None:
    bearings = ",".join(str(b) for b in range(0, 360, 40))
    assert calibrate("compass", "swing", "--bearings", bearings).exit_code == 0
    assert stored_calibrations(read_job(job))[0].kind == "deviation"


def test_a_swing_that_leaves_most_of_the_circle_open_is_stored_and_poor(
    job: Path, tmp_path: Path
) -> None:
    few = simulate_swing([0.0, 40.0, 80.0], sensor=Sensor().without_iron(), seed=1)
    write_recording(tmp_path / "few.sweep", {**few.header, "purpose": "compass"}, few.chunks)
    done = run("calibrate", "compass", job, "--recording", tmp_path / "few.sweep",
               "--bearings", "0,40,80")  # fmt: skip
    assert done.exit_code == 4, done.stderr
    assert "3 headings with a gap of 280° give the constant only" in done.stdout
    assert stored_calibrations(read_job(job))[0].figures["widest_gap_deg"] == pytest.approx(
        280, abs=2
    )


def test_a_plane_is_measured_and_stored_with_its_uncertainty(
    job: Path, recordings: Path, calibrate: Callable[..., Result]
) -> None:
    calibrate("compass", "compass")
    done = run("plane", job, "south roof", "--recording", recordings / "plane.sweep", "--json", "-")
    assert done.exit_code == 0
    document = json.loads(done.stdout)
    assert document["tilt_deg"] == pytest.approx(30, abs=1)
    assert document["azimuth_deg"] == pytest.approx(180, abs=2)
    (plane,) = read_job(job).planes
    assert plane.name == "south roof"
    assert plane.tilt_deg == pytest.approx(document["tilt_deg"], abs=0.01)
    assert "tilt_error_deg" in (job / "job.toml").read_text()
    assert run("plane", job, "x", "--recording", recordings / "half.sweep").exit_code == 3


def test_the_declination_that_the_job_is_given_turns_a_measured_plane_too(
    job: Path, recordings: Path, calibrate: Callable[..., Result]
) -> None:
    calibrate("compass", "compass")
    plane = ("plane", job, "south roof", "--recording", recordings / "plane.sweep", "--json", "-")
    by_model = json.loads(run(*plane).stdout)["azimuth_deg"]
    run("settings", job, "declination_deg=14.5")
    given = json.loads(run(*plane).stdout)["azimuth_deg"]
    model = declination_at(read_job(job).site, dt.date(2026, 5, 14)).value_deg
    assert given - by_model == pytest.approx(14.5 - model, abs=0.05)


def test_a_port_that_is_not_there_is_told_and_not_remembered(job: Path, tmp_path: Path) -> None:
    done = run("calibrate", "compass", job, "--port", tmp_path / "ttyNone")
    assert done.exit_code == 3
    assert "cannot be opened" in str(done.stderr)
    assert "port" not in (job / "job.toml").read_text()  # only one that opened is remembered
    assert not (job / "calibrations").exists()


def test_a_level_without_compass_is_refused_for_a_raw_board_alone(
    job: Path, calibrate: Callable[..., Result]
) -> None:
    raw = Identity(1, "virtual board", "V001", "1.0", 50, "MG")
    refuse_level_without_compass(read_job(job), None)  # a board that says nothing: told later
    refuse_level_without_compass(read_job(job), replace(raw, streams="A"))
    with pytest.raises(InputError, match="the level needs one"):
        refuse_level_without_compass(read_job(job), raw)
    calibrate("compass", "compass")
    refuse_level_without_compass(read_job(job), raw)
    with pytest.raises(InputError, match="no compass calibration of this board"):
        refuse_level_without_compass(read_job(job), replace(raw, serial_number="V002"))
