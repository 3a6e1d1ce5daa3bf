"""Where a moment goes: a terminal's whole screen, or one line a second."""

from __future__ import annotations

import re
from collections.abc import Callable
from contextlib import AbstractContextManager, nullcontext
from types import TracebackType
from typing import Protocol

from rich.console import Console
from rich.live import Live

from logger.live.screen import screen, status_line
from logger.live.state import LiveState


class Display(Protocol):
    """What the live loop needs of a display."""

    every_s: float
    """Time from one moment to the next. [s]"""

    def show(self, state: LiveState) -> None:
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
        self._told = ""

    def show(self, state: LiveState) -> None:
        """See `Display.show`; what is to be done is said when more than its numbers change."""
        self._write(status_line(state))
        for words in (state.board, state.first):
            kind = re.sub(r"[\d.]+", "", words)
            if words and kind not in self._told:
                self._write(f"        {words}")
        self._told = re.sub(r"[\d.]+", "", f"{state.board}\n{state.first}")

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
        self._said: list[str] = []

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
        for sentence in self._said:
            self._console.print(sentence, markup=False, highlight=False)

    def show(self, state: LiveState) -> None:
        """See `Display.show`."""
        size = self._console.size
        self._live.update(screen(state, size.width, size.height, self._unicode), refresh=True)

    def say(self, sentence: str) -> None:
        """See `Display.say`; the loop puts it into the next moments."""
        self._said.append(sentence)

    def bell(self) -> None:
        """See `Display.bell`."""
        self._console.bell()


def open_display(console: Console, write: Callable[[str], None]) -> AbstractContextManager[Display]:
    """The screen where there is one that can move its cursor, else lines."""
    if console.is_terminal and not console.is_dumb_terminal:
        return ScreenDisplay(console)
    return nullcontext(LineDisplay(write))
