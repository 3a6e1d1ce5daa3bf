#!/usr/bin/env python
"""Kill the recorder at random moments of a 100 Hz sweep and look at what is on the disk.

    python tools/kill_sweeps.py                                200 kills of the capture loop
    python tools/kill_sweeps.py --command --kills 40           of the `sweep` command itself
    taskset -c 0 python tools/kill_sweeps.py --command --kills 30 --load 10 --together 1 --latest 20
                           while ten times as many processes as cores want to run all the time

This process is the board, on a TCP port, and notes when it sent what. SIGKILL leaves the recorder
no chance to clean up. Lost are sentences sent more than a second before the kill that the
recording does not hold. Every recording is then read, decoded and oriented; every fifth is taken
through `horizon-logger replay`.
"""

from __future__ import annotations

import argparse
import contextlib
import itertools
import os
import random
import select
import socket
import subprocess
import sys
import tempfile
import time
from collections import Counter
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

from logger.orientation import Corrections, declination_given, orient
from logger.recording import load_stream
from logger.simulation import BoardSettings, simulate_sweep
from logger.simulation.scenes import scene_named

RATE_HZ = 100
REPLAYED_EVERY = 5
BEHIND_S = 1.0
"""What was sent longer ago than this must be in the recording. [s]"""
CAPTURE = """
import sys
from pathlib import Path
from logger.recording import Capture, RecordingWriter, SystemClock, open_link
path, url = sys.argv[1:]
header = {"started": "2026-05-14T08:12:31.250Z", "point": "killed"}
writer = RecordingWriter(Path(path), header)
capture = Capture(open_link(url), lambda: open_link(url), writer, SystemClock())
while True:
    capture.step()
"""
PROGRAM = "from logger.cli import main; main()"
PLACE = ("--latitude", "46.05", "--longitude", "14.51")


def board_of(seed: int) -> list[tuple[float, bytes]]:
    """A sweep's sentences at 100 Hz, all streams."""
    link = BoardSettings(link_baud=None)
    sweep = simulate_sweep(scene_named("street", seed), seed=seed, rate_hz=RATE_HZ, settings=link)
    return list(sweep.chunks)


@contextlib.contextmanager
def load_of(times: int) -> Iterator[None]:
    """So many times as many processes as cores that never wait."""
    busy = [sys.executable, "-c", "while True: pass"]
    count = times * len(os.sched_getaffinity(0))
    # A session each, as the recorder has: Linux shares its time between sessions first.
    processes = [subprocess.Popen(busy, start_new_session=True) for _ in range(count)]
    try:
        yield
    finally:
        for process in processes:
            process.kill()
            process.wait()


def replayed(path: Path) -> None:
    """Take one through the command line; a sweep of a second may hold too little for a result."""
    command = [sys.executable, "-c", PROGRAM, "replay", str(path), *PLACE, "--json", "-"]
    done = subprocess.run(command, capture_output=True, text=True, check=False)
    if done.returncode not in (0, 3, 4) or "Traceback" in done.stderr:
        raise SystemExit(f"{path}: {done.stderr}")
    if "not sealed" not in done.stderr:
        raise SystemExit(f"{path}: replayed in silence: {done.stderr}")


def play(
    host: socket.socket, chunks: list[tuple[float, bytes]], after_s: float
) -> list[tuple[float, bytes]]:
    """Be the board for so long; what it sent, and when."""
    sent: list[tuple[float, bytes]] = []
    began = time.monotonic()
    with contextlib.suppress(OSError):
        for t, text in itertools.cycle(chunks):
            if t > after_s:
                break
            time.sleep(max(began + t - time.monotonic(), 0.0))
            host.sendall(text)
            now = time.monotonic()
            sent += [(now, line) for line in text.split(b"\r\n")[:-1]]
    return sent


def one_kill(
    number: int, after_s: float, chunks: list[tuple[float, bytes]], folder: Path, command: bool
) -> tuple[int, int, float, float]:
    """Sentences due, of these lost; how far behind at the kill, and when they were stamped. [s]."""
    path, job = folder / f"{number}.sweep", folder / f"job{number}"
    with socket.create_server(("127.0.0.1", 0)) as listener:
        url = f"socket://127.0.0.1:{listener.getsockname()[1]}"
        arguments = [CAPTURE, str(path), url]
        if command:
            new = [sys.executable, "-c", PROGRAM, "new", str(job), *PLACE]
            subprocess.run(new, check=True, capture_output=True)
            arguments = [PROGRAM, "sweep", str(job), "yard", "--port", url]
        recorder = subprocess.Popen(
            [sys.executable, "-c", *arguments],
            stdin=subprocess.DEVNULL, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL,
            start_new_session=True,
        )  # fmt: skip
        host, _ = listener.accept()
        host.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
        # The board's time counts from the recorder's first question: it has begun by then.
        select.select([host], [], [], 60.0)
        sent = play(host, chunks, after_s)
        if recorder.poll() is not None:
            raise SystemExit(f"{number}: the recorder ended by itself, code {recorder.returncode}")
        recorder.kill()
        killed = time.monotonic()
        recorder.wait()
        host.close()
    if command:
        (path,) = (job / "sweeps" / "yard").glob("*.sweep")
    recording, stream = load_stream(path)
    if recording.sealed or "not sealed" not in " ".join(recording.problems):
        raise SystemExit(f"{path}: does not say that it was interrupted")
    fields = [line.split(b" ", 2) for line in path.read_bytes().splitlines()]
    recorded = {field[2]: float(field[1]) for field in fields if field[0] == b"s"}
    # An identity comes every 5 s in the same words, so it marks no place.
    sent = [(when, line) for when, line in sent if b"PHLGI" not in line]
    due = [line for when, line in sent if when < killed - BEHIND_S]
    lost = sum(line not in recorded for line in due)
    missing = [when for when, line in sent if line not in recorded]
    sight = orient(stream.samples, Corrections(declination_given(4.5))).sight
    if len(sight) != len(stream.samples):
        raise SystemExit(f"{path}: samples lost on the way")
    if number % REPLAYED_EVERY == 0:
        replayed(path)
    # Two clocks that both run evenly: the quickest reception tells how they stand.
    stamped = [recorded[line] - when for when, line in sent if line in recorded]
    late_s = max(stamped, default=0.0) - min(stamped, default=0.0)
    return len(due), lost, killed - missing[0] if missing else 0.0, late_s


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__.split("\n")[0])
    parser.add_argument("--kills", type=int, default=200)
    parser.add_argument("--command", action="store_true", help="Kill `horizon-logger sweep`.")
    parser.add_argument("--together", type=int, default=2, help="Recorders at a time.")
    parser.add_argument("--load", type=int, default=0, help="Busy processes for each core.")
    parser.add_argument("--latest", type=float, default=6.0, help="Latest moment of a kill, s.")
    parser.add_argument("--seed", type=int, default=1)
    wanted = parser.parse_args()
    rng = random.Random(wanted.seed)
    chunks = board_of(1)
    moments = [rng.uniform(0.2, wanted.latest) for _ in range(wanted.kills)]
    seen: Counter[str] = Counter()
    behind_s: list[float] = []
    stamped_late_s: list[float] = []
    with (
        tempfile.TemporaryDirectory() as tmp,
        load_of(wanted.load),
        ThreadPoolExecutor(wanted.together) as pool,
    ):
        jobs = [
            pool.submit(one_kill, number, moment, chunks, Path(tmp), wanted.command)
            for number, moment in enumerate(moments)
        ]
        for number, job in enumerate(jobs, start=1):
            due, lost, at_kill_s, late_s = job.result()
            seen.update(due=due, lost=lost, with_loss=lost > 0)
            behind_s.append(at_kill_s)
            stamped_late_s.append(late_s)
            if number % 10 == 0:
                print(f"{number} kills, {seen['lost']} of {seen['due']} lost", flush=True)
    print(
        f"{wanted.kills} kills: {seen['due']} sentences sent more than {BEHIND_S:g} s before, "
        f"{seen['lost']} lost in {seen['with_loss']} recordings; at most {max(behind_s):.2f} s "
        f"behind at a kill, no sentence read more than {max(stamped_late_s):.2f} s late; "
        "every recording opens and says that it was cut"
    )
    return 1 if seen["lost"] else 0


if __name__ == "__main__":
    sys.exit(main())
