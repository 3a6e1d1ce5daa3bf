"""Ctrl-C as a wish to stop, met between two steps: no byte in hand is lost to it."""

from __future__ import annotations

import signal
from types import FrameType, TracebackType
from typing import Any


class StopRequest:
    """While in force, the first Ctrl-C (or a polite kill) only sets `asked`; a second one breaks.

    Without it, an interrupt may fall between the reading of bytes and their recording. Use it in
    the main thread.
    """

    def __init__(self) -> None:
        self.asked = False
        self._before: dict[int, Any] = {}

    def __enter__(self) -> StopRequest:
        names = ("SIGINT", "SIGTERM", "SIGHUP")  # the last: the terminal window was closed
        for number in (getattr(signal, name) for name in names if hasattr(signal, name)):
            self._before[number] = signal.signal(number, self._heard)
        return self

    def _heard(self, number: int, frame: FrameType | None) -> None:
        if self.asked and number == signal.SIGINT:
            raise KeyboardInterrupt
        self.asked = True

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        for number, handler in self._before.items():
            signal.signal(number, handler)
