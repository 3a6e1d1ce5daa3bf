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
        "new", folder, "--latitude", 46.05, "--longitude", 14.51, "--elevation", 310,
        "--plane", "roof=35,180",
    )  # fmt: skip
    assert made.code == 0, made.err
    return folder


@pytest.fixture(scope="session")
def ridge_recording(run, board, tmp_path_factory):
    """A sweep of the smooth ridge by a board without iron, recorded over TCP; with its truth."""
    folder = tmp_path_factory.mktemp("ridge")
    truth = folder / "truth.csv"
    run("new", folder / "job", "--latitude", 46.05, "--longitude", 14.51, "--elevation", 310)
    with board(
        "--tcp", "127.0.0.1:0", "--no-iron", "--speed", 0, "--once", "--truth", truth
    ) as port:
        swept = run("sweep", folder / "job", "spot", "--port", port)
    assert swept.code == 0, swept.err
    (recording,) = (folder / "job" / "sweeps" / "spot").glob("*.sweep")
    return recording, truth
