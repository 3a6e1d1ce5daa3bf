"""Processes that commands start: they run nothing of a mailed folder, and end when they should."""

import os
import shutil
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest

from logger.survey.demo import shipped_survey
from logger.survey.workers import in_order

COMMAND = Path(sys.executable).with_name("horizon-logger")
TIMEOUT_S = 120

posix = pytest.mark.skipif(sys.platform == "win32", reason="signals as on POSIX")


@pytest.fixture
def mailed(tmp_path):
    """A job as it came by mail, with Python files that say so when they are run."""
    job = shutil.copytree(shipped_survey(), tmp_path / "mailed")
    shutil.rmtree(job / "sweeps" / "walled garden")
    for name in ("json", "numpy", "pickle", "multiprocessing", "signal", "logger", "sitecustomize"):
        text = f"open({str(tmp_path / 'ran')!r}, 'a').write({name!r})\n"
        (job / f"{name}.py").write_text(text, encoding="utf-8")
    return job


@pytest.mark.parametrize(
    "arguments",
    [
        ("report", "."),
        ("replay", "--batch", ".", "--processes", "2", "--set", "draws=20"),
    ],
)
def test_no_python_file_of_a_mailed_job_is_run(installed, mailed, arguments):
    done = installed(*arguments, cwd=mailed)
    assert done.code == 0, done.err
    assert not (mailed.parent / "ran").exists()


@pytest.fixture
def batch():
    """A batch of two jobs on two processes, its workers at work."""
    arguments = [
        "replay",
        "--batch",
        str(shipped_survey().parent),
        "--processes",
        "2",
        "--json",
        "-",
    ]
    process = subprocess.Popen(
        [str(COMMAND), *arguments, "--set", "draws=100000"],
        stdout=subprocess.DEVNULL,
        stderr=subprocess.PIPE,
        encoding="utf-8",
        start_new_session=True,  # what a terminal sends to all of a group goes to this one alone
    )
    yield process
    process.kill()
    process.communicate(timeout=TIMEOUT_S)


def workers_of(process):
    """Their process ids, as soon as both are there."""
    while process.poll() is None:
        listed = subprocess.run(
            ["ps", "-e", "-ww", "-o", "pid=,ppid=,args="],
            capture_output=True,
            encoding="utf-8",
            check=True,
        ).stdout
        rows = [line.split(None, 2) for line in listed.splitlines()]
        found = [int(r[0]) for r in rows if int(r[1]) == process.pid and "spawn_main" in r[2]]
        if len(found) == 2:
            return found
    raise AssertionError(process.stderr.read())


def are_gone(workers, within_s):
    end = time.monotonic() + within_s
    while time.monotonic() < end:
        if not any(Path(f"/proc/{pid}").exists() for pid in workers):
            return True
    return False


@posix
@pytest.mark.skipif(not Path("/proc").exists(), reason="processes are looked up in /proc")
def test_ctrl_c_ends_a_batch_at_once_and_without_a_traceback(batch):
    workers = workers_of(batch)
    os.killpg(batch.pid, signal.SIGINT)
    _, told = batch.communicate(timeout=TIMEOUT_S)
    assert batch.returncode == 130
    assert "Traceback" not in told
    assert told.strip().endswith("interrupted")
    assert are_gone(workers, 2)


@posix
@pytest.mark.skipif(not Path("/proc").exists(), reason="processes are looked up in /proc")
def test_workers_end_with_the_process_that_started_them(batch):
    workers = workers_of(batch)
    batch.kill()
    assert are_gone(workers, 20)


def squared(number):
    if number == 3:
        os.kill(os.getpid(), signal.SIGTERM)
    return number**2


@posix
def test_what_a_killed_process_worked_on_is_told_in_its_place_and_the_rest_is_done():
    assert list(in_order(squared, range(5), 2, lambda number, _: -number)) == [0, 1, 4, -3, 16]
