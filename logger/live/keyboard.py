"""Keys as they are pressed, without waiting for them and without an echo, on every system."""

from __future__ import annotations

import codecs
import re
import sys
from contextlib import AbstractContextManager, nullcontext
from types import TracebackType
from typing import Protocol

_SEQUENCE = re.compile(r"\x1b(\[[0-9;?]*[ -/]*[@-~]|O.)")


class Keyboard(Protocol):
    """What the live loop needs of a keyboard."""

    def read(self) -> str:
        """Characters typed since the last call; never waits."""
        ...


class NoKeyboard:
    """Nobody types: standard input is no terminal."""

    def read(self) -> str:
        """Return nothing."""
        return ""


def plain_keys(text: str) -> str:
    """Typed text without the sequences that arrow and function keys send."""
    return _SEQUENCE.sub("", text)


class PosixKeyboard(AbstractContextManager["PosixKeyboard"]):
    """Standard input of a POSIX terminal, key by key; Ctrl-C still interrupts."""

    def __init__(self, descriptor: int) -> None:
        self._descriptor = descriptor
        self._decoder = codecs.getincrementaldecoder("utf-8")("replace")
        self._before: list[object] | None = None

    def __enter__(self) -> PosixKeyboard:
        import termios
        import tty

        self._before = termios.tcgetattr(self._descriptor)
        tty.setcbreak(self._descriptor)
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        import termios

        if self._before is not None:
            termios.tcsetattr(self._descriptor, termios.TCSADRAIN, self._before)  # type: ignore[arg-type]

    def read(self) -> str:
        """See `Keyboard.read`."""
        import os
        import select

        if not select.select([self._descriptor], [], [], 0)[0]:
            return ""
        return plain_keys(self._decoder.decode(os.read(self._descriptor, 4096)))


class WindowsKeyboard:
    """The Windows console, key by key."""

    def read(self) -> str:
        """See `Keyboard.read`."""
        import msvcrt

        typed = ""
        while msvcrt.kbhit():  # type: ignore[attr-defined]
            key = msvcrt.getwch()  # type: ignore[attr-defined]
            if key in "\x00\xe0":  # the first half of an arrow or function key
                msvcrt.getwch()  # type: ignore[attr-defined]
            else:
                typed += key
        return typed


def open_keyboard() -> AbstractContextManager[Keyboard]:
    """The keyboard of this terminal; one that never types where there is none."""
    try:
        if not sys.stdin.isatty():
            return nullcontext(NoKeyboard())
        if sys.platform == "win32":
            return nullcontext(WindowsKeyboard())
        return PosixKeyboard(sys.stdin.fileno())
    except (AttributeError, ValueError, OSError):  # no standard input at all
        return nullcontext(NoKeyboard())
