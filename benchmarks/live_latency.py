"""From a byte received to the screen, at 100 Hz, with the point worked out over and over beside it.

    python benchmarks/live_latency.py [--seconds 60] [--rate 100] [--link tcp|pty] [--cores 2]

A virtual board, a process of its own, sweeps to and fro in real time over TCP or a pseudo-terminal
and notes when each measuring instant left it. The live sweep of the product records it, works the
point out over and over as it does at the end, and draws an 80 x 24 screen to a second
pseudo-terminal, which is read to its end. Of every instant: the time from when the board had
written its last sentence to when the first screen that shows it, or a later one, had been
written. What the terminal's own window takes to light its pixels is not in it. With --pages N
that many pages for a phone are open in a browser (chromium, driven by playwright), the time to the
first of them is told as well, and --hostile N sends so many bad requests meanwhile. With
--seconds 600 it is the longest sweep that is to be kept up with, with --cores 1 on the smallest
machine.
"""

import argparse
import contextlib
import datetime as dt
import http.client
import json
import multiprocessing
import os
import re
import shutil
import tempfile
import threading
import time
from collections.abc import Callable
from dataclasses import replace
from functools import partial
from pathlib import Path
from typing import Any
from urllib.parse import urlsplit

import numpy as np
from rich.console import Console

from logger.access import Plane
from logger.job import create_job, read_job
from logger.live.capture_loop import CaptureLoop
from logger.live.display import open_display
from logger.live.keyboard import nobody
from logger.live.lent_port import LentPort
from logger.live.state import LiveState
from logger.live.survey_day import SurveyDay
from logger.page.server import Page
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
    with contextlib.suppress(OSError):  # the host has gone
        for t, chunk in chunks:
            if t > seconds:
                break
            time.sleep(max(0.0, began + t - time.monotonic()))
            port.send(chunk)
            found = INSTANT.findall(chunk)
            if found:
                sent.append((int(found[-1]), time.monotonic()))
    pipe.send(sent)


def watch(url: str, pages: int, seconds: float, pipe: Any) -> None:
    """Be the phones: when the first page had drawn which instant."""
    from playwright.sync_api import sync_playwright

    ahead = time.time() - time.monotonic()
    watching = """() => { window.seen = []; new MutationObserver(() => window.seen.push(
        [performance.timeOrigin + performance.now(), Number(document.body.dataset.seq)])).observe(
        document.body, {attributes: true, attributeFilter: ['data-seq']}); }"""
    with sync_playwright() as driver:
        path = shutil.which("chromium")
        browser = driver.chromium.launch(executable_path=path, args=["--no-sandbox"])
        opened = [browser.new_page() for _ in range(pages)]
        for page in opened:
            page.goto(url)
        opened[0].evaluate(watching)
        opened[0].wait_for_timeout(1000 * seconds)
        seen = opened[0].evaluate("() => window.seen")
        pipe.send([(t / 1000.0 - ahead, seq) for t, seq in seen])
        browser.close()


def attack(url: str, requests: int) -> int:
    """Ask for an end in ways that must be refused; how many were obeyed."""
    where = urlsplit(url)
    host, obeyed = where.netloc, 0
    end = {"run": "0" * 16, "number": 1, "what": "end", "text": "", "kind": "", "sure": True}
    good = {"Host": host, "Origin": f"http://{host}", "Content-Type": "application/json"}
    ways = [
        ("/" + "0" * 32 + "/do", json.dumps(end), good),
        (where.path + "do", json.dumps(end), good),
        (where.path + "do", json.dumps(end), good | {"Origin": "http://evil.example"}),
        (where.path + "do", json.dumps(end), good | {"Host": "evil.example"}),
        (where.path + "do", "{" * 1000, good),
        (where.path + "do", "x" * 100_000, good),
    ]
    for n in range(requests):
        path, body, headers = ways[n % len(ways)]
        connection = http.client.HTTPConnection(host, timeout=10)
        with contextlib.suppress(OSError, http.client.HTTPException):
            connection.request("POST", path, body, headers)
            obeyed += connection.getresponse().status < 400
        connection.close()
    return obeyed


def print_attack(page: Page, requests: int) -> None:
    """Say what came of hostile requests."""
    obeyed = attack(page.url, requests)
    print(f"hostile requests obeyed: {obeyed} of {requests}, refused: {dict(page.refused)}")


def sweep(
    url: str, seconds: float, pages: int = 0, hostile: int = 0
) -> tuple[list[tuple[float, int]], list[float], list[tuple[float, int]], int]:
    """Sweep; frames (when, newest instant), estimates, what a page drew, samples recorded."""
    ours, theirs = os.openpty()
    threading.Thread(target=lambda: drain(ours), daemon=True).start()
    terminal = os.fdopen(theirs, "w", encoding="utf-8")
    console = Console(file=terminal, force_terminal=True, width=80, height=24)
    frames: list[tuple[float, int]] = []
    estimates: list[float] = []
    answer = ""

    def showing(state: LiveState, show: Callable[[LiveState], None]) -> None:
        nonlocal answer
        show(state)
        terminal.flush()
        frames.append((time.monotonic(), state.counts.newest_seq))
        seen = f"{state.short} {state.facts[1] if len(state.facts) > 1 else ''}"
        if state.short and seen != answer:
            answer = seen
            estimates.append(time.monotonic())

    drawn: list[tuple[float, int]] = []
    with contextlib.ExitStack() as stack:
        folder = stack.enter_context(tempfile.TemporaryDirectory())
        shown: Any = stack.enter_context(open_display(console, print))
        job = create_job(Path(folder) / "job", SITE, planes=(Plane("roof", 35.0, 180.0),))
        if pages:
            page = Page(job, ("127.0.0.1", 0))
            page.serve()
            stack.enter_context(page.beside(shown))
            shown = page
            mine, theirs_end = multiprocessing.Pipe()
            begun = (page.url, pages, seconds - 12.0, theirs_end)
            watcher = multiprocessing.get_context("spawn").Process(target=watch, args=begun)
            watcher.start()
        if hostile:
            threading.Timer(8.0, print_attack, (page, hostile)).start()
        day = SurveyDay(read_job(job.folder), recipe_of(job), {})
        port = LentPort(lambda: open_link(url), url)
        loop = CaptureLoop(port, SystemClock(), shown, nobody, bell=False)
        shown.show = partial(showing, show=shown.show)
        loop.ends_after_s = seconds
        day.sweep(loop, ["spot"], by_trigger=False)
        port.hang_up()
        if pages:
            drawn = mine.recv()
    return frames, estimates, drawn, loop.taken


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
    parser.add_argument("--pages", type=int, default=0)
    parser.add_argument("--hostile", type=int, default=0)
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
    frames, answers, drawn, taken = sweep(here.recv(), asked.seconds, asked.pages, asked.hostile)
    busy = time.process_time() - busy
    sent = here.recv()
    board.join()

    print(f"link {asked.link}, {asked.rate} Hz, {len(sent)} instants sent, {taken} recorded, "
          f"{len(frames)} screens, {asked.pages} pages")  # fmt: skip
    print(f"load of the machine while it ran: {os.getloadavg()[0]:.1f} on {os.cpu_count()} cores")
    print(f"processor time of the sweep: {100 * busy / asked.seconds:.0f} % of one core")
    worst = told("screen", frames, sent)
    if asked.pages:
        worst = max(worst, told("page", drawn[5:], sent))
    gaps = np.diff([frames[0][0], *answers])
    print(f"estimates that changed the screen: {len(answers)}, longest pause {gaps.max():.1f} s")
    print("within the limit" if worst < LIMIT_MS else "BEYOND the limit")


def told(where: str, frames: list[tuple[float, int]], sent: list[tuple[int, float]]) -> float:
    """Print how late instants were shown; the 99th percentile. [ms]"""
    shown_at, newest = np.array(frames).T
    # Frames show instants in order: the first frame that has reached an instant shows it.
    instants = [(seq, t) for seq, t in sent if newest[0] < seq <= newest.max()]
    first = np.searchsorted(np.maximum.accumulate(newest), [seq for seq, _ in instants])
    late_ms = 1000.0 * (shown_at[first] - np.array([t for _, t in instants]))
    middle, p95, p99 = np.percentile(late_ms, [50, 95, 99])
    print(f"received to {where}: median {middle:.0f} ms, 95 % {p95:.0f} ms, 99 % {p99:.0f} ms, "
          f"longest {late_ms.max():.0f} ms (limit {LIMIT_MS:.0f} ms)")  # fmt: skip
    return float(p99)


if __name__ == "__main__":
    main()
