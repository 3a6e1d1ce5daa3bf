"""Sweeps that are killed, resumed, or run beside each other lose nothing and mix nothing up."""

import contextlib
import json
import os
import subprocess
import sys
import time
from pathlib import Path

from logger.recording import read_recording

COMMAND = Path(sys.executable).with_name("horizon-logger")


def points(job, name):
    return sorted((job / "sweeps" / name).glob("*.sweep"))


def iter_until(lines, words):
    """Lines up to the first with these words, or to the end."""
    for line in lines:
        yield line
        if words in line:
            return


@contextlib.contextmanager
def sweeping(job, point, port):
    """A sweep as a process of its own, with something recorded."""
    process = subprocess.Popen(
        [str(COMMAND), "sweep", str(job), point, "--port", port],
        stdin=subprocess.DEVNULL, stdout=subprocess.DEVNULL, stderr=subprocess.PIPE,
        encoding="utf-8",
    )  # fmt: skip
    try:
        said = list(iter_until(process.stderr, " 2 s  azimuth"))
        assert process.poll() is None, "".join(said)
        yield process
    finally:
        process.kill()
        process.communicate()


def test_a_killed_sweep_says_so_is_named_by_the_next_and_both_are_the_point(
    run, installed, board, job
):
    with (
        board("--tcp", "127.0.0.1:0", "--no-iron") as port,
        sweeping(job, "spot", port) as process,
    ):
        process.kill()
        process.wait()
    (first,) = points(job, "spot")
    assert read_recording(first).problems[-1].startswith("not sealed")
    os.utime(first, (time.time() - 60,) * 2)  # nobody writes to it any more
    with board("--tcp", "127.0.0.1:0", "--no-iron", "--speed", 0, "--once") as port:
        done = installed("sweep", job, "spot", "--port", port, "--json", "-")
    assert done.code == 4, done.err
    assert "compass calibration" in done.err
    second = points(job, "spot")[1]
    assert read_recording(second).header["continues"] == first.name
    listed = json.loads(done.out)["recordings"]
    assert [(r["file"], r["sealed"]) for r in listed] == [(first.name, False), (second.name, True)]
    replayed = run("replay", first, "--job", job, "--json", "-")
    assert replayed.code in (0, 4)
    assert "not sealed: the recording was interrupted" in replayed.err


def test_two_sweeps_of_one_point_at_once_and_a_replay_during_them(run, board, job):
    with (
        board("--tcp", "127.0.0.1:0", "--no-iron") as first_port,
        board("--tcp", "127.0.0.1:0", "--no-iron", "--seed", 1) as second_port,
        sweeping(job, "east", first_port),
        sweeping(job, "east", second_port),
    ):
        for path in points(job, "east"):
            looked_at = run("replay", path, "--job", job, "--json", "-")
            assert looked_at.code in (0, 4), looked_at.err
    boards = points(job, "east")
    assert len(boards) == 2
    serials = {
        next(raw.split(b",")[3] for _, raw in read_recording(path).sentences if b"PHLGI" in raw)
        for path in boards
    }
    assert serials == {b"V000", b"V001"}
    assert not any("unreadable" in p for path in boards for p in read_recording(path).problems)
