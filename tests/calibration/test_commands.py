"""calibrate and plane by command: from a recording, into the job, with every exit code."""

from __future__ import annotations

import datetime as dt
import json
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest
from click.testing import CliRunner, Result

from firmware_protocol import Decoder, framed
from logger.cli import main
from logger.errors import DeviceError, InputError
from logger.job import read_job
from logger.orientation import declination_at
from logger.recording import RecordingWriter, Taken
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
from logger.survey.calibrations import corrections_of_job, stored_calibrations
from logger.survey.guided import Guide, record_guided
from logger.survey.points import load_sweep

BOARD = replace(Sensor(individual=4), index_error_deg=0.6, collimation_error_deg=0.8)


def minutes(after: float) -> dt.datetime:
    return DEFAULT_START + dt.timedelta(minutes=after)


def written(path: Path, simulated: Any) -> Path:
    """A simulated task as a sealed recording."""
    writer, decoder = RecordingWriter(path, simulated.header), Decoder()
    notes = list(simulated.notes)
    for t, chunk in simulated.chunks:
        while notes and notes[0].t_s <= t:
            note = notes.pop(0)
            label = {"label": note.label} if note.label else {}
            writer.note(note.t_s, **label, **note.more)
        writer.add(t, decoder.feed(chunk))
    for note in notes:
        writer.note(max(note.t_s, simulated.duration_s), **note.more)
    writer.close()
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
    done = run("calibrate", "compass", job, "--from", recordings / "compass.sweep", "--json", "-")
    assert done.exit_code == 0
    document = json.loads(done.stdout)
    assert document["schema"] == "horizon-logger calibration 1"
    assert document["serial_number"] == "V001"
    assert document["figures"]["heading_error_95_deg"] < 1
    level = run("calibrate", "level", job, "--from", recordings / "level.sweep")
    assert level.exit_code == 0
    assert "index +0." in level.stdout
    bearing = run(
        "calibrate", "bearing", job, "--from", recordings / "target.sweep", "--target", 63
    )
    assert bearing.exit_code == 0
    sun = run("calibrate", "bearing", job, "--from", recordings / "sun.sweep", "--sun")
    assert sun.exit_code == 0
    names = sorted(path.name for path in (job / "calibrations").iterdir())
    assert "20260514T081231Z-compass.sweep" in names
    assert "20260514T081231Z-compass.json" in names
    stored = stored_calibrations(read_job(job))
    assert sorted(s.about.purpose for s in stored) == ["bearing", "bearing", "compass", "level"]
    assert all(s.about.sha256 for s in stored)


def test_a_sweep_gets_the_jobs_calibrations_and_their_checks(job: Path, recordings: Path) -> None:
    run("calibrate", "compass", job, "--from", recordings / "compass.sweep")
    run("calibrate", "level", job, "--from", recordings / "level.sweep")
    sweep = load_sweep(recordings / "sweep.sweep")
    declination = declination_at(DEFAULT_SITE, DEFAULT_START.date())
    chosen = corrections_of_job(read_job(job))(sweep, declination)
    assert chosen.corrections.compass is not None
    assert chosen.corrections.level is not None
    assert [g.passed for g in chosen.checks] == [True, True]
    assert "12 min before the sweep" in chosen.checks[0].why
    assert chosen.closing_target_deg == pytest.approx(63.0, abs=1.0)


def test_an_unusable_calibration_leaves_with_3_and_stores_nothing(
    job: Path, recordings: Path
) -> None:
    half = run("calibrate", "compass", job, "--from", recordings / "half.sweep")
    assert half.exit_code == 3
    assert "one hemisphere only" in half.stderr
    assert "top" in half.stderr
    first = run("calibrate", "level", job, "--from", recordings / "level.sweep")
    assert first.exit_code == 3
    assert "calibrate compass" in first.stderr
    noon = run("calibrate", "bearing", job, "--from", recordings / "noon.sweep", "--sun")
    assert noon.exit_code == 3
    assert "high" in noon.stderr
    missing = run("calibrate", "compass", job, "--from", recordings / "none.sweep")
    assert missing.exit_code == 3
    assert not list((job / "calibrations").glob("*.json"))


def test_a_poor_calibration_leaves_with_4_and_is_stored(job: Path, tmp_path: Path) -> None:
    shaky = simulate_tumble(
        Operator(hand_g=0.08), BOARD, started=minutes(0), streams="M", seconds_s=20
    )
    poor = run("calibrate", "compass", job, "--from", written(tmp_path / "shaky.sweep", shaky))
    assert poor.exit_code == 4
    assert "not fit for use - compass heading error" in poor.stderr
    assert len(stored_calibrations(read_job(job))) == 1


def test_what_makes_no_sense_leaves_with_2(job: Path, recordings: Path) -> None:
    target = recordings / "target.sweep"
    for arguments in (
        ["compass", job],
        ["compass", job, "--from", target, "--port", "loop://"],
        ["bearing", job, "--from", target],
        ["bearing", job, "--from", target, "--sun", "--target", 63],
        ["compass", job, "--from", target, "--bearings", "10,east"],
    ):
        assert run("calibrate", *arguments).exit_code == 2, arguments


def test_a_recording_of_another_site_is_refused(tmp_path: Path, recordings: Path) -> None:
    run("new", tmp_path / "far", "--latitude", "47", "--longitude", "14.51")
    done = run("calibrate", "compass", tmp_path / "far", "--from", recordings / "compass.sweep")
    assert done.exit_code == 3
    assert "106 km from the job's site" in done.stderr


def test_a_board_of_attitude_only_is_swung(job: Path, recordings: Path) -> None:
    swing = recordings / "swing.sweep"
    noted = run("calibrate", "compass", job, "--from", swing)
    assert noted.exit_code == 0
    assert stored_calibrations(read_job(job))[0].kind == "deviation"
    given = run(
        "calibrate", "compass", job, "--from", swing,
        "--bearings", ",".join(str(b) for b in range(0, 360, 40)),
    )  # fmt: skip
    assert given.exit_code == 0
    wrong = run("calibrate", "compass", job, "--from", swing, "--bearings", "1,2,3")
    assert wrong.exit_code == 2
    assert "pressed 9 times" in wrong.stderr


def test_a_plane_is_measured_and_stored_with_its_uncertainty(job: Path, recordings: Path) -> None:
    run("calibrate", "compass", job, "--from", recordings / "compass.sweep")
    done = run("plane", job, "south roof", "--from", recordings / "plane.sweep", "--json", "-")
    assert done.exit_code == 0
    document = json.loads(done.stdout)
    assert document["tilt_deg"] == pytest.approx(30, abs=1)
    assert document["azimuth_deg"] == pytest.approx(180, abs=2)
    planes = read_job(job).planes
    assert [p.name for p in planes] == ["south roof"]
    assert planes[0].tilt_deg == pytest.approx(document["tilt_deg"], abs=0.01)
    assert "tilt_error_deg" in (job / "job.toml").read_text()
    assert run("plane", job, "x", "--from", recordings / "half.sweep").exit_code == 3


class _Clock:
    """Time that passes only when the link hands out bytes."""

    def __init__(self, start: dt.datetime = DEFAULT_START) -> None:
        self.now_s, self.start = 0.0, start

    def seconds(self) -> float:
        return self.now_s

    def utc(self) -> dt.datetime:
        return self.start + dt.timedelta(seconds=self.now_s)

    def sleep(self, seconds: float) -> None:
        self.now_s += seconds


class _Link:
    """Plays a simulated task."""

    def __init__(self, simulated: Any, clock: _Clock) -> None:
        self.chunks, self.clock, self.sent = list(simulated.chunks), clock, b""
        self.url = "played"

    def start(self, record: Callable[[bytes], Taken]) -> None:
        self.record = record

    def read(self) -> list[Taken]:
        return [self.record(self.come())]

    def stop(self) -> list[Taken]:
        return []

    def come(self) -> bytes:
        if not self.chunks:
            self.clock.now_s += 0.1
            return b""
        until, got = self.clock.now_s + 0.1, b""
        while self.chunks and self.chunks[0][0] <= until:
            got += self.chunks.pop(0)[1]
        self.clock.now_s = until
        return got

    def write(self, data: bytes) -> None:
        self.sent += data

    def close(self) -> None:
        pass


class _Keyboard:
    def read(self) -> str:
        return ""


def test_a_live_tumble_says_where_to_turn_and_ends_when_it_has_enough(job: Path) -> None:
    clock = _Clock()
    link = _Link(simulate_tumble(sensor=BOARD, started=minutes(0), streams="MG"), clock)
    said: list[str] = []
    path = record_guided(
        read_job(job), "compass", "compass", lambda: link, clock, said.append, _Keyboard(),
    )  # fmt: skip
    assert any("faces the ground" in line for line in said)
    assert "enough" in said[-2]
    assert b"$PHLGU,DONE" in link.sent
    assert clock.now_s < 41
    assert run("calibrate", "compass", job, "--from", path).exit_code == 0
    assert path.with_suffix(".json").exists()


def test_a_live_bearing_by_the_sun_keeps_saying_not_to_look(job: Path) -> None:
    from logger.survey.guided import HOW

    assert "never look at the sun" in HOW["sun"][0].lower()
    clock = _Clock(minutes(-100))
    link = _Link(simulate_bearing(sensor=BOARD, started=minutes(-100), streams="MG"), clock)
    said: list[str] = []
    record_guided(read_job(job), "bearing", "sun", lambda: link, clock, said.append, _Keyboard())
    lines = [line for line in said if "held still" in line or "moving" in line]
    assert lines
    assert all("never look at the sun" in line for line in lines)
    assert "3 pressed" in lines[-1]
    assert Guide("sun").enough is False


def test_a_port_that_stays_silent_is_told_each_second_and_leaves_nothing_behind(job: Path) -> None:
    clock, said = _Clock(), list[str]()
    silent = _Link(SimpleNamespace(chunks=()), clock)
    with pytest.raises(DeviceError, match="not one byte in 10 s"):
        record_guided(
            read_job(job), "level", "level", lambda: silent, clock, said.append, _Keyboard(),
        )  # fmt: skip
    assert any("nothing from the board for 5 s" in line for line in said)
    assert not any(line.startswith("kept") for line in said)
    assert not list((job / "calibrations").glob("*.sweep"))


def test_a_bearing_by_the_sun_at_night_is_refused_before_anybody_sights(job: Path) -> None:
    night = _Clock(dt.datetime(2026, 5, 14, 23, 0, tzinfo=dt.UTC))

    def never() -> _Link:
        raise AssertionError("the port was opened")

    with pytest.raises(InputError, match="below the horizon at this time and place"):
        record_guided(
            read_job(job), "bearing", "sun", never, night, lambda _: None, _Keyboard(),
        )  # fmt: skip


GGA = b"$GPGGA,081231,4603.0,N,01430.6,E,1,08,0.9,300.0,M,46.9,M,,"
WRONG = {
    "no sentence: another speed or device": b"\xf8\x00\x9c\xff\x1e" * 20,
    "none with a heading: another device": framed(GGA[1:]),
}


@pytest.mark.parametrize("words", WRONG)
def test_what_is_no_board_is_told_while_it_sends_and_is_no_calibration(
    job: Path, words: str
) -> None:
    clock, said = _Clock(), list[str]()
    other = _Link(SimpleNamespace(chunks=[(0.2 * n, WRONG[words]) for n in range(60)]), clock)
    with pytest.raises(DeviceError, match=words):
        record_guided(
            read_job(job), "compass", "compass", lambda: other, clock, said.append, _Keyboard(),
            seconds_s=6.0,
        )  # fmt: skip
    assert any(line.endswith(words) for line in said)
    assert not any("nothing from the board" in line or "held still" in line for line in said)
    (kept,) = (job / "calibrations").glob("*.sweep")
    later = run("calibrate", "compass", job, "--from", kept)
    assert later.exit_code == 3
    assert words.split(":")[0] in later.stderr


def test_an_end_before_the_board_spoke_is_no_calibration(job: Path) -> None:
    clock = _Clock()
    silent = _Link(SimpleNamespace(chunks=()), clock)
    with pytest.raises(DeviceError, match="nothing came from the board"):
        record_guided(
            read_job(job), "level", "level", lambda: silent, clock, lambda _: None, _Keyboard(),
            seconds_s=2.0,
        )  # fmt: skip
    assert not list((job / "calibrations").glob("*.sweep"))
