"""The installed command over real ports: a pseudo-terminal as board, another one as screen."""

import json
import os
import re
import select
import subprocess
import sys
import time
from collections.abc import Callable
from contextlib import AbstractContextManager
from pathlib import Path
from typing import Any

import pytest

from logger.access import Plane
from logger.job import create_job

from .conftest import SITE

pytestmark = pytest.mark.skipif(sys.platform == "win32", reason="Windows has no pty")

COMMAND = str(Path(sys.executable).with_name("horizon-logger"))
TIMEOUT_S = 120.0
Board = Callable[..., AbstractContextManager[str]]
Run = Callable[..., Any]
QUICK = ("--no-iron", "--speed", "0", "--once", "--sector", "100,160", "--hand", "brisk")


class Terminal:
    """A terminal of a size in which one command runs."""

    def __init__(self, columns: int, rows: int, *arguments: object, **environment: str) -> None:
        import fcntl
        import pty
        import struct
        import termios

        self._ours, theirs = pty.openpty()
        fcntl.ioctl(theirs, termios.TIOCSWINSZ, struct.pack("HHHH", rows, columns, 0, 0))
        self.text = ""
        self._process = subprocess.Popen(
            [COMMAND, *map(str, arguments)],
            stdin=theirs,
            stdout=theirs,
            stderr=theirs,
            env={**os.environ, "TERM": "xterm", "COLUMNS": "", "LINES": "", **environment},
            start_new_session=True,
        )
        os.close(theirs)

    def until(self, words: str) -> str:
        """Everything written from now on until these words come."""
        start = len(self.text)
        end = time.monotonic() + TIMEOUT_S
        while words not in self.text[start:]:
            assert time.monotonic() < end, f"{words!r} never came:\n{self.text[-2000:]}"
            if not self._read():
                assert words in self.text[start:], f"ended before {words!r}:\n{self.text[-2000:]}"
        return self.text[start:]

    def type(self, text: str) -> None:
        os.write(self._ours, text.encode())

    def name_nothing(self) -> None:
        """Once the screen is given back: Enter, where a name is asked for."""
        self.until("\x1b[?1049l")
        self.type("\n")

    def wait(self, enter_after: tuple[str, ...] = ()) -> int:
        """Let it come to its end, Enter being pressed where it asks so."""
        end = time.monotonic() + TIMEOUT_S
        while self._read():
            assert time.monotonic() < end, f"it goes on for ever:\n{self.text[-2000:]}"
            if enter_after and self.text.endswith(enter_after):
                self.type("\n")
        os.close(self._ours)
        return self._process.wait(timeout=TIMEOUT_S)

    def _read(self) -> bool:
        if not select.select([self._ours], [], [], TIMEOUT_S)[0]:
            self._process.kill()
            raise AssertionError(f"nothing more came:\n{self.text[-2000:]}")
        try:
            data = os.read(self._ours, 65536)
        except OSError:  # the other side is closed
            return False
        self.text += data.decode("utf-8", "replace")
        return bool(data)


@pytest.fixture
def job(tmp_path: Path) -> Path:
    planes = (Plane("roof", 35.0, 180.0), Plane("wall", 90.0, 180.0))
    people = {"surveyor": "A. Example"}
    return create_job(tmp_path / "barn", SITE, planes=planes, people=people).folder


def test_a_narrow_terminal_without_colour_shows_the_screen_and_then_the_answer(
    job: Path, board: Board, installed: Run
) -> None:
    with board("--pty", *QUICK, "--speed", "30") as port:
        terminal = Terminal(
            60, 24, "sweep", job, "eave", "--port", port, "--calibrate", "none", NO_COLOR="1"
        )
        assert "Never look at the sun" in terminal.until("feet still; Enter starts")
        terminal.type("\n")
        terminal.until("recording 0:")
        # The screen is given back before the answer is printed.
        terminal.until("\x1b[?1049l")
        offered = terminal.until("Its name (Enter: no more names): ")
        terminal.type("row of limes\n")
        terminal.until("d deciduous")
        terminal.type("d\n")
        terminal.type("\n")
        code = terminal.wait()
    assert re.search(r"eave, \d+ to \d+°: [\d.]+ % of the year's light is blocked", offered)
    assert "named row of limes, deciduous" in installed("edit", "list", job).out
    assert code == 4  # sixty degrees are not the sky
    after = terminal.text.split("\x1b[?1049l")[-1]
    assert "9 to 15 h solar time" in " ".join(after.split())
    assert "not fit for use - sun's range measured" in after
    assert "\x1b[1;7;31m" not in terminal.text
    assert "\x1b[33m" not in terminal.text


def test_keys_typed_on_the_terminal_end_up_in_recording_and_job(
    job: Path, board: Board, installed: Run
) -> None:
    with board("--pty", "--no-iron", "--speed", "1", "--once") as port:
        terminal = Terminal(80, 24, "sweep", job, "eave", "--port", port, "--calibrate", "none")
        terminal.until("Enter starts")
        terminal.type("\n")
        terminal.until("Hz")
        terminal.type("plime tree\rd")
        terminal.until("held still")
        terminal.type("r")
        terminal.until("sweep that part again")
        terminal.type("q")
        terminal.name_nothing()
        terminal.wait()
    (recording,) = (job / "sweeps" / "eave").glob("*.sweep")
    lines = recording.read_text().splitlines()
    notes = [json.loads(line.split(" ", 2)[2]) for line in lines if line.startswith("n ")]
    assert {"key": "mark"} in notes
    assert any(n.get("label") == "lime tree" and n["kind"] == "deciduous" for n in notes)
    listed = installed("edit", "list", job).out
    assert listed.startswith(f"eave: {recording.name}: ")
    assert "s excluded (A. Example" in listed
    assert "swept again at once" in listed


def test_two_points_by_the_trigger_alone_nothing_typed_nothing_asked(
    job: Path, board: Board, installed: Run
) -> None:
    with board("--tcp", "127.0.0.1:0", *QUICK, "--do", "sweep,sweep", "--opening-trigger") as port:
        done = installed(
            "sweep", job, "eave", "gable", "--port", port, "--json", "-", "--stance", "ground",
            "--sight-height", 1.6, "--module-height", 4.5, "--leaf", "bare",
        )  # fmt: skip
    assert done.code == 4, done.err
    assert [p["point"] for p in json.loads(done.out)["points"]] == ["eave", "gable"]
    assert done.err.index("the trigger opens eave") < done.err.index("the trigger opens gab")
    told = (
        "s after it was opened: Whether the sun is in sight from 9 to 15 h solar time is not known"
    )
    assert told in done.err
    assert "Hz" in done.err  # a line a second
    for none in ("Traceback", "?", "\x1b"):
        assert none not in done.err
    for name in ("eave", "gable"):
        assert (job / "results" / f"{name}.json").exists()
        (recording,) = (job / "sweeps" / name).glob("*.sweep")
        header = json.loads(recording.read_text().splitlines()[1][2:])
        assert (header["stance"], header["leaf"]) == ("ground", "bare")
        assert (header["sight_height_m"], header["module_height_m"]) == (1.6, 4.5)
    assert "sight_height_m = 1.6" in (job / "job.toml").read_text()


def test_a_fresh_job_on_a_terminal_is_led_through_calibration_to_the_sweep(
    job: Path, board: Board, installed: Run
) -> None:
    tasks = ("--do", "compass,level,bearing,sweep", "--sector", "100,160")
    with board("--tcp", "127.0.0.1:0", "--speed", "0", "--once", *tasks) as port:
        terminal = Terminal(80, 24, "sweep", job, "eave", "--port", port)
        terminal.until("Calibrate it? [Y/n]")
        terminal.type("\n")
        terminal.until("Calibrate it? [Y/n]")
        terminal.type("\n")
        terminal.until("none [none]:")
        terminal.type("63\n")
        start = len(terminal.text)
        for step in ("compass", "level", "bearing of a target"):
            terminal.until(f"Next: {step}; Enter starts")
            terminal.type("\n")
        terminal.until("feet still; Enter starts")
        walked = terminal.text[start:]
        terminal.type("\n")
        terminal.name_nothing()
        code = terminal.wait()
    for step in ("Step 1 of 4. Compass", "Step 2 of 4. Level", "Step 3 of 4. Bearing"):
        assert step in walked
    assert "Step 4 of 4. The sweep." in walked
    assert code == 4
    quality = json.loads((job / "results" / "eave.json").read_text())["quality"]
    checks = {check["check"]: check["passed"] for check in quality}
    for name in ("compass calibration", "level calibration", "bearing calibration"):
        assert checks[name], name
