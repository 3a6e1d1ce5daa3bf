"""From a byte received to the screen, at 100 Hz, with the point worked out over and over beside it.

    python benchmarks/live_latency.py [--seconds 60] [--rate 100] [--link tcp|pty] [--cores 2]

A virtual board, a process of its own, sweeps to and fro in real time over TCP or a pseudo-terminal
and notes when each measuring instant left it. The live sweep of the product records it, works the
point out over and over as it does at the end, and draws an 80 x 24 screen to a second
pseudo-terminal, which is read to its end. Of every instant: the time from when the board had
written its last sentence to when the first screen that shows it, or a later one, had been
written. What the terminal's own window takes to light its pixels is not in it. With --seconds 600
it is the longest sweep that is to be kept up with, with --cores 1 on the smallest machine.
"""

import argparse
import datetime as dt
import multiprocessing
import os
import re
import tempfile
import threading
import time
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
from rich.console import Console

from logger.access import Plane
from logger.job import create_job, read_job
from logger.live.capture_loop import CaptureLoop
from logger.live.display import ScreenDisplay
from logger.live.keyboard import NoKeyboard
from logger.live.lent_port import LentPort
from logger.live.state import LiveState
from logger.live.survey_day import SurveyDay
from logger.recording import SystemClock, open_link
from logger.simulation import BoardSettings, Operator, Task, scene_named, simulate
from logger.simulation.serve import PtyLink, TcpLink
from logger.site import Site
from logger.survey.recipe import recipe_of

SITE = Site(46.05, 14.51, 310.0)
NOW = dt.datetime(2026, 5, 14, 8, 0, tzinfo=dt.UTC)
LIMIT_MS = 150.0
PASS_S = 55.0
INSTANT = re.compile(rb"\$PHLG[AMG],(\d+),")


def play(link: str, rate_hz: int, seconds: float, pipe: Any) -> None:
    """Be the board: send in real time, and report when each instant had been sent."""
    # A board on USB or a network is not held to a serial line's 115200 bit/s.
    settings = BoardSettings(rate_hz=rate_hz, link_baud=None)
    hand = replace(Operator.calm(), passes=max(2, round(seconds / PASS_S)))
    scenes = (scene_named("street", 1),)
    task = Task("sweep", scenes, operator=hand, site=SITE, settings=settings, started=NOW)
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
    """Sweep for a while; when each frame was written and its newest instant, and each estimate."""
    ours, theirs = os.openpty()
    threading.Thread(target=lambda: drain(ours), daemon=True).start()
    terminal = os.fdopen(theirs, "w", encoding="utf-8")
    console = Console(file=terminal, force_terminal=True, width=80, height=24)
    frames: list[tuple[float, int]] = []
    estimates: list[float] = []
    answer = ""

    def on_state(state: LiveState) -> None:
        nonlocal answer
        terminal.flush()
        frames.append((time.monotonic(), state.counts.newest_seq))
        seen = f"{state.short} {state.facts[1] if len(state.facts) > 1 else ''}"
        if state.short and seen != answer:
            answer = seen
            estimates.append(time.monotonic())

    with tempfile.TemporaryDirectory() as folder, ScreenDisplay(console) as display:
        job = create_job(Path(folder) / "job", SITE, planes=(Plane("roof", 35.0, 180.0),))
        day = SurveyDay(read_job(job.folder), recipe_of(job), {})
        port = LentPort(lambda: open_link(url), url)
        loop = CaptureLoop(port, SystemClock(), display, NoKeyboard(), bell=False)
        loop.on_state = on_state
        day.sweep(loop, ["spot"], by_trigger=False, seconds=seconds)
        port.hang_up()
    return frames, estimates


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
    parser.add_argument("--cores", type=int, default=2)
    asked = parser.parse_args()
    if hasattr(os, "sched_setaffinity"):
        os.sched_setaffinity(0, sorted(os.sched_getaffinity(0))[: asked.cores])
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
    middle, p95, p99 = np.percentile(late_ms, [50, 95, 99])
    print(f"link {asked.link}, {asked.rate} Hz, {len(late_ms)} instants, {len(frames)} screens")
    print(f"load of the machine while it ran: {os.getloadavg()[0]:.1f} on {os.cpu_count()} cores")
    print(f"processor time of the sweep: {100 * busy / asked.seconds:.0f} % of one core")
    print(f"received to screen: median {middle:.0f} ms, 95 % {p95:.0f} ms, 99 % {p99:.0f} ms, "
          f"longest {late_ms.max():.0f} ms (limit {LIMIT_MS:.0f} ms)")  # fmt: skip
    gaps = np.diff([frames[0][0], *answers])
    print(f"estimates that changed the screen: {len(answers)}, longest pause {gaps.max():.1f} s")
    print("within the limit" if p99 < LIMIT_MS else "BEYOND the limit")


if __name__ == "__main__":
    main()
