"""Sentences in, columns out: joins what belongs to one instant, and the board's clock to ours."""

from __future__ import annotations

from array import array
from collections import Counter
from collections.abc import Callable, Sized
from dataclasses import dataclass, replace
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
from logger.recording.samples import BoardFault, BoardSeen, KeyPress, Note, Samples, Stream

HOLD_S = 2.0
"""How long a plain board's pitch and roll hold when its headings come more often. [s]"""

IMPLAUSIBLE = "a jump there and back"
"""Reason given to values of plain sentences that a bare XOR let through."""

MOST_EVENTS = 5_000
"""Key presses, notes and faults that are kept: no hand makes more, a stuck key would."""

FASTEST_DEG_S = 60.0
"""Faster there and back within two samples is no sweep (common practice, no source). [deg/s]"""
LEAST_JUMP_DEG = 5.0
"""Smaller jumps are noise, and too small to matter. [deg]"""

_T_WRAP = 2**32
_SAME_INSTANT_S = 1.0
_BEHIND_MS = 1000
"""Sentences of one board may be this much out of order. [ms]"""
_LEAP_MS = 60_000
"""A board's clock that runs ahead of ours by more at one step is another clock. [ms]"""
_REJOINED_MS = 2000
"""After an interruption, clocks that still agree this well belong to the same start. [ms]"""
_NO_BOOT = -1


class _Table:
    """Rows of numbers that grow, in one array: a row takes the room of its numbers."""

    def __init__(self, width: int) -> None:
        self._width = width
        self._cells = array("d")

    def __len__(self) -> int:
        return len(self._cells) // self._width

    def add(self, *row: float) -> None:
        """Take one more row."""
        self._cells.extend(row)

    def rows(self, start: int = 0, stop: int | None = None) -> Floats:
        """A copy, for the array must be free to grow. Shape (N, width)."""
        stop = len(self) if stop is None else stop
        part = self._cells[start * self._width : stop * self._width]
        return np.frombuffer(part, dtype=np.float64).reshape(-1, self._width)

    def of_instants(self, start: int, stop: int) -> Floats:
        """The rows of these instants, which stand in the first column, in order."""
        column = np.frombuffer(self._cells, dtype=np.float64)[:: self._width]
        first, last = np.searchsorted(column, (start, stop)).tolist()
        return self.rows(first, last)


@dataclass(frozen=True)
class _Kind:
    """What a measuring sentence holds, in the order of the wire after ``seq`` and ``t_ms``."""

    values: Callable[[Measuring], tuple[int | None, ...]]
    # Name, columns and wire units in one of ours, in order
    columns: tuple[tuple[str, int, float], ...]

    @property
    def width(self) -> int:
        """Numbers in a row of its table, the instant first."""
        return 1 + sum(width for _, width, _ in self.columns)


_KINDS: dict[type[Measuring], _Kind] = {
    Attitude: _Kind(
        attrgetter("heading_cdeg", "tilt_cdeg", "pitch_cdeg", "status"),
        (("heading_deg", 1, 100), ("tilt_deg", 1, 100), ("pitch_deg", 1, 100), ("status", 1, 1)),
    ),
    RawField: _Kind(
        attrgetter("mx", "my", "mz", "fx", "fy", "fz"),
        (("field_ut", 3, 100), ("force_g", 3, 10_000)),
    ),
    RawRate: _Kind(
        attrgetter("gx", "gy", "gz", "temperature"),
        (("rate_deg_s", 3, 100), ("temperature_c", 1, 10)),
    ),
}
_HEADING = (("heading_deg", 1, 1), ("heading_is_true", 1, 1), ("variation_deg", 1, 1))
"""Columns of a plain board's heading, in degrees already."""


class StreamBuilder(Counts):
    """Grows a `Stream`, live or from a recording; both are this same code.

    Feed it bytes, or what a decoder made of them, in the order of reception. `stream` may be
    called at any time.
    """

    def __init__(self) -> None:
        super().__init__()
        self._decoder = Decoder()
        self.boards: list[BoardSeen] = []
        self._instants = _Table(4)  # received_s, board_s, boot, seq
        self._measured = {kind: _Table(_KINDS[kind].width) for kind in _KINDS}
        self._headings = _Table(1 + len(_HEADING))
        # How many instants there were before it, receive time, degrees
        self._pitches, self._rolls = _Table(3), _Table(3)
        self._keys: list[tuple[float, float, int, bool, int]] = []
        self._notes: list[Note] = []
        self._faults: list[BoardFault] = []
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
        return len(self._instants)

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
                kind = _KINDS[type(sentence)]
                values = [np.nan if v is None else v for v in kind.values(sentence)]
                instant = self._instant(t_s, sentence.seq, sentence.t_ms)
                self._measured[type(sentence)].add(instant, *values)
            case Key():
                board_s = self._board_seconds(t_s, sentence.t_ms)
                if self._room_for("key events", self._keys):
                    self._keys.append((t_s, board_s, sentence.key, sentence.down, self._boot))
            case Fault():
                if self._room_for("faults of the board", self._faults):
                    self._faults.append(BoardFault(t_s, sentence.code, sentence.text))
            case Identity():
                self._named(sentence)
            case MagneticHeading(heading, deviation, variation):
                turned = np.nan if heading is None else heading + (deviation or 0.0)
                self._plain_heading(t_s, turned, 0.0, np.nan if variation is None else variation)
            case TrueHeading(heading):
                self._plain_heading(t_s, np.nan if heading is None else heading, 1.0, np.nan)
            case PitchRoll(pitch, roll):
                if pitch is not None:
                    self._pitches.add(len(self), t_s, pitch)
                if roll is not None:
                    self._rolls.add(len(self), t_s, roll)

    def _instant(self, t_s: float, seq: int, t_ms: int) -> int:
        """The row of a measuring sentence; sentences of one instant share it."""
        board_s = self._board_seconds(t_s, t_ms)
        # One instant's sentences bear one seq; the clock guards against a board stuck at one.
        last_seq, last_s, boot = self._latest
        if seq != last_seq or boot != self._boot or abs(board_s - last_s) >= _SAME_INSTANT_S:
            self._latest = (seq, board_s, self._boot)
            self._instants.add(t_s, board_s, self._boot, seq)
        return len(self) - 1

    def _plain_heading(self, t_s: float, *values: float) -> None:
        self._headings.add(len(self), *values)
        self._instants.add(t_s, np.nan, self._boot, -1)
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
        left_out = [
            f"{n} {what} after the first {MOST_EVENTS} left out"
            for what, n in self._left_out.items()
            if n
        ]
        return Stream(
            samples=samples,
            keys=tuple(keys),
            notes=tuple(self._notes),
            faults=tuple(self._faults),
            boards=tuple(self.boards),
            refused=dict(self.refused) | ({IMPLAUSIBLE: implausible} if implausible else {}),
            unknown=self.unknown,
            lost=self.lost,
            doubts=(*sorted({join.doubt for join in joins.values() if join.doubt}), *left_out),
        )

    def _columns(self, start: int, stop: int) -> tuple[Samples, dict[int, Join], int]:
        received, board, boot, seq = self._instants.rows(start, stop).T
        n = stop - start
        columns = {
            name: np.broadcast_to(blank.flat[0], (n, *blank.shape[1:]))
            for name, blank in Samples.blank(1).items()
        }
        columns |= {"received_s": received, "board_s": board, "seq": seq.astype(np.int64)}
        for kind, table in self._measured.items():
            _fill(columns, table.of_instants(start, stop), start, _KINDS[kind].columns)
        _fill(columns, self._headings.of_instants(start, stop), start, _HEADING)
        if any(columns["heading_deg"].strides):
            columns["heading_deg"] = wrap360(columns["heading_deg"])
        implausible = self._plain_columns(columns, start)
        columns["t_s"] = received.copy()
        joins = {}
        starts = np.flatnonzero(np.diff(boot, prepend=-1.0))  # a boot's rows stand together
        for first, end in pairwise([*starts.tolist(), n]):
            mine = first + np.flatnonzero(np.isfinite(board[first:end]))
            if mine.size:
                joins[int(boot[first])] = join = join_clocks(board[mine], received[mine])
                columns["t_s"][mine] = join.host_s(board[mine])
        if n:
            columns["t_s"] = np.maximum.accumulate(columns["t_s"])
        return Samples(**columns), joins, implausible

    def _plain_columns(self, columns: dict[str, Any], start: int) -> int:
        """Fill in held pitch and roll, take out what cannot be; the number of values taken out."""
        plain = np.flatnonzero(columns["seq"] < 0)
        if not plain.size:
            return 0
        received, taken_out = columns["received_s"], 0
        for name, table in (("pitch_deg", self._pitches), ("tilt_deg", self._rolls)):
            before, at_s, angle_deg = table.rows().T
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
        columns["heading_deg"][rows[odd]] = np.nan
        return taken_out + int(odd.sum())


def _fill(
    columns: dict[str, Any],
    table: Floats,
    start: int,
    names: tuple[tuple[str, int, float], ...],
) -> None:
    """Write a table's values into the rows of their instants; what never came takes no room."""
    if not len(table):
        return
    rows, at = table[:, 0].astype(np.int64) - start, 1
    for name, width, per_unit in names:
        values = table[:, at : at + width] / per_unit
        at += width
        if np.isnan(values).all():
            continue
        columns[name] = np.array(columns[name])
        columns[name][rows] = values if width > 1 else values[:, 0]


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
