"""Ctrl-C between two steps instead of in the middle of one: no byte in hand is lost to it."""

from __future__ import annotations

import signal
import threading
from types import FrameType, TracebackType
from typing import Any


class InterruptsHeldBack:
    """While in force, a Ctrl-C waits until the end of the block; a second one breaks into it.

    Without it, an interrupt may fall between the reading of bytes and their recording. Outside
    the main thread, and where Ctrl-C is ignored, it does nothing.
    """

    def __init__(self) -> None:
        self._heard: FrameType | None = None
        self._asked = False
        self._before: Any = None

    def __enter__(self) -> InterruptsHeldBack:
        if threading.current_thread() is threading.main_thread():
            before = signal.getsignal(signal.SIGINT)
            if callable(before):
                self._before = before
                signal.signal(signal.SIGINT, self._hear)
        return self

    def _hear(self, number: int, frame: FrameType | None) -> None:
        if self._asked:
            self._before(number, frame)
        self._asked, self._heard = True, frame

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        if self._before is not None:
            signal.signal(signal.SIGINT, self._before)
            if self._asked and error is None:
                self._before(signal.SIGINT, self._heard)
