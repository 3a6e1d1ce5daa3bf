#!/usr/bin/env python
"""Flood a port, or let it drip, and see how the commands that read it come to an end.

    python tools/flood_ports.py
    python tools/flood_ports.py noise ports        only runs with these words

A process serves one kind of flood on a TCP port as fast as it is taken. `sweep`, `calibrate` and
`ports` read it, told to stop after 3 s; `sweep` is also stopped by Ctrl-C. Printed for each: how
long after that the recording was closed (negative where it had ended before), the most memory
until then, the exit code and the sentence. Every command must end within 2 s of being told, under
300 MB, in a sentence and an exit code of the program's own, and what came before must be readable.
"""

from __future__ import annotations

import os
import re
import signal
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from pathlib import Path

from logger.recording import read_recording

TOLD_AFTER_S, MOST_LATE_S, MOST_MB = 3.0, 2.0, 300
PROGRAM = "from logger.cli import main; main()"
PLACE = ("--latitude", "46.05", "--longitude", "14.51")
SERVER = """
import os, socket, sys, time
from firmware_protocol import Attitude, RawField, RawRate, encode
sentences = b"".join(
    encode(Attitude(n % 65536, 10 * n, 18000, 0, 1180, 1))
    + encode(RawField(n % 65536, 10 * n, -2990, 141, 3752, 2045, 367, -9782))
    + encode(RawRate(n % 65536, 10 * n, -12, 455, 1003, 231))
    for n in range(20_000)
)
kinds = {
    "sound sentences": lambda: sentences,
    "noise": lambda: os.urandom(65536),
    "no line ends": lambda: b"A" * 65536,
    "dollars": lambda: b"$" * 65536,
    "one byte a second": lambda: time.sleep(1.0) or b"$",
}
listener = socket.create_server(("127.0.0.1", 0))
print(listener.getsockname()[1], flush=True)
while True:
    host, _ = listener.accept()
    try:
        while True:
            host.sendall(kinds[sys.argv[1]]())
    except OSError:
        pass
"""
KINDS = ("sound sentences", "noise", "no line ends", "dollars", "one byte a second")
STOPS = ("sweep", "sweep, Ctrl-C", "calibrate", "ports")


def served(kind: str) -> Iterator[str]:
    """The address of a port that a flood comes from."""
    command = [sys.executable, "-c", SERVER, kind]
    with subprocess.Popen(command, stdout=subprocess.PIPE, text=True) as server:
        assert server.stdout is not None
        yield f"socket://127.0.0.1:{server.stdout.readline().strip()}"
        server.kill()


def command_of(stop: str, job: Path, url: str) -> list[str]:
    seconds = ("--seconds", f"{TOLD_AFTER_S:g}")
    port = ("--port", url)
    if stop == "ports":
        return ["ports", *port, *seconds]
    if stop == "calibrate":
        return ["calibrate", "level", str(job), *port, *seconds]
    return ["sweep", str(job), "yard", *port, *(seconds if stop == "sweep" else ())]


def peak_mb_of(process: int) -> float:
    """The most memory that a process has taken so far."""
    status = Path(f"/proc/{process}/status").read_text()
    return int(status.split("VmHWM:")[1].split()[0]) / 1024


def one(stop: str, url: str, job: Path) -> tuple[str, bool]:
    """What happened, and whether that is well."""
    program = [sys.executable, "-c", PROGRAM]
    subprocess.run([*program, "new", str(job), *PLACE], check=True, capture_output=True)
    process = subprocess.Popen(
        [*program, *command_of(stop, job, url)],
        stdin=subprocess.DEVNULL, stdout=subprocess.PIPE, stderr=subprocess.STDOUT,
    )  # fmt: skip
    began = time.monotonic()
    if stop != "ports":
        while not list(job.rglob("*.sweep")) and process.poll() is None:
            time.sleep(0.01)
        began = time.monotonic()
    if "Ctrl-C" in stop:
        time.sleep(TOLD_AFTER_S)
        process.send_signal(signal.SIGINT)
    late_s, peak_mb, lines = None, 0.0, [""]
    for line in process.stdout or ():
        lines.append(line.decode("utf-8", "replace").rstrip())
        if lines[-1].startswith("kept "):  # what is worked out from then on is no reading
            late_s, peak_mb = time.monotonic() - began - TOLD_AFTER_S, peak_mb_of(process.pid)
    _, status, usage = os.wait4(process.pid, 0)
    if late_s is None:
        late_s, peak_mb = time.monotonic() - began - TOLD_AFTER_S, usage.ru_maxrss / 1024
    code, said = os.waitstatus_to_exitcode(status), "\n".join(lines)
    kept = [read_recording(path) for path in job.rglob("*.sweep")]
    sentence = next((x for x in lines if re.match("error|.*more than", x, re.I)), lines[-1])
    good = late_s < MOST_LATE_S and peak_mb < MOST_MB and code in (0, 3, 4, 130)
    good = good and "Traceback" not in said and all(recording.sealed for recording in kept)
    records = sum(1 for recording in kept for _ in recording.records())
    return (
        f"{late_s:+.1f} s, {peak_mb:.0f} MB, exit {code}, {records} records kept: {sentence}",
        good,
    )


def main() -> int:
    words, wrong, tried = sys.argv[1:], 0, 0
    for kind in KINDS:
        for url in served(kind):
            for stop in STOPS:
                if not all(word in f"{kind} {stop}" for word in words):
                    continue
                with tempfile.TemporaryDirectory() as folder:
                    what, good = one(stop, url, Path(folder) / "job")
                tried, wrong = tried + 1, wrong + (not good)
                print(f"{'' if good else 'WRONG '}{kind}, {stop}: {what}", flush=True)
    print(f"{wrong} of {tried} went wrong")
    return 1 if wrong else 0


if __name__ == "__main__":
    sys.exit(main())
