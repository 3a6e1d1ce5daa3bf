#!/usr/bin/env python
"""Kill the recorder at random moments of a 100 Hz sweep and look at what is on the disk.

    python tools/kill_sweeps.py                      200 kills of the capture loop
    python tools/kill_sweeps.py --command --kills 40   of the `sweep` command itself

This process is the board, on a TCP port; it notes when it sent what, and the recorder tells when
it has written how much. SIGKILL leaves it no chance to clean up. Lost are sentences written more
than a second before the kill that the recording does not hold. Of the `sweep` command, which tells
nothing, the file is watched instead: lost are the lines it had held more than a second before.
Every recording is then read, decoded and oriented; every fifth is taken through
`horizon-logger replay`.
"""

from __future__ import annotations

import argparse
import contextlib
import itertools
import random
import socket
import subprocess
import sys
import tempfile
import time
from collections import Counter
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

from logger.orientation import Corrections, declination_given, orient
from logger.recording import read_recording
from logger.simulation import BoardSettings, simulate_sweep
from logger.simulation.scenery import scene_named
from logger.survey.points import load_sweep

RATE_HZ = 100
REPLAYED_EVERY = 5
CAPTURE = """
import os, sys, time
from pathlib import Path
from logger.recording import Capture, RecordingWriter, SystemClock, open_link
path, url = sys.argv[1:]
header = {"started": "2026-05-14T08:12:31.250Z", "point": "killed"}
writer = RecordingWriter(Path(path), header)
capture = Capture(open_link(url), lambda: open_link(url), writer, SystemClock(), say=print)
written = 0
while True:
    capture.step()
    if capture.builder.accepted > written:
        written = capture.builder.accepted
        os.write(1, b"%.4f %d\\n" % (time.monotonic(), written))
"""
PROGRAM = "from logger.cli import main; main()"


def board_of(seed: int) -> list[tuple[float, bytes]]:
    """A sweep's sentences at 100 Hz, all streams."""
    link = BoardSettings(link_baud=None)
    sweep = simulate_sweep(scene_named("street", seed), seed=seed, rate_hz=RATE_HZ, settings=link)
    return list(sweep.chunks)


def replayed(path: Path) -> None:
    """Take one through the command line; a sweep of a second may hold too little for a result."""
    place = ["--latitude", "46.05", "--longitude", "14.51", "--altitude", "310"]
    command = [sys.executable, "-c", PROGRAM, "replay", str(path), *place, "--json", "-"]
    done = subprocess.run(command, capture_output=True, text=True, check=False)
    if done.returncode not in (0, 3, 4) or "Traceback" in done.stderr:
        raise SystemExit(f"{path}: {done.stderr}")
    if "not sealed" not in done.stderr:
        raise SystemExit(f"{path}: replayed in silence: {done.stderr}")


def one_kill(
    number: int, after_s: float, chunks: list[tuple[float, bytes]], folder: Path, command: bool
) -> tuple[int, int, float]:
    """Sentences due, of these lost, and the age of the newest one kept when the kill came. [s]."""
    with socket.create_server(("127.0.0.1", 0)) as listener:
        url = f"socket://127.0.0.1:{listener.getsockname()[1]}"
        path = folder / f"{number}.sweep"
        if command:
            job = folder / f"job{number}"
            place = ["--latitude", "46.05", "--longitude", "14.51"]
            subprocess.run([sys.executable, "-c", PROGRAM, "new", str(job), *place], check=True,
                           capture_output=True)  # fmt: skip
            arguments = [PROGRAM, "sweep", str(job), "spot", "--port", url]
        else:
            arguments = [CAPTURE, str(path), url]
        recorder = subprocess.Popen(
            [sys.executable, "-c", *arguments],
            stdin=subprocess.DEVNULL, stdout=subprocess.DEVNULL if command else subprocess.PIPE,
            stderr=subprocess.DEVNULL,
        )  # fmt: skip
        host, _ = listener.accept()
        sent: list[tuple[float, bytes]] = []
        held: list[tuple[float, int]] = []
        began = time.monotonic()
        with contextlib.suppress(OSError):
            for t, text in itertools.cycle(chunks):
                wait = began + t - time.monotonic()
                if t > after_s:
                    break
                if wait > 0:
                    time.sleep(wait)
                host.sendall(text)
                now = time.monotonic()
                if command:
                    files = (folder / f"job{number}" / "sweeps" / "spot").glob("*.sweep")
                    held += [(now, found.read_bytes().count(b"\n")) for found in files]
                sent += [(now, line) for line in text.split(b"\r\n")[:-1]]
        recorder.kill()
        killed = time.monotonic()
        told, _ = recorder.communicate()
        host.close()
    if command:
        made = list((folder / f"job{number}" / "sweeps" / "spot").glob("*.sweep"))
        if not made:  # killed before it had begun to record
            return 0, 0, 0.0
        (path,) = made
    read = load_sweep(path)
    if read.recording.sealed or "not sealed" not in " ".join(read.recording.problems):
        raise SystemExit(f"{path}: does not say that it was interrupted")
    recorded = read_recording(path).sentences
    kept = {raw for _, raw in recorded}
    # Opening a port throws away what had come before: the board began a moment earlier.
    # Its identity comes every 5 s in the same words, so it marks no place.
    marks = (i for i, (_, line) in enumerate(sent) if line in kept and b"PHLGI" not in line)
    sent = sent[next(marks, len(sent)) :]
    if command:
        count = max((lines for when, lines in held if when < killed - 1.0), default=0)
        due = [b""] * count
        lost = max(count - path.read_bytes().count(b"\n"), 0)
    else:
        reports = [line.split() for line in told.splitlines(keepends=True) if b"\n" in line]
        count = max((int(n) for t, n in reports if float(t) < killed - 1.0), default=0)
        due = [line for _, line in sent[:count]]
        lost = max(count - len(recorded), 0)
        lost += sum(line not in kept for line in due)
    newest = max((when for when, line in sent if line in kept), default=began)
    samples = read.stream.samples
    oriented = orient(samples, Corrections(declination_given(4.5)))
    if len(oriented.sight) != len(samples):
        raise SystemExit(f"{path}: samples lost on the way")
    if number % REPLAYED_EVERY == 0:
        replayed(path)
    return len(due), lost, killed - newest


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__.split("\n")[0])
    parser.add_argument("--kills", type=int, default=200)
    parser.add_argument("--command", action="store_true", help="Kill `horizon-logger sweep`.")
    parser.add_argument("--together", type=int, default=2, help="Recorders at a time.")
    parser.add_argument("--seed", type=int, default=1)
    wanted = parser.parse_args()
    rng = random.Random(wanted.seed)
    chunks = board_of(1)
    moments = [rng.uniform(0.2, 6.0) for _ in range(wanted.kills)]
    seen: Counter[str] = Counter()
    oldest = 0.0
    with tempfile.TemporaryDirectory() as tmp, ThreadPoolExecutor(wanted.together) as pool:
        jobs = [
            pool.submit(one_kill, number, moment, chunks, Path(tmp), wanted.command)
            for number, moment in enumerate(moments)
        ]
        for number, job in enumerate(jobs, start=1):
            due, lost, age_s = job.result()
            seen.update(due=due, lost=lost, with_loss=lost > 0)
            oldest = max(oldest, age_s)
            if number % 20 == 0:
                print(f"{number} kills, {seen['lost']} of {seen['due']} lost", flush=True)
    print(
        f"{wanted.kills} kills: {seen['due']} sentences written more than 1 s before, "
        f"{seen['lost']} lost in {seen['with_loss']} recordings; the newest sentence kept was at "
        f"most {oldest:.2f} s old at the kill; every recording opens and says that it was cut"
    )
    return 1 if seen["lost"] else 0


if __name__ == "__main__":
    sys.exit(main())
