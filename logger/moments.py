"""What an operator does at one moment of a recording: press a key, or name what is being traced."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any


@dataclass(frozen=True)
class KeyPress:
    """A key of the board, by its number in the wire contract."""

    t_s: float
    key: int
    down: bool


@dataclass(frozen=True)
class Note:
    """The operator's note at a moment: a name for what is being traced, and its kind.

    A name holds from its azimuth, in the direction of the sweep, until the next.
    """

    t_s: float
    label: str | None = None  # None names nothing; an empty one ends the last name
    kind: str = ""
    more: dict[str, Any] = field(default_factory=dict)
