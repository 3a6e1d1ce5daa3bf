"""The server of the page: a thread of its own that the recording never waits for.

What it takes from outside is refused unless it bears the token, comes from the page's own origin,
is small, well formed, and answers to a moment that is not old. Refusals are counted and shown.
"""

from __future__ import annotations

import asyncio
import contextlib
import hmac
import ipaddress
import json
import queue
import secrets
import socket
import threading
import time
from collections import Counter, deque
from collections.abc import AsyncIterator, Callable, Iterator, Sequence
from dataclasses import replace
from importlib import resources
from typing import Any

from starlette.applications import Starlette
from starlette.requests import ClientDisconnect, Request
from starlette.responses import Response, StreamingResponse
from starlette.routing import Route

from logger.errors import UsageError
from logger.horizon import OBSTRUCTION_KINDS
from logger.job import Job
from logger.live.display import Display
from logger.live.keyboard import KEY_OF, Action
from logger.live.state import LiveState, Question
from logger.page.moment import moment_json, sky_json
from logger.page.photos import MOST_PHOTO_BYTES, PhotoError, keep_photo
from logger.recording.samples import printable

EVERY_S = 0.1
"""From one moment to the next on a page, at least. [s]"""
ANSWER = "answer"
"""What the page's command to a question is called, beside those of the keyboard."""
STALE_AFTER_S = 10.0
"""A command that answers to an older moment comes from a page that was cut off. [s]"""
BETWEEN = "Nothing is recorded now: wait"
OVER = "The program on the computer has ended"
ASKED_EVERY_S = 0.25
"""A question is told anew, which keeps its answer fresh, and the keyboard read. [s]"""
MOST_PAGES = 16
MOST_CONNECTIONS = 48
MOST_COMMAND_BYTES = 2048
MOST_A_SECOND = 8
MOST_WAITING = 16
LONGEST_TEXT = 60
_FILES = {
    "": ("page.html", "text/html; charset=utf-8"),
    "page.css": ("page.css", "text/css; charset=utf-8"),
    "page.js": ("page.js", "text/javascript; charset=utf-8"),
}
_HEADERS = {
    "Content-Security-Policy": "default-src 'none'; script-src 'self'; style-src 'self'; "
    "connect-src 'self'; img-src data:; base-uri 'none'; form-action 'none'; "
    "frame-ancestors 'none'",
    "Referrer-Policy": "no-referrer",
    "X-Content-Type-Options": "nosniff",
    "Cross-Origin-Resource-Policy": "same-origin",
    "Cache-Control": "no-store",
}


class RefusedError(Exception):
    """A request that is not obeyed."""

    def __init__(self, status: int, why: str) -> None:
        super().__init__(why)
        self.status = status


class Page(Display):
    """A display that shows every moment on a page as well, and takes commands from there."""

    every_s = EVERY_S

    def __init__(self, job: Job, address: tuple[str, int]) -> None:
        self.token = secrets.token_hex(16)
        self.refused: Counter[str] = Counter()
        self.pages = 0
        self._job = job
        self._run = secrets.token_hex(8)
        self._commands: queue.Queue[tuple[Any, ...]] = queue.Queue(MOST_WAITING)
        self._asked_from = 0  # Number of the first moment that shows the question; 0 for none
        self._moments: deque[tuple[int, float]] = deque(maxlen=round(2 * STALE_AFTER_S / EVERY_S))
        self._state: LiveState | None = None
        self._number, self._text, self._pressed_s, self._shown_s = 0, "", 0.0, -1e9
        self._came: deque[float] = deque(maxlen=MOST_A_SECOND)
        self._waking = False
        self._sky = sky_json(job.site)  # now: it takes a while, and nothing is recorded yet
        try:
            self._socket = socket.create_server(address)
        except OSError as error:
            where = f"{address[0]}:{address[1]}"
            raise UsageError(
                f"--page {where}: {error.strerror or error}", hint="another address or port"
            ) from None
        self.host, self.port = self._socket.getsockname()[:2]

    @property
    def url(self) -> str:
        """Where the page is, the token in it."""
        return f"http://{_reachable(self.host)}:{self.port}/{self.token}/"

    # --- As the capture loop sees it ---

    def serve(self) -> None:
        """Begin; a thread that ends with the program."""
        import uvicorn

        app = Starlette(routes=[Route("/{path:path}", self._answer, methods=["GET", "POST"])])
        self._server = uvicorn.Server(
            uvicorn.Config(
                app, log_config=None, access_log=False, lifespan="off", ws="none",
                limit_concurrency=MOST_CONNECTIONS, h11_max_incomplete_event_size=16384,
                server_header=False, timeout_keep_alive=5, timeout_graceful_shutdown=1,
            )
        )  # fmt: skip
        self._loop = asyncio.new_event_loop()
        self._news = asyncio.Event()
        self._thread = threading.Thread(target=self._serve, name="page", daemon=True)
        self._thread.start()

    def ask(
        self, words: str, lines: Sequence[str], question: Question, typed: Callable[[], str]
    ) -> tuple[str, str]:
        """Ask until a page answers, or Enter is typed: what was entered or chosen, and its kind."""
        typed()
        self._asked_from = self._number + 1
        asked = replace(question, number=self._asked_from)
        state = LiveState(self._job.name, words, panel=tuple(lines), phase="asking", question=asked)
        try:
            while "\n" not in typed().replace("\r", "\n"):
                self._tell(state)
                with contextlib.suppress(queue.Empty):
                    what, text, kind = self._commands.get(timeout=ASKED_EVERY_S)
                    if what == ANSWER and (question.entry or text in question.choices):
                        return text, kind
                    self.refused["not possible now"] += 1
        finally:
            self._asked_from = 0
        return question.choices[0] if not question.entry else "", ""

    def close(self, lines: Sequence[str] = ()) -> None:
        """Leave a last word on every page, and end serving."""
        self._tell(LiveState(self._job.name, OVER, panel=tuple(lines), phase="over"))
        self._server.should_exit = True
        self._thread.join(timeout=3.0)

    @contextlib.contextmanager
    def beside(self, display: Display) -> Iterator[Page]:
        """Show on another display as well, until nothing is recorded any more."""
        self._display = display
        self.take(0.0, "")  # what was asked of a recording before is not for this one
        try:
            yield self
        finally:
            if self._state is not None:
                over = replace(self._state, phase="ended", to_do=BETWEEN, warnings=(), allowed="")
                self._tell(over)

    def _serve(self) -> None:
        asyncio.set_event_loop(self._loop)
        with contextlib.suppress(asyncio.CancelledError):
            self._loop.run_until_complete(self._server.serve(sockets=[self._socket]))
        self._loop.close()

    def show(self, state: LiveState) -> None:
        """See `Display.show`; hands the moment over and waits for nobody."""
        if self.refused:
            why = ", ".join(f"{count} {what}" for what, count in self.refused.most_common(2))
            refused = f"page: {self.refused.total()} requests refused ({why})"
            state = replace(state, facts=(*state.facts, refused))
        self._tell(state)
        if time.monotonic() - self._shown_s >= self._display.every_s - 0.01:
            self._shown_s = time.monotonic()
            self._display.show(state)

    def _tell(self, state: LiveState) -> None:
        self._state, self._number = state, self._number + 1
        self._moments.append((self._number, time.monotonic()))
        if not self._waking:
            self._waking = True
            with contextlib.suppress(RuntimeError):  # the server has ended
                self._loop.call_soon_threadsafe(self._wake)

    def say(self, sentence: str) -> None:
        """See `Display.say`."""
        self._display.say(sentence)

    def bell(self) -> None:
        """See `Display.bell`."""
        self._display.bell()

    def take(self, now_s: float, allowed: str) -> list[Action]:
        """See `Display.take`; never waits."""
        taken: list[Action] = []
        with contextlib.suppress(queue.Empty):
            while True:
                what, text, kind = self._commands.get_nowait()
                if what == ANSWER or KEY_OF[what] not in allowed:
                    self.refused["not possible now"] += 1
                    continue
                if what == "press":
                    self._pressed_s = now_s
                at_s = min(self._pressed_s, now_s) if what == "name" else now_s
                taken.append(Action(what, at_s, text, kind))
        return taken

    # --- As the browser sees it; all of it on the server's thread ---

    def _wake(self) -> None:
        self._waking = False
        if self._state is not None and self.pages:
            self._text = moment_json(self._state, self._number, self._run, self.refused.total())
        news, self._news = self._news, asyncio.Event()
        news.set()

    async def _answer(self, request: Request) -> Response:
        try:
            answer = await self._obeyed(request)
        except RefusedError as refused:
            self.refused[str(refused)] += 1
            answer = Response(f"{refused}\n", refused.status, media_type="text/plain")
        except (ClientDisconnect, TimeoutError):
            self.refused["broken off"] += 1
            answer = Response(status_code=408)
        answer.headers.update(_HEADERS)
        return answer

    async def _obeyed(self, request: Request) -> Response:
        token, _, what = request.path_params["path"].partition("/")
        if not hmac.compare_digest(token.encode("utf-8", "replace"), self.token.encode()):
            raise RefusedError(404, "without the token")
        if not self._own_host(request.headers.get("host", "")):
            raise RefusedError(421, "for another host")
        if request.method == "POST":
            if request.headers.get("origin") != f"http://{request.headers['host']}":
                raise RefusedError(403, "from another origin")
            if what == "photo":
                return await self._photo(request)
            if what == "do":
                return await self._command(request)
        elif what in _FILES:
            name, kind = _FILES[what]
            return Response(resources.files(__package__).joinpath(name).read_bytes(),
                            media_type=kind)  # fmt: skip
        elif what == "sky.json":
            return Response(self._sky, media_type="application/json")
        elif what == "moments":
            if self.pages >= MOST_PAGES:
                raise RefusedError(503, "more pages than are served")
            return StreamingResponse(self._stream(), media_type="text/event-stream")
        raise RefusedError(404, "for nothing that is here")

    def _own_host(self, host: str) -> bool:
        """An address of this machine, not a name that a foreign site could point here."""
        name, _, port = host.rpartition(":")
        if port != str(self.port):
            return False
        everywhere, ours = self.host in ("0.0.0.0", "::"), ipaddress.ip_address(self.host)
        if name == "localhost":
            return everywhere or ours.is_loopback
        try:
            return ipaddress.ip_address(name.strip("[]")) == ours or everywhere
        except ValueError:
            return False

    async def _stream(self) -> AsyncIterator[str]:
        """Moments as they come; those that a slow page would be late for are left out."""
        self.pages += 1
        try:
            yield "retry: 1000\n\n"
            self._wake()
            sent = ""
            while not self._server.should_exit:
                if self._text == sent:
                    with contextlib.suppress(TimeoutError):
                        await asyncio.wait_for(self._news.wait(), 1.0)
                if sent := self._text:  # the same again after a second: the page knows that we live
                    yield f"data: {sent}\n\n"
                    await asyncio.sleep(EVERY_S / 2)  # at most so often, however many come
            if self._text != sent:  # the last word came while it rested
                yield f"data: {self._text}\n\n"
        finally:
            self.pages -= 1

    def _fresh(self, run: Any, number: Any) -> None:
        """Refuse what answers to another run or to a moment long past."""
        now = time.monotonic()
        known = any(n == number and now - t <= STALE_AFTER_S for n, t in self._moments)
        if run != self._run or isinstance(number, bool) or not known:
            raise RefusedError(409, "from a stale page")
        if len(self._came) == MOST_A_SECOND and now - self._came[0] < 1.0:
            raise RefusedError(429, "too many at once")
        self._came.append(now)

    async def _command(self, request: Request) -> Response:
        if request.headers.get("content-type") != "application/json":
            raise RefusedError(415, "malformed")
        body = await _body(request, MOST_COMMAND_BYTES)
        try:
            told = json.loads(body)
        except (ValueError, RecursionError):
            raise RefusedError(400, "malformed") from None
        command = _checked(told)
        self._fresh(told["run"], told["number"])
        if command[0] == ANSWER and not 0 < self._asked_from <= told["number"]:
            raise RefusedError(409, "from a stale page")  # tapped twice: for the question before
        self._put(command)
        return Response(status_code=204)

    def _put(self, command: tuple[Any, ...]) -> None:
        try:
            self._commands.put_nowait(command)
        except queue.Full:
            raise RefusedError(503, "too many at once") from None

    async def _photo(self, request: Request) -> Response:
        state, query = self._state, request.query_params
        number = query.get("number", "")
        if not (number.isascii() and number.isdigit() and len(number) < 12):
            raise RefusedError(400, "malformed")
        self._fresh(query.get("run"), int(number))
        if state is None or not state.point or state.phase != "recording":
            raise RefusedError(409, "not possible now")
        body = await _body(request, MOST_PHOTO_BYTES, 120.0)
        try:
            name = await asyncio.to_thread(keep_photo, self._job, state, body)
        except PhotoError as error:
            raise RefusedError(415, str(error)) from None
        self._put(("note", f"photo {name}", ""))
        return Response(name, media_type="text/plain")


def _checked(told: Any) -> tuple[str, str, str]:
    """What a command asks for; anything but exactly that is malformed."""
    wrong = RefusedError(400, "malformed")
    if not isinstance(told, dict) or set(told) != {"run", "number", "what", "text", "kind", "sure"}:
        raise wrong
    what, text, kind = told["what"], told["text"], told["kind"]
    if not all(isinstance(one, str) for one in (what, text, kind)):
        raise wrong
    if what not in (*KEY_OF, ANSWER):
        raise wrong
    if len(text) > LONGEST_TEXT or (what not in ("name", "note", ANSWER) and (text or kind)):
        raise wrong
    if what == ANSWER and kind not in ("", *OBSTRUCTION_KINDS):
        raise wrong
    if what == "name" and kind not in (OBSTRUCTION_KINDS if text else ("",)):
        raise wrong
    if what == "note" and (kind or not printable(text)):
        raise wrong
    if told["sure"] is not (what == "end"):
        raise wrong
    return what, printable(text), kind


async def _body(request: Request, most: int, within_s: float = 5.0) -> bytes:
    """A request's body, read no further than the limit."""
    got = bytearray()
    async with asyncio.timeout(within_s):
        async for chunk in request.stream():
            got += chunk
            if len(got) > most:
                raise RefusedError(413, "too large")
    return bytes(got)


def _reachable(host: str) -> str:
    """An address that another device can use; for all interfaces, the one that leads outward."""
    if host not in ("0.0.0.0", "::"):
        return f"[{host}]" if ":" in host else host
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe:
        try:
            probe.connect(("192.0.2.1", 9))  # sends nothing; TEST-NET-1 of RFC 5737
            return str(probe.getsockname()[0])
        except OSError:
            return "127.0.0.1"
