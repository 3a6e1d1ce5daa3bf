"""What a board sent, as columns: the form in which every later room sees it."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field, replace
from itertools import pairwise
from typing import Any

import numpy as np

from firmware_protocol import PRESS_KEY, Identity
from logger.arrays import Bools, Columns, Floats, Ints, freeze_columns
from logger.moments import KeyPress as KeyPress
from logger.moments import Note as Note

LONGEST_TEXT = 200


@dataclass(frozen=True, eq=False)
class Samples(Columns):
    """One row a measuring instant; NaN where the board did not measure.

    Sentences of one instant (same ``seq``) share a row. Values are as sent: nothing is corrected.
    """

    # From the start of the recording, never decreasing: the board's clock joined to the host's
    # where there is one, the host's receive time elsewhere. [s]
    t_s: Floats
    seq: Ints  # The wire's instant counter; -1 for boards without one
    # Clockwise from magnetic north, or from true north where `heading_is_true`. [deg]
    heading_deg: Floats
    heading_is_true: Bools
    roll_deg: Floats  # About the line of sight, right side down positive. [deg]
    pitch_deg: Floats  # Line of sight above the level, as the board computes it. [deg]
    status: Ints  # The wire's status bits; 0 where none were sent
    field_ut: Floats  # Raw magnetic field in body axes. [uT] Shape (N, 3)
    force_g: Floats  # Raw specific force in body axes; at rest and level 0, 0, -1. [g] Shape (N, 3)
    rate_deg_s: Floats  # Raw angular rate about the body axes. [deg/s] Shape (N, 3)
    temperature_c: Floats  # Of the gyro. [degC]
    variation_deg: Floats  # Magnetic variation the board claims, east positive; NaN where none

    def __post_init__(self) -> None:
        n = freeze_columns(self, _SCALARS)
        freeze_columns(self, _VECTORS, length=n, width=3)
        freeze_columns(self, ("seq", "status"), dtype=np.int64, length=n)
        freeze_columns(self, ("heading_is_true",), dtype=np.bool_, length=n)
        if n and np.any(np.diff(self.t_s) < 0):
            raise ValueError("Samples.t_s decreases")

    @classmethod
    def blank(cls, n: int) -> dict[str, Any]:
        """Writable columns of ``n`` rows with nothing measured, to fill and pass on."""
        columns: dict[str, Any] = {name: np.full(n, np.nan) for name in _SCALARS}
        columns |= {name: np.full((n, 3), np.nan) for name in _VECTORS}
        return columns | {
            "seq": np.full(n, -1), "status": np.zeros(n, int), "heading_is_true": np.zeros(n, bool),
        }  # fmt: skip

    @property
    def has_field(self) -> Bools:
        """Rows with raw field and raw specific force."""
        return np.asarray(np.isfinite(self.field_ut + self.force_g).all(axis=1))

    @property
    def is_raw(self) -> bool:
        """Whether directions come from raw values; not where most rows hold the board's alone."""
        own = self.has_attitude & ~self.has_field
        return bool(self.has_field.any() and self.has_field.sum() >= own.sum())

    @property
    def has_rate(self) -> Bools:
        """Rows with raw angular rate."""
        return np.asarray(np.isfinite(self.rate_deg_s).all(axis=1))

    @property
    def has_attitude(self) -> Bools:
        """Rows with a heading and a pitch of the board's own."""
        return np.asarray(np.isfinite(self.heading_deg + self.pitch_deg))


_SCALARS = ("t_s", "heading_deg", "roll_deg", "pitch_deg", "temperature_c", "variation_deg")
_VECTORS = ("field_ut", "force_g", "rate_deg_s")


def presses(keys: Iterable[KeyPress]) -> list[float]:
    """When the operator pressed. [s]"""
    return [one.t_s for one in keys if one.down and one.key == PRESS_KEY]


def as_note(t_s: float, note: dict[str, Any]) -> Note:
    """An ``n`` record as a note; ``at_s`` sets it back to the moment it speaks of."""
    label, kind, at_s = note.get("label"), note.get("kind"), note.get("at_s")
    if isinstance(at_s, (int, float)) and not isinstance(at_s, bool) and 0 <= at_s <= t_s:
        t_s = float(at_s)
    return Note(
        t_s,
        printable(label) if isinstance(label, str) else None,
        printable(kind) if isinstance(kind, str) else "",
        {k: v for k, v in note.items() if k not in ("label", "kind")},
    )


def printable(text: str) -> str:
    """A name or remark on one line of sane length, nothing in it that steers a terminal."""
    return "".join(c if c.isprintable() else " " for c in text[:LONGEST_TEXT]).strip()


@dataclass(frozen=True)
class BoardSeen:
    """From which row on a board sent: boards may be changed in the middle of a recording."""

    first_row: int
    identity: Identity

    def is_another(self, identity: Identity) -> bool:
        """Whether this names another board; rate and streams of one may be set anew."""
        return _name(self.identity) != _name(identity)

    def after(self, before: BoardSeen) -> str:
        """What happened, in words."""
        return f"another board answers, {_name(self.identity)} after {_name(before.identity)}"


def _name(identity: Identity) -> str:
    return printable(f"{identity.board} {identity.serial_number}") or "one without a name"


@dataclass(frozen=True, eq=False)
class Stream:
    """Everything one recording (or a live capture so far) holds, decoded."""

    samples: Samples
    # In order of time
    keys: tuple[KeyPress, ...] = ()
    notes: tuple[Note, ...] = ()
    boards: tuple[BoardSeen, ...] = ()  # In order; the first from row 0 on
    refused: dict[str, int] = field(default_factory=dict)  # Damaged or refused sentences by reason
    unknown: int = 0  # Sound sentences of kinds that this program does not use
    lost: int = 0  # Instants missing according to ``seq``
    doubts: tuple[str, ...] = ()  # What may make it doubtful, such as faults of the board, in words

    @property
    def identity(self) -> Identity | None:
        """What the last board said of itself last."""
        return self.boards[-1].identity if self.boards else None

    def by_board(self) -> tuple[Stream, ...]:
        """One stream a board: what was measured with one is never corrected as another's."""
        rows = len(self.samples)
        measured = [board for board in self.boards if board.first_row < rows]
        if len(measured) < 2:
            return (self,)
        starts = [board.first_row for board in measured[1:]]
        times = self.samples.t_s[starts].tolist()
        parts: list[Stream] = []
        for board, (start, stop), (from_s, until_s) in zip(
            measured, pairwise([0, *starts, rows]), pairwise([-np.inf, *times, np.inf]), strict=True
        ):
            if start == stop:
                continue
            part: dict[str, Any] = {
                name: tuple(event for event in getattr(self, name) if from_s <= event.t_s < until_s)
                for name in ("keys", "notes")
            }
            if parts:  # what the whole was refused or lost counts once
                part |= {"refused": {}, "unknown": 0, "lost": 0}
            samples = self.samples.rows(slice(start, stop))
            parts.append(replace(self, samples=samples, boards=(board,), **part))
        return tuple(parts)
