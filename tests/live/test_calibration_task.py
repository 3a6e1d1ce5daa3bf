from collections.abc import Callable
from types import SimpleNamespace
from typing import Any

import pytest

from firmware_protocol import framed
from logger.errors import DeviceError
from logger.job import Job
from logger.live.calibration_task import record_calibration

from .conftest import STARTED, Bench

MakeBench = Callable[..., Bench]

GGA = b"$GPGGA,081231,4603.0,N,01430.6,E,1,08,0.9,300.0,M,46.9,M,,"
WRONG = {
    "no sentence: another speed or device": b"\xf8\x00\x9c\xff\x1e" * 20,
    "none with a heading: another device": framed(GGA[1:]),
}


@pytest.mark.parametrize("words", WRONG)
def test_what_is_no_board_is_told_while_it_sends_and_is_no_calibration(
    bench: MakeBench, words: str
) -> None:
    other = bench([(0.2 * n, WRONG[words]) for n in range(60)], [(6.0, "q")])
    with pytest.raises(DeviceError, match=words):
        record_calibration(other.loop, other.job, "compass")
    assert other.display.states[-1].first.endswith(words)
    (kept,) = (other.job.folder / "calibrations").glob("*.sweep")
    assert kept == other.recordings[0]


@pytest.mark.parametrize(("typed", "words"), [("q", "nothing came"), ("", "not one byte")])
def test_a_silent_port_leaves_nothing_behind(bench: MakeBench, typed: str, words: str) -> None:
    silent = bench((), [(2.0, typed)])
    with pytest.raises(DeviceError, match=words):
        record_calibration(silent.loop, silent.job, "level")
    assert not list((silent.job.folder / "calibrations").glob("*.sweep"))
    assert not any(said.startswith("kept") for said in silent.display.said)


def test_a_bearing_by_the_sun_at_night_is_refused_before_anything_is_asked_for(
    run: Callable[..., Any], job: Job, monkeypatch: pytest.MonkeyPatch
) -> None:
    night = SimpleNamespace(utc=lambda: STARTED.replace(hour=23))
    monkeypatch.setattr("logger.cli.board.clock_now", lambda: night)
    done = run("calibrate", "bearing", job.folder, "--sun", "--port", "loop://")
    assert done.code == 3
    assert "below the horizon at this time and place" in done.err
    assert "Before you start" not in done.err
    assert not list(job.folder.glob("calibrations/*"))
