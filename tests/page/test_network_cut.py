"""The network between page and computer is cut, nothing being closed, and comes back."""

import http.client
import json
import socket
import threading
from collections.abc import Callable, Iterator
from dataclasses import replace
from typing import Any

import pytest

from logger.job import Job
from logger.live.state import LiveState
from logger.page.server import Page

from ..live.conftest import Bench, board_chunks
from .conftest import STATE, Served

LONG_MS = 60_000


class Wire:
    """What leads to a server; while it is cut nothing passes, and neither end is told."""

    def __init__(self, port: int) -> None:
        self.whole = threading.Event()
        self.whole.set()
        self._behind = port
        self._door = socket.create_server(("127.0.0.1", 0))
        self.port: int = self._door.getsockname()[1]
        threading.Thread(target=self._accept, daemon=True).start()

    def _accept(self) -> None:
        while True:
            try:
                near, _ = self._door.accept()
            except OSError:
                return
            self.whole.wait()
            far = socket.create_connection(("127.0.0.1", self._behind))
            # The page takes no host but its own.
            ours, its = (f":{port}".encode() for port in (self.port, self._behind))
            for ends in ((near, far, ours, its), (far, near, its, ours)):
                threading.Thread(target=self._carry, args=ends, daemon=True).start()

    def _carry(self, one: socket.socket, other: socket.socket, ours: bytes, its: bytes) -> None:
        try:
            while data := one.recv(65536):
                self.whole.wait()
                other.sendall(data.replace(ours, its))
        except OSError:
            pass
        other.close()

    def close(self) -> None:
        self._door.close()
        self.whole.set()


@pytest.fixture
def wire(served: Served) -> Iterator[Wire]:
    made = Wire(served.page.port)
    yield made
    made.close()


def test_a_page_says_that_it_lost_the_computer_for_30_s_and_comes_back(
    served: Served, wire: Wire, opened: Callable[..., Any]
) -> None:
    page = opened("about:blank")
    page.clock.install()
    page.goto(f"http://127.0.0.1:{wire.port}{served.path}")
    page.get_by_text(STATE.to_do).wait_for()
    wire.whole.clear()
    page.clock.fast_forward(30_000)
    page.get_by_text("No connection to the computer").wait_for()
    assert page.get_by_role("button", name="Press", exact=True).is_disabled()
    served.page.show(replace(STATE, to_do="turn 40° left to 120°"))
    wire.whole.set()
    page.get_by_text("turn 40° left to 120°").wait_for(timeout=LONG_MS)
    page.get_by_role("button", name="Press", exact=True).click()
    page.get_by_text("no connection").wait_for(state="hidden")


def recorded(job: Job, page: Page | None) -> bytes:
    """What a sweep of the played board leaves on the disk, with a page beside it or without."""
    bench = Bench(job, board_chunks())
    if page is None:
        bench.sweep()
    else:
        bench.loop.display = page
        with page.beside(bench.display):
            bench.sweep()
    (path,) = bench.recordings
    content = path.read_bytes()
    path.unlink()
    return content


def test_the_recording_is_byte_for_byte_what_it_would_have_been(
    job: Job, served: Served, wire: Wire
) -> None:
    """The sweep's own clock runs: 30 of its seconds and more pass while nobody hears of them."""
    connection = http.client.HTTPConnection("127.0.0.1", wire.port, timeout=20)
    connection.request("GET", f"{served.path}moments")
    heard = connection.getresponse()

    def moment() -> dict[str, Any]:
        while not (line := heard.readline()).startswith(b"data: "):
            assert line, "the stream ended"
        return dict(json.loads(line[6:]))

    seen: list[float] = []

    def shown(state: LiveState, show: Callable[[LiveState], None] = served.page.show) -> None:
        show(state)
        seen.append(state.elapsed_s)
        if state.elapsed_s > 5.0 and wire.whole.is_set():
            wire.whole.clear()

    assert moment()["first"] == STATE.to_do
    served.page.show = shown  # type: ignore[method-assign]
    with_page = recorded(job, served.page)
    assert not wire.whole.is_set()
    assert seen[-1] > 35.0
    wire.whole.set()
    while moment()["phase"] != "ended":
        pass
    connection.close()
    assert with_page == recorded(job, None)
    assert b'"purpose":"sweep"' in with_page
