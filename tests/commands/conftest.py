"""Run the installed command, and virtual boards for it to talk to, as separate processes."""

import contextlib
import os
import subprocess
import sys
from dataclasses import dataclass
from pathlib import Path

import pytest

COMMAND = Path(sys.executable).with_name("horizon-logger")
TIMEOUT_S = 120


@dataclass(frozen=True)
class Ran:
    """How a command ended."""

    code: int
    out: str
    err: str


@dataclass(frozen=True)
class Surveyed:
    """A job, its one recording, and the true skyline as CSV."""

    job: Path
    recording: Path
    truth: Path


@pytest.fixture(scope="session")
def run():
    """Run the installed command; never a traceback, whatever the exit code."""

    def call(*arguments, cwd=None, text_in=None):
        done = subprocess.run(
            [str(COMMAND), *map(str, arguments)],
            input=text_in,
            stdin=subprocess.DEVNULL if text_in is None else None,
            capture_output=True,
            encoding="utf-8",
            timeout=TIMEOUT_S,
            cwd=cwd,
            check=False,
        )
        assert "Traceback" not in done.stderr, done.stderr
        assert "Warning" not in done.stderr, done.stderr  # of Python's or of a library's
        return Ran(done.returncode, done.stdout, done.stderr)

    return call


@contextlib.contextmanager
def virtual_board(*arguments):
    """A virtual board as a process of its own; yields what to give to --port."""
    process = subprocess.Popen(
        [str(COMMAND), "simulate", *map(str, arguments)],
        stdin=subprocess.DEVNULL,
        stdout=subprocess.PIPE,
        stderr=subprocess.DEVNULL,
        encoding="utf-8",
        env={**os.environ, "PYTHONUNBUFFERED": "1"},
    )
    try:
        yield process.stdout.readline().strip()
    finally:
        process.terminate()
        process.communicate(timeout=TIMEOUT_S)


@pytest.fixture(scope="session")
def board():
    """See `virtual_board`."""
    return virtual_board


@pytest.fixture
def job(run, tmp_path):
    """A fresh job."""
    folder = tmp_path / "job"
    made = run(
        "new", folder, "--latitude", 46.05, "--longitude", 14.51, "--altitude", 310,
        "--plane", "roof=35,180",
    )  # fmt: skip
    assert made.code == 0, made.err
    return folder


@pytest.fixture(scope="session")
def ridge(run, board, tmp_path_factory):
    """A calibrated sweep of the smooth ridge, board without iron, over TCP; with its truth."""
    folder = tmp_path_factory.mktemp("ridge")
    job, truth = folder / "job", folder / "truth.csv"
    run("new", job, "--latitude", 46.05, "--longitude", 14.51, "--altitude", 310)
    with board(
        "--tcp", "127.0.0.1:0", "--do", "compass,sweep", "--no-iron", "--speed", 0, "--once",
        "--truth", truth,
    ) as port:  # fmt: skip
        calibrated = run("calibrate", "compass", job, "--port", port)
        assert calibrated.code == 0, calibrated.err
        swept = run("sweep", job, "spot", "--port", port)
    assert swept.code == 0, swept.err
    (recording,) = (job / "sweeps" / "spot").glob("*.sweep")
    return Surveyed(job, recording, truth)
