"""A page served over a made-up recording, and browsers where there are some."""

import http.client
import json
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from logger.job import Job, create_job
from logger.live.display import Display
from logger.live.state import Counts, Figure, HorizonSoFar, LiveState
from logger.page.server import Page
from logger.site import Site

STATE = LiveState(
    title="barn · eave",
    to_do="follow the skyline right to 170°",
    point="eave",
    allowed=" prnq",
    figures=(Figure("azimuth", 153.2, "°"), Figure("elevation", 12.0, "°")),
    azimuth_deg=153.2,
    elevation_deg=12.0,
    horizon=HorizonSoFar(np.full(360, 8.0), np.ones(360)),
    counts=Counts(100, 50.0, newest_seq=99),
)


class Silent(Display):
    """A display that shows nothing."""

    def show(self, state: LiveState) -> None: ...
    def say(self, sentence: str) -> None: ...


class Served:
    """A page, and requests to it."""

    def __init__(self, page: Page) -> None:
        self.page = page
        self.host = f"127.0.0.1:{page.port}"
        self.path = f"/{page.token}/"

    def ask(
        self, method: str, path: str, body: Any = None, headers: dict[str, str] | None = None
    ) -> tuple[int, bytes]:
        """One request; as a browser on the page would send it where nothing else is told."""
        given = {"Host": self.host, "Origin": f"http://{self.host}"}
        given["Content-Type"] = "application/json"
        given |= headers or {}
        connection = http.client.HTTPConnection("127.0.0.1", self.page.port, timeout=20)
        try:
            connection.request(method, path, body, {k: v for k, v in given.items() if v})
            answer = connection.getresponse()
            return answer.status, answer.read()
        finally:
            connection.close()

    def moment(self) -> dict[str, Any]:
        """The first moment that the page is sent."""
        connection = http.client.HTTPConnection("127.0.0.1", self.page.port, timeout=20)
        try:
            connection.request("GET", f"{self.path}moments", headers={"Host": self.host})
            answer = connection.getresponse()
            while not (line := answer.readline()).startswith(b"data: "):
                assert line, "no moment came"
            return dict(json.loads(line[6:]))
        finally:
            connection.close()

    def command(self, what: str, **more: Any) -> dict[str, Any]:
        """What the page sends for a command."""
        moment = self.moment()
        command = {"run": moment["run"], "number": moment["number"], "what": what}
        return command | {"text": "", "kind": "", "sure": what == "end"} | more

    def do(self, what: str, **more: Any) -> int:
        """Have a command done; the status of the answer."""
        return self.ask("POST", f"{self.path}do", json.dumps(self.command(what, **more)))[0]


@pytest.fixture
def job(tmp_path: Path) -> Job:
    return create_job(tmp_path / "barn", Site(46.05, 14.51, 310.0), name="barn")


@pytest.fixture
def served(job: Job) -> Iterator[Served]:
    page = Page(job, ("127.0.0.1", 0))
    page.serve()
    with page.beside(Silent()):
        page.show(STATE)
        yield Served(page)
    page.close()


@pytest.fixture
def opened(browser: Any) -> Iterator[Callable[..., Any]]:
    """Open an address as a phone would; whatever the page complains of fails the test."""
    contexts, complaints = [], []

    def go(url: str, **more: Any) -> Any:
        context = browser.new_context(viewport={"width": 390, "height": 844}, **more)
        contexts.append(context)
        page = context.new_page()
        page.on("pageerror", lambda error: complaints.append(str(error)))
        page.goto(url)
        return page

    yield go
    for context in contexts:
        context.close()
    assert complaints == []
