"""Keys as they are pressed, without waiting and without an echo, and what they mean."""

from __future__ import annotations

import codecs
import re
import sys
from collections.abc import Callable, Iterator
from contextlib import AbstractContextManager, contextmanager, nullcontext
from dataclasses import dataclass
from typing import Literal, TypeAlias

from logger.horizon import OBSTRUCTION_KINDS

What = Literal["pause", "press", "name", "note", "redo", "end"]
KIND_KEYS = {kind[0]: kind for kind in OBSTRUCTION_KINDS}
"""First letter of each kind of obstruction."""
END_OF_NAME = "-"
"""Typed in place of a name: what was named before ends here."""

_PLAIN: dict[str, What] = {" ": "pause", "p": "press", "r": "redo", "n": "note", "q": "end"}
KEY_OF: dict[What, str] = {"name": "n", **{what: key for key, what in _PLAIN.items()}}
"""The key that must be allowed for an action, wherever it comes from."""
_LONGEST = 60
_SEQUENCE = re.compile(r"\x1b(\[[0-9;?]*[ -/]*[@-~]|O.)")
_ASKED = {
    "name": f"name from here to the next press (Enter none, {END_OF_NAME} ends the last)",
    "note": "note",
}


@dataclass(frozen=True)
class Action:
    """Something the operator did, by key or elsewhere."""

    what: What
    at_s: float  # When its key was pressed, from the start of the recording. [s]
    text: str = ""  # Of a name (empty ends the one before) or a note
    kind: str = ""  # Of what a name stands for


class Controls:
    """Turns typed characters into actions; while a text is typed, letters are letters."""

    def __init__(self, allowed: str = " prnq") -> None:
        self.allowed = allowed
        self._asking = ""  # name, note or kind
        self._text = ""
        self._at_s = 0.0

    @property
    def prompt(self) -> str:
        """What is being asked, with what was typed so far; empty when nothing is."""
        if self._asking == "kind":
            kinds = ", ".join(f"{key} {kind}" for key, kind in KIND_KEYS.items())
            return f"{self._text}: {kinds}?"
        return f"{_ASKED[self._asking]}: {self._text}_" if self._asking else ""

    def feed(self, typed: str, now_s: float) -> list[Action]:
        """Take characters."""
        actions: list[Action] = []
        for character in typed:
            if not self._asking:
                actions += self._key(character.lower(), now_s)
            elif self._asking == "kind":
                actions += self._kind(character)
            else:
                actions += self._typed(character)
        return actions

    def _key(self, key: str, now_s: float) -> list[Action]:
        if key not in self.allowed or key not in _PLAIN:
            return []
        if key in "pn" and "n" in self.allowed:  # where nothing is named, a press is a press
            self._asking, self._text, self._at_s = "name" if key == "p" else "note", "", now_s
        return [] if key == "n" else [Action(_PLAIN[key], now_s)]

    def _typed(self, character: str) -> list[Action]:
        if character in "\r\n":
            asked, self._asking, text = self._asking, "", self._text.strip()
            if asked == "note":
                return [Action("note", self._at_s, text)] if text else []
            if text == END_OF_NAME:
                return [Action("name", self._at_s)]
            if text:
                self._asking, self._text = "kind", text
        elif character == "\x1b":
            self._asking = ""
        elif character in "\x7f\b":
            self._text = self._text[:-1]
        elif character.isprintable() and len(self._text) < _LONGEST:
            self._text += character
        return []

    def _kind(self, character: str) -> list[Action]:
        kind = KIND_KEYS.get(character.lower())
        if kind is None and character not in "\r\n\x1b":
            return []
        self._asking = ""
        return [Action("name", self._at_s, self._text, kind or "other")]


Keyboard: TypeAlias = Callable[[], str]
"""Gives the characters typed since the last call; never waits."""


def nobody() -> str:
    """Nobody types: standard input is no terminal."""
    return ""


@contextmanager
def posix_keyboard(descriptor: int) -> Iterator[Keyboard]:
    """A POSIX terminal key by key, without what arrow and function keys send; Ctrl-C interrupts."""
    import os
    import select
    import termios
    import tty

    decoder = codecs.getincrementaldecoder("utf-8")("replace")

    def typed() -> str:
        if not select.select([descriptor], [], [], 0)[0]:
            return ""
        return _SEQUENCE.sub("", decoder.decode(os.read(descriptor, 4096)))

    before = termios.tcgetattr(descriptor)
    tty.setcbreak(descriptor, termios.TCSANOW)  # What was typed already still counts
    try:
        yield typed
    finally:
        termios.tcsetattr(descriptor, termios.TCSADRAIN, before)


def windows_keyboard() -> str:
    """The Windows console, key by key."""
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
            return nullcontext(nobody)
        if sys.platform == "win32":
            return nullcontext(windows_keyboard)
        return posix_keyboard(sys.stdin.fileno())
    except (AttributeError, ValueError, OSError):  # no standard input at all
        return nullcontext(nobody)
