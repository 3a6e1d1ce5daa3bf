"""Where a moment goes: a terminal's whole screen, or one line a second."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator
from contextlib import contextmanager

from rich.console import Console
from rich.live import Live

from logger.live.keyboard import Action
from logger.live.screen import screen, status_line
from logger.live.state import LiveState


class Display:
    """What the live loop needs of a display."""

    every_s = 1.0
    """Time from one moment to the next. [s]"""

    def show(self, state: LiveState) -> None:
        """Show this moment."""
        raise NotImplementedError

    def say(self, sentence: str) -> None:
        """Tell the operator something that happened."""
        raise NotImplementedError

    def bell(self) -> None:
        """Sound the terminal's bell, where there is one."""

    def take(self, now_s: float, allowed: str) -> list[Action]:
        """What was asked for on it since the last call, by now and of the keys allowed."""
        return []


class LineDisplay(Display):
    """One line a second, for output that is no terminal."""

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


class ScreenDisplay(Display):
    """The whole screen of a terminal, whatever its size."""

    every_s = 1 / 16

    def __init__(self, console: Console, live: Live) -> None:
        self.said: list[str] = []
        self._console, self._live = console, live

    def show(self, state: LiveState) -> None:
        """See `Display.show`."""
        size = self._console.size
        self._live.update(screen(state, size.width, size.height), refresh=True)

    def say(self, sentence: str) -> None:
        """See `Display.say`; the loop puts it into the next moments."""
        self.said.append(sentence)

    def bell(self) -> None:
        """See `Display.bell`."""
        self._console.bell()


@contextmanager
def open_display(console: Console, write: Callable[[str], None]) -> Iterator[Display]:
    """The screen where there is one that can move its cursor, else lines; given back as it was."""
    if not console.is_terminal or console.is_dumb_terminal:
        yield LineDisplay(write)
        return
    live = Live(
        console=console,
        screen=True,
        auto_refresh=False,
        redirect_stdout=False,
        redirect_stderr=False,
        vertical_overflow="crop",
    )
    display = ScreenDisplay(console, live)
    try:
        with live:
            yield display
    finally:
        # What was said on the screen that is now gone is still worth having.
        for sentence in display.said:
            console.print(sentence, markup=False, highlight=False)
