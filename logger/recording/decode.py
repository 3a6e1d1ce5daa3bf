"""Sentences in, columns out: joins what belongs to one instant, and the board's clock to ours."""

from __future__ import annotations

import math
from array import array
from collections import Counter
from collections.abc import Callable, Sized
from dataclasses import replace
from itertools import pairwise
from operator import attrgetter
from typing import Any

import numpy as np

from firmware_protocol import (
    PRESS_KEY,
    Attitude,
    Counts,
    Decoder,
    Fault,
    Identity,
    Key,
    MagneticHeading,
    Measuring,
    Piece,
    PitchRoll,
    RawField,
    RawRate,
    Refusal,
    Sentence,
    Sound,
    TrueHeading,
    Unknown,
)
from logger.arrays import Bools, Floats
from logger.geometry import angle_between, wrap360
from logger.recording.clocks import Join, join_clocks
from logger.recording.samples import BoardSeen, KeyPress, Note, Samples, Stream, printable

HOLD_S = 2.0  # How long a plain board's pitch and roll hold when its headings come more often
IMPLAUSIBLE = "a jump there and back"  # Values of plain sentences that a bare XOR let through
FAULTS = "the board reports faults"
# Key presses, notes and faults that are kept: no hand makes more, a stuck key would
MOST_EVENTS = 5_000
# Faster there and back within two samples is no sweep (common practice, no source). [deg/s]
FASTEST_DEG_S = 60.0
LEAST_JUMP_DEG = 5.0  # Smaller jumps are noise, and too small to matter
_T_WRAP = 2**32
_SAME_INSTANT_S = 1.0
_BEHIND_MS = 1000  # Sentences of one board may be this much out of order
_LEAP_MS = 60_000  # A board's clock that runs ahead of ours by more at one step is another clock
# After an interruption, clocks that still agree this well belong to the same start
_REJOINED_MS = 2000
_NO_BOOT = -1
# A row in the table of instants, all of it numbers of one size: when it was received, the board's
# own clock with its wraps undone and which start of the board it is of, then as in `Samples`
_ROW = np.dtype(
    [(name, "f8") for name in ("received_s", "board_s", "boot", "seq")]
    + [(name, "f8") for name in ("heading_deg", "roll_deg", "pitch_deg", "status")]
    + [(name, "f8", 3) for name in ("field_ut", "force_g", "rate_deg_s")]
    + [(name, "f8") for name in ("temperature_c", "heading_is_true", "variation_deg")]
)
_WIDTH = _ROW.itemsize // 8
_UNSENT = (*[math.nan] * 3, 0.0, *[math.nan] * 10, 0.0, math.nan)  # What follows ``seq``
# Where a measuring sentence's values go from, in the order of the wire; wire units in one of ours
_MEASURED: dict[type[Measuring], tuple[str, Callable[[Any], Any], tuple[int, ...]]] = {
    Attitude: (
        "heading_deg",
        attrgetter("heading_cdeg", "tilt_cdeg", "pitch_cdeg", "status"),
        (100, 100, 100, 1),
    ),
    RawField: (
        "field_ut",
        attrgetter("mx", "my", "mz", "fx", "fy", "fz"),
        (100, 100, 100, 10_000, 10_000, 10_000),
    ),
    RawRate: ("rate_deg_s", attrgetter("gx", "gy", "gz", "temperature"), (100, 100, 100, 10)),
}


class StreamBuilder(Counts):
    """Grows a `Stream`, live or from a recording; both are this same code.

    Feed it bytes, or what a decoder made of them, in the order of reception. `stream` may be
    called at any time.
    """

    def __init__(self) -> None:
        super().__init__()
        self._decoder = Decoder()
        self.boards: list[BoardSeen] = []
        self._cells = array("d")  # One `_ROW` after another
        # Of plain boards: how many instants there were before it, receive time, degrees
        self._held = {"pitch_deg": array("d"), "roll_deg": array("d")}
        self._keys: list[tuple[float, float, int, bool, int]] = []
        self._notes: list[Note] = []
        self._faults: Counter[str] = Counter()
        self._left_out: Counter[str] = Counter()
        # The board's clock, its wraps undone; which start of a board it is of
        self._clock_ms: int | None = None
        self._clock_received_s = 0.0
        self._boot = 0
        self._interrupted = False
        self._latest = (-1, -np.inf, _NO_BOOT)  # Count, clock and boot of the last instant
        # Instants there were when a clock began anew or a link was lost, and at the last identity
        self._cut_at = self._named_at = 0
        self._changed = False  # Another board named itself, and has measured nothing since

    def __len__(self) -> int:
        return len(self._cells) // _WIDTH

    @property
    def identity(self) -> Identity | None:
        """What the board last said of itself."""
        return self.boards[-1].identity if self.boards else None

    def note(self, note: Note) -> None:
        """Take an operator's note, or capture's own on the state of the link.

        A note of the key ``mark`` is that key of the keyboard: as if the board's was pressed.
        """
        if self._room_for("notes", self._notes):
            self._notes.append(note)
        if note.more.get("key") == "mark" and self._room_for("key events", self._keys):
            self._keys.append((note.t_s, np.nan, PRESS_KEY, True, _NO_BOOT))
        if note.more.get("link") == "back":
            self._interrupted = True
            self._cut_at = len(self)

    def feed(self, t_s: float, chunk: bytes) -> list[Piece]:
        """Take bytes as they came."""
        pieces = self._decoder.feed(chunk)
        for piece in pieces:
            self.take(t_s, piece)
        return pieces

    def take(self, t_s: float, piece: Piece) -> None:
        """Take one piece of a decoder."""
        self.sentence(t_s, piece.sentence if isinstance(piece, Sound) else Refusal(piece.reason))

    def sentence(self, t_s: float, sentence: Sentence | Unknown | Refusal) -> None:
        """Take one sentence."""
        self.count(sentence)
        match sentence:
            case Attitude() | RawField() | RawRate():
                self._instant(t_s, sentence.seq, sentence.t_ms)
                column, values, units = _MEASURED[type(sentence)]
                told = zip(values(sentence), units, strict=True)
                self._write(column, *(math.nan if v is None else v / unit for v, unit in told))
            case Key():
                board_s = self._board_seconds(t_s, sentence.t_ms)
                if self._room_for("key events", self._keys):
                    self._keys.append((t_s, board_s, sentence.key, sentence.down, self._boot))
            case Fault():
                what = printable(f"{sentence.code} {sentence.text}")
                if what in self._faults or self._room_for("kinds of fault", self._faults):
                    self._faults[what] += 1
            case Identity():
                self._named(sentence)
            case MagneticHeading(heading, deviation, variation):
                turned = None if heading is None else heading + (deviation or 0.0)
                self._plain_heading(t_s, turned, 0.0, variation)
            case TrueHeading(heading):
                self._plain_heading(t_s, heading, 1.0, None)
            case PitchRoll(pitch, roll):
                for name, angle in (("pitch_deg", pitch), ("roll_deg", roll)):
                    if angle is not None:
                        self._held[name].extend((len(self), t_s, angle))

    def _write(self, column: str, *values: float) -> None:
        """Fill in the last row, from a column on."""
        at = len(self._cells) - _WIDTH + _ROW.fields[column][1] // 8  # type: ignore[index]
        self._cells[at : at + len(values)] = array("d", values)

    def _instant(self, t_s: float, seq: int, t_ms: int) -> None:
        """Begin the row of a measuring sentence; sentences of one instant share it."""
        board_s = self._board_seconds(t_s, t_ms)
        # One instant's sentences bear one seq; the clock guards against a board stuck at one.
        last_seq, last_s, boot = self._latest
        if seq != last_seq or boot != self._boot or abs(board_s - last_s) >= _SAME_INSTANT_S:
            self._latest = (seq, board_s, self._boot)
            self._cells.extend((t_s, board_s, self._boot, seq, *_UNSENT))

    def _plain_heading(
        self, t_s: float, heading: float | None, true: float, variation: float | None
    ) -> None:
        self._cells.extend((t_s, math.nan, self._boot, -1, *_UNSENT))
        self._write("heading_deg", math.nan if heading is None else heading)
        self._write("heading_is_true", true, math.nan if variation is None else variation)
        self._latest = (-1, -np.inf, _NO_BOOT)

    def _board_seconds(self, t_s: float, t_ms: int) -> float:
        """The board's clock with its wraps undone; a board that starts again has another one."""
        if self._clock_ms is None:
            self._clock_ms = t_ms
        else:
            step_ms = (t_ms - self._clock_ms + _T_WRAP // 2) % _T_WRAP - _T_WRAP // 2
            ahead_ms = step_ms - 1000.0 * (t_s - self._clock_received_s)
            anew = step_ms < -_BEHIND_MS or ahead_ms > _LEAP_MS
            anew |= self._interrupted and abs(ahead_ms) > _REJOINED_MS
            self._boot += anew
            self._clock_ms = t_ms if anew else self._clock_ms + step_ms
            if anew:
                self._cut_at = len(self)
                if self._changed:  # it said its name at its start: what came before is not its
                    self.boards[-1] = replace(self.boards[-1], first_row=self._cut_at)
        self._interrupted = self._changed = False
        self._clock_received_s = t_s
        return self._clock_ms / 1000.0

    def _named(self, identity: Identity) -> None:
        last = self.boards[-1] if self.boards else BoardSeen(0, identity)
        if last.is_another(identity):
            # It was there from the cut on; without one, perhaps since the other last named itself.
            self.boards.append(BoardSeen(max(self._cut_at, self._named_at), identity))
            self._changed = True
        else:
            self.boards[-1:] = [replace(last, identity=identity)]
        self._named_at = len(self)

    def _room_for(self, what: str, kept: Sized) -> bool:
        there_is = len(kept) < MOST_EVENTS
        self._left_out[what] += not there_is
        return there_is

    def samples(self, start: int = 0, stop: int | None = None) -> Samples:
        """Rows that have come so far as columns; clocks are joined over these rows alone."""
        start, stop, _ = slice(start, stop).indices(len(self))
        return self._columns(start, max(start, stop))[0]

    def stream(self) -> Stream:
        """What has come so far, as columns."""
        samples, joins, implausible = self._columns(0, len(self))
        keys = []
        for t_s, board_s, key, down, boot in self._keys:
            if boot in joins:
                t_s = float(joins[boot].host_s(np.array(board_s)))
            keys.append(KeyPress(t_s, key, down))
        doubts = sorted({join.doubt for join in joins.values() if join.doubt})
        doubts += [
            f"{n} {what} after the first {MOST_EVENTS} left out"
            for what, n in self._left_out.items()
            if n
        ]
        if self._faults:
            told = ", ".join(f"{what} ({n}×)" for what, n in self._faults.most_common(5))
            doubts.append(f"{FAULTS}: {told}")
        return Stream(
            samples=samples,
            keys=tuple(keys),
            notes=tuple(self._notes),
            boards=tuple(self.boards),
            refused=dict(self.refused) | ({IMPLAUSIBLE: implausible} if implausible else {}),
            unknown=self.unknown,
            lost=self.lost,
            doubts=tuple(doubts),
        )

    def _columns(self, start: int, stop: int) -> tuple[Samples, dict[int, Join], int]:
        table = np.asarray(self._cells).view(_ROW)[start:stop]  # a view takes no room
        columns: dict[str, Any] = {name: _unshared(table[name]) for name in _ROW.names or ()}
        del table  # cells that are looked at cannot grow
        received, board, boot = (columns.pop(name) for name in ("received_s", "board_s", "boot"))
        if any(columns["heading_deg"].strides):
            columns["heading_deg"] = wrap360(columns["heading_deg"])
        implausible = self._plain_columns(columns, received, start)
        columns["t_s"] = received.copy()
        joins, pressed = {}, {key[-1] for key in self._keys}
        starts = np.flatnonzero(np.diff(boot, prepend=-1.0))  # a boot's rows stand together
        for first, end in pairwise([*starts.tolist(), len(received)]):
            mine = first + np.flatnonzero(np.isfinite(board[first:end]))
            if mine.size:
                join = join_clocks(board[mine], received[mine])
                columns["t_s"][mine] = join.host_s(board[mine])
                if join.doubt or boot[first] in pressed:  # a board may start a million times
                    joins[int(boot[first])] = join
        columns["t_s"] = np.maximum.accumulate(columns["t_s"])
        return Samples(**columns), joins, implausible

    def _plain_columns(self, columns: dict[str, Any], received: Floats, start: int) -> int:
        """Fill in held pitch and roll, take out what cannot be; the number of values taken out."""
        plain = np.flatnonzero(columns["seq"] < 0)
        if not plain.size:
            return 0
        taken_out = 0
        for name, held in self._held.items():
            before, at_s, angle_deg = np.array(held).reshape(-1, 3).T
            latest = np.searchsorted(before, start + plain, side="right") - 1
            rows, latest = plain[latest >= 0], latest[latest >= 0]
            if not rows.size:
                continue
            first = max(int(latest[0]) - 2, 0)  # the test needs neighbours on both sides
            odd = jumps_and_back(at_s[first:], angle_deg[first:])
            taken_out += int(odd.sum())
            holds = (received[rows] - at_s[latest] <= HOLD_S) & ~odd[latest - first]
            columns[name] = np.array(columns[name])
            columns[name][rows[holds]] = angle_deg[latest[holds]]
        rows = plain[np.isfinite(columns["heading_deg"][plain])]
        odd = jumps_and_back(received[rows], columns["heading_deg"][rows])
        columns["heading_deg"] = np.array(columns["heading_deg"])
        columns["heading_deg"][rows[odd]] = np.nan
        return taken_out + int(odd.sum())


def _unshared(column: Floats) -> Floats:
    """A column with its own room; one that was never sent takes that of one number."""
    return np.broadcast_to(np.nan, column.shape) if np.isnan(column).all() else column.copy()


def jumps_and_back(t_s: Floats, angle_deg: Floats) -> Bools:
    """Values that differ much from both neighbours while these agree with each other.

    The bare XOR of standard sentences lets about one in twenty double errors through; such a
    value was damaged on the line. The first and the last are never judged. A steady turn, however
    fast, is none.
    """
    odd = np.zeros(len(angle_deg), dtype=bool)
    if len(angle_deg) < 3:
        return odd
    every_s = float(t_s[-1] - t_s[0]) / (len(t_s) - 1)
    limit = max(LEAST_JUMP_DEG, FASTEST_DEG_S * every_s)
    before = np.abs(angle_between(angle_deg[1:-1], angle_deg[:-2]))
    after = np.abs(angle_between(angle_deg[2:], angle_deg[1:-1]))
    across = np.abs(angle_between(angle_deg[2:], angle_deg[:-2]))
    jump = np.minimum(before, after)
    odd[1:-1] = (jump > limit) & (across < jump / 2)
    return odd
