"""From the link into the recording, on a thread of its own: nothing else is waited for."""

from __future__ import annotations

import contextlib
import queue
import threading
from collections.abc import Callable
from dataclasses import dataclass

from firmware_protocol import Piece
from logger.recording.link import POLL_S, Link


@dataclass(frozen=True)
class Taken:
    """One chunk of bytes, recorded."""

    t_s: float  # Receive time from the start of the recording. [s]
    size: int  # Bytes
    pieces: list[Piece]  # What they decoded to


class Intake:
    """Reads a link, has every chunk recorded, then hands it on.

    Whoever takes from it may draw a screen, load a package or stop altogether: what comes is
    stamped and recorded when it comes.
    """

    def __init__(self, link: Link, record: Callable[[bytes], Taken], *, beside: bool) -> None:
        self.link = link
        self._record = record
        self._come: queue.SimpleQueue[Taken | None] = queue.SimpleQueue()
        self._fault: Exception | None = None
        self._ending = False
        self._thread: threading.Thread | None = None
        if beside:
            self._thread = threading.Thread(target=self._run, name="recording", daemon=True)
            self._thread.start()

    def take(self) -> list[Taken]:
        """What was recorded since the last call; waits a tenth of a second at most for some."""
        if self._thread is None:
            return [self._record(self.link.read())]
        come: list[Taken] = []
        with contextlib.suppress(queue.Empty):
            one = self._come.get(timeout=POLL_S)
            while one is not None:
                come.append(one)
                one = self._come.get_nowait()
            self._come.put(None)  # the end of it: met again by the next call
            if not come and self._fault is not None:
                fault, self._fault = self._fault, None
                raise fault
        return come

    def end(self) -> list[Taken]:
        """Read no more, once the chunk in hand is recorded; what was not handed on yet."""
        self._ending = True
        if self._thread is not None:
            self._thread.join()
        come = []
        with contextlib.suppress(queue.Empty):
            while True:
                one = self._come.get_nowait()
                if one is not None:
                    come.append(one)
        return come

    @property
    def fault(self) -> Exception | None:
        """What ended the thread, as far as `take` has not raised it."""
        return self._fault

    def _run(self) -> None:
        try:
            while not self._ending:
                taken = self._record(self.link.read())
                if taken.size:
                    self._come.put(taken)
        except Exception as error:  # raised again where it is waited for
            self._fault = error
        self._come.put(None)
