"""From a byte received to the screen, at 100 Hz, with the answer so far worked out beside it.

    python benchmarks/live_latency.py [--seconds 60] [--rate 100] [--link tcp|pty]

A virtual board, a process of its own, sends a sweep in real time over TCP or a pseudo-terminal
and notes when each measuring instant left it. The live sweep of the product records it, works the
horizon and the solar access out over and over, and draws an 80 x 24 screen to a second
pseudo-terminal, which is read to its end. Of every instant: the time from when the board had
written its last sentence to when the first screen that shows it, or a later one, had been
written. What the terminal's own window takes to light its pixels is not in it. Both processes run
on two cores.
"""

import argparse
import datetime as dt
import multiprocessing
import os
import re
import tempfile
import threading
import time
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import numpy as np
from rich.console import Console

from logger.access import Plane, SiteYear
from logger.live.display import ScreenDisplay
from logger.live.keyboard import NoKeyboard
from logger.live.port import Port
from logger.live.running import running_answer
from logger.live.session import LiveView
from logger.live.sweeping import Surroundings, SurveyDay
from logger.orientation import Corrections, declination_at
from logger.recording import RecordingWriter, SystemClock, open_link
from logger.recording.writer import header_of
from logger.settings import Settings
from logger.simulation import BoardSettings, Task, scene_named, simulate
from logger.simulation.serve import PtyLink, TcpLink
from logger.site import Site

SITE = Site(46.05, 14.51, 310.0)
NOW = dt.datetime(2026, 5, 14, 8, 0, tzinfo=dt.UTC)
LIMIT_MS, LEAST_ROUNDS = 150.0, 2.0
INSTANT = re.compile(rb"\$PHLG[AMG],(\d+),")


def play(link: str, rate_hz: int, seconds: float, pipe: Any) -> None:
    """Be the board: send in real time, and report when each instant had been sent."""
    # A board on USB or a network is not held to a serial line's 115200 bit/s.
    settings = BoardSettings(rate_hz=rate_hz, link_baud=None)
    task = Task("sweep", (scene_named("street", 1),), site=SITE, settings=settings, started=NOW)
    chunks = simulate(task).chunks
    port: Any = PtyLink() if link == "pty" else TcpLink()
    pipe.send(port.address)
    port.wait_for_host()
    began = time.monotonic()
    sent = []
    for t, chunk in chunks:
        if t > seconds:
            break
        time.sleep(max(0.0, began + t - time.monotonic()))
        if not port.send(chunk):
            break
        found = INSTANT.findall(chunk)
        if found:
            sent.append((int(found[-1]), time.monotonic()))
    pipe.send(sent)


def sweep(url: str, seconds: float) -> tuple[list[tuple[float, int]], list[float]]:
    """Sweep for a while; when each frame was written and its newest instant, and each answer."""
    ours, theirs = os.openpty()
    threading.Thread(target=lambda: drain(ours), daemon=True).start()
    terminal = os.fdopen(theirs, "w", encoding="utf-8")
    console = Console(file=terminal, force_terminal=True, width=80, height=24)
    year = SiteYear(SITE, (Plane("roof", 35.0, 180.0),), Settings(draws=0))
    corrections = Corrections(declination_at(SITE, NOW.date()))
    frames: list[tuple[float, int]] = []
    answers: list[float] = []

    def answer_of(passes: Sequence[Any]) -> Any:
        found = running_answer(passes, year, SITE.latitude_deg)
        if found is not None:
            answers.append(time.monotonic())
        return found

    def on_frame(view: LiveView) -> None:
        terminal.flush()
        frames.append((time.monotonic(), view.newest_seq))

    with tempfile.TemporaryDirectory() as folder, ScreenDisplay(console) as display:

        def recording(point: str, started: dt.datetime) -> RecordingWriter:
            header = header_of("sweep", started, SITE, {"point": point})
            return RecordingWriter(Path(folder) / "a.sweep", header)

        around = Surroundings(SITE, "benchmark", recording, lambda _: corrections, answer_of)
        day = SurveyDay(
            Port(lambda: open_link(url), url), SystemClock(), display, NoKeyboard(), around,
            bell=False, on_frame=on_frame,
        )  # fmt: skip
        day.sweep("spot", seconds)
        day.port.hang_up()
        for sentence in display.said:
            print(f"  {sentence}")
    return frames, answers


def drain(descriptor: int) -> None:
    """Read what is written to the screen, as a terminal would."""
    try:
        while os.read(descriptor, 65536):
            pass
    except OSError:
        pass


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--seconds", type=float, default=60.0)
    parser.add_argument("--rate", type=int, default=100)
    parser.add_argument("--link", choices=("tcp", "pty"), default="tcp")
    asked = parser.parse_args()
    if hasattr(os, "sched_setaffinity"):
        os.sched_setaffinity(0, sorted(os.sched_getaffinity(0))[:2])
    here, there = multiprocessing.Pipe()
    board = multiprocessing.Process(
        target=play, args=(asked.link, asked.rate, asked.seconds + 1, there)
    )
    board.start()
    there.close()
    busy = time.process_time()
    frames, answers = sweep(here.recv(), asked.seconds)
    busy = time.process_time() - busy
    sent = here.recv()
    board.join()

    shown_at, newest = np.array(frames).T
    times = np.array([t for _, t in sent])
    # Frames show instants in order: the first frame that has reached an instant shows it.
    first = np.searchsorted(np.maximum.accumulate(newest), [seq for seq, _ in sent])
    seen = first < len(shown_at)
    late_ms = 1000.0 * (shown_at[first[seen]] - times[seen])
    gaps = np.diff([frames[0][0], *answers])
    middle, p95, p99 = np.percentile(late_ms, [50, 95, 99])
    print(f"link {asked.link}, {asked.rate} Hz, {len(late_ms)} instants, {len(frames)} screens")
    print(f"load of the machine while it ran: {os.getloadavg()[0]:.1f} on {os.cpu_count()} cores")
    print(f"processor time of the sweep: {100 * busy / asked.seconds:.0f} % of one core")
    print(f"received to screen: median {middle:.0f} ms, 95 % {p95:.0f} ms, 99 % {p99:.0f} ms, "
          f"longest {late_ms.max():.0f} ms (limit {LIMIT_MS:.0f} ms)")  # fmt: skip
    print(f"answers worked out: {len(answers) / asked.seconds:.1f} a second "
          f"(at least {LEAST_ROUNDS:.0f}), longest pause {gaps.max():.2f} s")  # fmt: skip
    within = p99 < LIMIT_MS and len(answers) / asked.seconds >= LEAST_ROUNDS
    print("within the limits" if within else "BEYOND the limits")


if __name__ == "__main__":
    main()
