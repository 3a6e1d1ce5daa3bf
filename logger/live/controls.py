"""What the keys of the keyboard mean, as a small machine without a terminal."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TypeAlias

from logger.horizon import OBSTRUCTION_KINDS

KEYS = "space start/stop   m mark   r redo   n note   q done"
"""The line of help."""

KIND_KEYS = {kind[0]: kind for kind in OBSTRUCTION_KINDS}
"""First letter of each kind of obstruction."""

_LONGEST = 60


@dataclass(frozen=True)
class Toggle:
    """Stop recording, or go on in a new recording of the same point."""


@dataclass(frozen=True)
class MarkPressed:
    """The mark key of the keyboard; does what the board's does."""

    at_s: float  # [s]


@dataclass(frozen=True)
class Label:
    """Name and kind typed for a mark."""

    at_s: float  # When the mark was pressed. [s]
    label: str
    kind: str


@dataclass(frozen=True)
class Redo:
    """Drop the stretch just swept; it will be swept again."""


@dataclass(frozen=True)
class Remark:
    """A free note."""

    at_s: float  # When its key was pressed. [s]
    text: str


@dataclass(frozen=True)
class Done:
    """The point is finished."""


Action: TypeAlias = Toggle | MarkPressed | Label | Redo | Remark | Done


class Controls:
    """Turns typed characters into actions; while a text is typed, letters are letters."""

    def __init__(self) -> None:
        self._asking = ""
        self._text = ""
        self._label = ""
        self._at_s = 0.0

    @property
    def prompt(self) -> str:
        """What is being asked, with what was typed so far; empty when nothing is."""
        if self._asking == "kind":
            kinds = ", ".join(f"{key} {kind}" for key, kind in KIND_KEYS.items())
            return f"{self._label}: {kinds}?"
        if self._asking:
            what = {"label": "name of what you marked (Enter for none)", "note": "note"}
            return f"{what[self._asking]}: {self._text}_"
        return ""

    def feed(self, typed: str, now_s: float) -> list[Action]:
        """Take characters."""
        actions: list[Action] = []
        for character in typed:
            if not self._asking:
                actions += self._key(character, now_s)
            elif self._asking == "kind":
                actions += self._kind(character)
            else:
                actions += self._typed(character)
        return actions

    def _key(self, key: str, now_s: float) -> list[Action]:
        match key.lower():
            case " ":
                return [Toggle()]
            case "m":
                self._ask("label", now_s)
                return [MarkPressed(now_s)]
            case "r":
                return [Redo()]
            case "n":
                self._ask("note", now_s)
            case "q":
                return [Done()]
        return []

    def _ask(self, what: str, now_s: float) -> None:
        self._asking, self._text, self._at_s = what, "", now_s

    def _typed(self, character: str) -> list[Action]:
        if character in "\r\n":
            text, asked = self._text.strip(), self._asking
            self._asking = ""
            if text and asked == "label":
                self._label, self._asking = text, "kind"
            elif text:
                return [Remark(self._at_s, text)]
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
        return [Label(self._at_s, self._label, kind or "other")]
