#!/usr/bin/env python
"""Flood a port, or let it drip, and see how the commands that read it come to an end.

    python tools/flood_ports.py
    python tools/flood_ports.py noise ports        only runs with these words

A process serves one kind of flood on a TCP port as fast as it is taken. `sweep`, `calibrate` and
`ports` read it, told to stop after 3 s; `sweep` is also stopped by Ctrl-C. Printed for each: how
long after that the recording was closed (negative where it had ended before), the most memory
until then, the exit code and the sentence. Every command must end within 2 s of being told, under
300 MB, in a sentence and an exit code of the program's own; one that ends before it is told must
say that more came than any board sends. Its recording must be sealed, with nothing left out of what
came since it began.
"""

from __future__ import annotations

import os
import re
import select
import signal
import socket
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from itertools import cycle, islice
from pathlib import Path
from typing import IO

from firmware_protocol import Attitude, RawField, RawRate, encode
from logger.recording import read_recording

TOLD_AFTER_S, MOST_LATE_S, MOST_MB = 3.0, 2.0, 300
PROGRAM = "from logger.cli import main; main()"
PLACE = ("--latitude", "46.05", "--longitude", "14.51")
KINDS: dict[str, Callable[[], bytes]] = {
    "sound sentences": lambda: SOUND,
    "noise": lambda: os.urandom(65536),
    "no line ends": lambda: b"A" * 65536,
    "dollars": lambda: b"$" * 65536,
    "one byte a second": lambda: time.sleep(1.0) or b"$",
}
SOUND = b"".join(
    encode(Attitude(n % 65536, 10 * n, 18000, 0, 1180, 1))
    + encode(RawField(n % 65536, 10 * n, -2990, 141, 3752, 2045, 367, -9782))
    + encode(RawRate(n % 65536, 10 * n, -12, 455, 1003, 231))
    for n in range(20_000)
)
STOPS = ("sweep", "sweep, Ctrl-C", "calibrate", "ports")


def serve(kind: str) -> None:
    """Flood whoever connects; the port is printed first, and a line for each who does."""
    listener = socket.create_server(("127.0.0.1", 0))
    print(listener.getsockname()[1], flush=True)
    while True:
        host, _ = listener.accept()
        print("connected", flush=True)
        try:
            while True:
                host.sendall(KINDS[kind]())
        except OSError:
            pass


@contextmanager
def served(kind: str) -> Iterator[tuple[str, IO[str]]]:
    """The address of a port that a flood comes from, and what its server says."""
    command = [sys.executable, __file__, "--serve", kind]
    with subprocess.Popen(command, stdout=subprocess.PIPE, text=True) as server:
        try:
            assert server.stdout is not None
            yield f"socket://127.0.0.1:{server.stdout.readline().strip()}", server.stdout
        finally:
            server.kill()


def command_of(stop: str, job: Path, url: str) -> list[str]:
    seconds = ("--seconds", f"{TOLD_AFTER_S:g}")
    port = ("--port", url)
    if stop == "ports":
        return ["ports", *port, *seconds]
    if stop == "calibrate":
        return ["calibrate", "compass", str(job), *port, *seconds]
    return ["sweep", str(job), "yard", *port, *(seconds if stop == "sweep" else ())]


def ended(process: int) -> bool:
    """Whether a process has ended; it is not reaped, for what it took is asked for later."""
    how = os.WEXITED | os.WNOHANG | os.WNOWAIT
    return os.waitid(os.P_PID, process, how) is not None


def peak_mb_of(process: int) -> float | None:
    """The most memory that a process has taken so far; None of one that has just ended."""
    peak = re.search(r"VmHWM:\s*(\d+)", Path(f"/proc/{process}/status").read_text())
    return int(peak[1]) / 1024 if peak else None


def wrong_in(path: Path, kind: str) -> str:
    """What is wrong with a recording that was kept; nothing if nothing is."""
    kept = read_recording(path)
    if not kept.sealed:
        return "not sealed"
    if kind != "sound sentences":
        return ""
    sent, held = SOUND.split(b"\r\n")[:-1], [raw for _, raw in kept.sentences]
    begun = sent.index(held[0])  # what came before recording began is let go
    in_order = islice(cycle(sent), begun, begun + len(held))
    return "" if held == list(in_order) else "something is left out of what came"


def one(kind: str, stop: str, url: str, server: IO[str], job: Path) -> tuple[str, bool]:
    """What happened, and whether that is well."""
    program = [sys.executable, "-c", PROGRAM]
    subprocess.run([*program, "new", str(job), *PLACE], check=True, capture_output=True)
    process = subprocess.Popen(
        [*program, *command_of(stop, job, url)],
        stdin=subprocess.DEVNULL, stdout=subprocess.PIPE, stderr=subprocess.STDOUT,
    )  # fmt: skip
    while not ended(process.pid):
        if select.select([server], [], [], 0.05)[0]:
            server.readline()
            break
    while stop != "ports" and not list(job.rglob("*.sweep")) and not ended(process.pid):
        time.sleep(0.01)
    began = time.monotonic()
    if "Ctrl-C" in stop:
        time.sleep(TOLD_AFTER_S)
        os.kill(process.pid, signal.SIGINT)  # not `send_signal`, which reaps what has ended
    late_s, peak_mb, lines = None, None, [""]
    for line in process.stdout or ():
        lines.append(line.decode("utf-8", "replace").rstrip())
        if lines[-1].startswith("kept "):  # what is worked out from then on is no reading
            late_s, peak_mb = time.monotonic() - began - TOLD_AFTER_S, peak_mb_of(process.pid)
    _, status, usage = os.wait4(process.pid, 0)
    late_s = time.monotonic() - began - TOLD_AFTER_S if late_s is None else late_s
    peak_mb = usage.ru_maxrss / 1024 if peak_mb is None else peak_mb
    code, said = os.waitstatus_to_exitcode(status), "\n".join(lines)
    sentence = next((x for x in lines if re.match("error|.*more than", x, re.I)), lines[-1])
    kept = list(job.rglob("*.sweep"))
    faults = [fault for path in kept if (fault := wrong_in(path, kind))]
    if not kept and stop != "ports":
        faults.append("nothing is kept")
    if late_s < 0 and "more than any board sends" not in sentence:
        faults.append("ended by itself, and does not say why")
    if late_s > MOST_LATE_S or peak_mb > MOST_MB:
        faults.append("beyond the limits")
    if code not in (0, 3, 4, 130) or "Traceback" in said:
        faults.append("went wrong")
    records = sum(1 for path in kept for _ in read_recording(path).records())
    told = f"{late_s:+.1f} s, {peak_mb:.0f} MB, exit {code}, {records} records kept: {sentence}"
    return "; ".join([*faults, told]), not faults


def main() -> int:
    words, wrong, tried = sys.argv[1:], 0, 0
    for kind in KINDS:
        with served(kind) as (url, server):
            for stop in STOPS:
                if not all(word in f"{kind} {stop}" for word in words):
                    continue
                with tempfile.TemporaryDirectory() as folder:
                    what, good = one(kind, stop, url, server, Path(folder) / "job")
                tried, wrong = tried + 1, wrong + (not good)
                print(f"{'' if good else 'WRONG '}{kind}, {stop}: {what}", flush=True)
    print(f"{wrong} of {tried} went wrong")
    return 1 if wrong else 0


if __name__ == "__main__":
    sys.exit(serve(sys.argv[2]) if sys.argv[1:2] == ["--serve"] else main())
