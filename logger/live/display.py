"""Where the live view goes: a terminal's whole screen, or one line a second."""

from __future__ import annotations

import time
from collections.abc import Callable
from contextlib import AbstractContextManager, nullcontext
from dataclasses import replace
from types import TracebackType
from typing import Protocol

from rich.console import Console
from rich.live import Live

from logger.live.screen import Frame, screen, status_line
from logger.live.session import LiveView

MESSAGE_STAYS_S = 8.0
"""How long a sentence stays on the screen. [s]"""


class Display(Protocol):
    """What the live loop needs of a display."""

    every_s: float
    """Time from one view to the next. [s]"""

    def show(self, view: LiveView, frame: Frame) -> None:
        """Show this moment."""
        ...

    def say(self, sentence: str) -> None:
        """Tell the operator something that happened."""
        ...

    def bell(self) -> None:
        """Sound the terminal's bell, where there is one."""
        ...


class LineDisplay:
    """One line a second, for output that is no terminal."""

    every_s = 1.0

    def __init__(self, write: Callable[[str], None]) -> None:
        self._write = write
        self._advice = ""

    def show(self, view: LiveView, frame: Frame) -> None:
        """See `Display.show`; what is to be done is said when it changes."""
        from logger.live.guidance import advice

        self._write(status_line(view))
        words, _ = advice(view)
        if words != self._advice and view.running is not None:
            self._advice = words
            self._write(f"        {words}")

    def say(self, sentence: str) -> None:
        """See `Display.say`."""
        self._write(sentence)

    def bell(self) -> None:
        """See `Display.bell`."""


class ScreenDisplay(AbstractContextManager["ScreenDisplay"]):
    """The whole screen of a terminal, whatever its size; given back as it was."""

    every_s = 1 / 16

    def __init__(self, console: Console) -> None:
        self._console = console
        self._live = Live(
            console=console,
            screen=True,
            auto_refresh=False,
            redirect_stdout=False,
            redirect_stderr=False,
            vertical_overflow="crop",
        )
        self._unicode = "utf" in (console.encoding or "").lower()
        self.said: list[str] = []
        self._said_at = 0.0

    def __enter__(self) -> ScreenDisplay:
        self._live.__enter__()
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self._live.__exit__(kind, error, trace)
        # What was said on the screen that is now gone is still worth having.
        for sentence in self.said:
            self._console.print(sentence, markup=False, highlight=False)

    def show(self, view: LiveView, frame: Frame) -> None:
        """See `Display.show`."""
        size = self._console.size
        framed = frame
        if self.said and time.monotonic() - self._said_at < MESSAGE_STAYS_S:
            framed = replace(frame, message=self.said[-1].replace("\n", " "))
        self._live.update(
            screen(view, framed, size.width, size.height, self._unicode), refresh=True
        )

    def say(self, sentence: str) -> None:
        """See `Display.say`."""
        self.said.append(sentence)
        self._said_at = time.monotonic()

    def bell(self) -> None:
        """See `Display.bell`."""
        self._console.bell()


def open_display(console: Console, write: Callable[[str], None]) -> AbstractContextManager[Display]:
    """The screen where there is one that can move its cursor, else lines."""
    if console.is_terminal and not console.is_dumb_terminal:
        return ScreenDisplay(console)
    return nullcontext(LineDisplay(write))
