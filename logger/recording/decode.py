"""Sentences in, columns out: joins what belongs to one instant, and the board's clock to ours."""

from __future__ import annotations

from array import array
from collections import Counter
from collections.abc import Callable, Sequence, Sized
from dataclasses import dataclass
from itertools import pairwise
from operator import attrgetter
from typing import Any

import numpy as np
from scipy.spatial import ConvexHull, QhullError

from firmware_protocol import (
    PRESS_KEY,
    Attitude,
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
    Sentence,
    Sound,
    TrueHeading,
    Unknown,
)
from firmware_protocol.bulk import Columns, read_in_bulk
from logger.arrays import Floats
from logger.geometry import wrap360
from logger.recording.plausible import jumps_and_back
from logger.recording.samples import BoardFault, KeyPress, Note, Samples, Stream
from logger.recording.samples import Identity as BoardIdentity

_NO_BOOT = -1

HOLD_S = 2.0
"""How long a plain board's pitch and roll hold when its headings come more often. [s]"""

IMPLAUSIBLE = "a jump there and back"
"""Reason given to values of plain sentences that a bare XOR let through."""

MOST_EVENTS = 5_000
"""Key presses and faults that are kept: a stuck key must not fill the memory."""

_T_WRAP = 2**32
_SAME_INSTANT_S = 1.0
_BEHIND_MS = 1000
"""Sentences of one board may be this much out of order. [ms]"""
_LEAP_S = 60.0
"""A board's clock that runs ahead of ours by more at one step is another clock. [s]"""
_REJOINED_S = 2.0
"""After an interruption, clocks that still agree this well belong to the same start. [s]"""
_MOST_DRIFT = 0.02
"""Ceramic and RC oscillators of cheap boards are off by up to 1 to 2 % (from memory)."""
_DRIFT_OVER_S = 30.0

# One row of the growing table; the order is that of the cells. What only raw streams fill stands in
# a table of its own, so that other boards' recordings take no room for it.
_CELLS = (
    "received_s",
    "board_s",
    "boot",
    "seq",
    "status",
    "heading_deg",
    "heading_is_true",
    "tilt_deg",
    "pitch_deg",
    "variation_deg",
    "pitch_at",
    "roll_at",
    "raw_at",
)
_AT = {name: at for at, name in enumerate(_CELLS)}
_WIDTH = len(_CELLS)
_BLANK = array("d", [np.nan] * _WIDTH)
for _name in ("status", "heading_is_true"):
    _BLANK[_AT[_name]] = 0.0
for _name in ("seq", "pitch_at", "roll_at", "raw_at"):
    _BLANK[_AT[_name]] = -1.0
_LINKS = ("boot", "pitch_at", "roll_at", "raw_at")
"""Cells that lead elsewhere and are no column of their own."""

_RAW_AT: dict[str, slice | int] = {
    "field_ut": slice(0, 3),
    "force_g": slice(3, 6),
    "rate_deg_s": slice(6, 9),
    "temperature_c": 9,
}
_RAW_WIDTH = 10
_RAW_BLANK = array("d", [np.nan] * _RAW_WIDTH)


@dataclass(frozen=True)
class _Place:
    """Where the fields of a measuring sentence go, in the order of the wire after ``t_ms``."""

    values: Callable[[Measuring], tuple[int | None, ...]]
    cells: tuple[int, ...]
    per_unit: tuple[int, ...]
    raw: bool = True


_PLACES: dict[type[Measuring], _Place] = {
    Attitude: _Place(
        attrgetter("heading_cdeg", "tilt_cdeg", "pitch_cdeg", "status"),
        tuple(_AT[name] for name in ("heading_deg", "tilt_deg", "pitch_deg", "status")),
        (100, 100, 100, 1),
        raw=False,
    ),
    RawField: _Place(
        attrgetter("mx", "my", "mz", "fx", "fy", "fz"),
        tuple(np.r_[_RAW_AT["field_ut"], _RAW_AT["force_g"]].tolist()),
        (100, 100, 100, 10000, 10000, 10000),
    ),
    RawRate: _Place(
        attrgetter("gx", "gy", "gz", "temperature"),
        tuple(np.r_[_RAW_AT["rate_deg_s"], _RAW_AT["temperature_c"]].tolist()),
        (100, 100, 100, 10),
    ),
}

_FEWEST_IN_BULK = 32
"""Fewer sentences in a row are read singly: that is as quick."""


class StreamBuilder:
    """Grows a `Stream`, live or from a recording; both are this same code.

    Feed it bytes in the order of reception. `stream` may be called at any time.
    """

    def __init__(self, decoder: Decoder | None = None) -> None:
        self._decoder = decoder or Decoder()
        self._table = array("d")
        self._raw = array("d")
        self._boot = 0
        self._clock_ms: int | None = None
        self._clock_received_s = 0.0
        self._interrupted = False
        self._pitches = array("d")
        self._rolls = array("d")
        self._keys: list[tuple[float, float, int, bool, int]] = []
        self._notes: list[Note] = []
        self._faults: list[BoardFault] = []
        self._identity: BoardIdentity | None = None
        self._damaged: Counter[str] = Counter()
        self._left_out: Counter[str] = Counter()

    def __len__(self) -> int:
        return len(self._table) // _WIDTH

    @property
    def identity(self) -> BoardIdentity | None:
        """What the board last said of itself."""
        return self._identity

    def note(self, note: Note) -> None:
        """Take an operator's note, or capture's own on the state of the link.

        A note of the key ``mark`` is the mark key of the keyboard: as if the board's was pressed.
        """
        self._notes.append(note)
        if note.more.get("key") == "mark":
            self._keys.append((note.t_s, float("nan"), PRESS_KEY, True, _NO_BOOT))
        if note.more.get("link") == "back":
            self.interrupted()

    def interrupted(self) -> None:
        """What follows comes after a gap: the board may have started anew unseen."""
        self._interrupted = True

    def damaged(self, reason: str) -> None:
        """Count bytes that had been found to be no sentence when they came."""
        self._damaged[reason] += 1

    @property
    def accepted(self) -> int:
        """Sentences understood so far."""
        return self._decoder.accepted

    @property
    def unknown(self) -> int:
        """Sound sentences so far of kinds that this program does not use."""
        return self._decoder.unknown

    @property
    def refused(self) -> dict[str, int]:
        """Damaged or refused sentences so far, by reason."""
        # A copy first: another thread may be decoding.
        return dict(self._damaged + self._decoder.refused.copy())

    @property
    def lost(self) -> int:
        """Instants missing so far, by the board's own count."""
        return self._decoder.lost

    def feed(self, t_s: float, chunk: bytes) -> list[Piece]:
        """Take bytes; what the decoder made of them comes back, for the recording."""
        return self._taken(t_s, self._decoder.feed(chunk))

    def finish(self, t_s: float) -> list[Piece]:
        """The stream has ended, or is interrupted: judge what is left of the last sentence."""
        return self._taken(t_s, self._decoder.finish())

    def _taken(self, t_s: float, pieces: list[Piece]) -> list[Piece]:
        for piece in pieces:
            self.take(t_s, piece)
        return pieces

    def take(self, t_s: float, piece: Piece) -> None:
        """Take one piece of the decoder given at the start."""
        if isinstance(piece, Sound):
            self._sentence(t_s, piece.sentence)

    def _sentence(self, t_s: float, sentence: Sentence | Unknown) -> None:
        table = self._table
        match sentence:
            case Attitude() | RawField() | RawRate():
                self._measured(t_s, sentence)
            case Key():
                board_s = self._board_seconds(t_s, sentence.t_ms)
                if self._room_for("key events", self._keys):
                    self._keys.append((t_s, board_s, sentence.key, sentence.down, self._boot))
            case Fault():
                if self._room_for("faults of the board", self._faults):
                    self._faults.append(BoardFault(t_s, sentence.code, sentence.text))
            case Identity():
                self._identity = BoardIdentity(
                    sentence.board,
                    sentence.serial_number,
                    sentence.firmware,
                    sentence.rate_hz,
                    sentence.streams,
                )
            case MagneticHeading():
                at = self._plain_row(t_s)
                if sentence.heading_deg is not None:
                    table[at + _AT["heading_deg"]] = sentence.heading_deg + (
                        sentence.deviation_deg or 0.0
                    )
                if sentence.variation_deg is not None:
                    table[at + _AT["variation_deg"]] = sentence.variation_deg
            case TrueHeading():
                at = self._plain_row(t_s)
                table[at + _AT["heading_is_true"]] = 1.0
                if sentence.heading_deg is not None:
                    table[at + _AT["heading_deg"]] = sentence.heading_deg
            case PitchRoll():
                if sentence.pitch_deg is not None:
                    self._pitches.extend((t_s, sentence.pitch_deg))
                if sentence.roll_deg is not None:
                    self._rolls.extend((t_s, sentence.roll_deg))

    def _measured(self, t_s: float, sentence: Measuring) -> None:
        place = _PLACES[type(sentence)]
        row = self._raw_row if place.raw else self._row
        cells, at = self._raw if place.raw else self._table, row(t_s, sentence.seq, sentence.t_ms)
        for cell, value, per_unit in zip(
            place.cells, place.values(sentence), place.per_unit, strict=True
        ):
            cells[at + cell] = np.nan if value is None else value / per_unit

    def feed_lines(self, t_s: Sequence[float], lines: Sequence[bytes]) -> int:
        """`feed` many whole lines, quicker: plain stretches of measuring sentences go in bulk."""
        columns = read_in_bulk(lines) if len(lines) >= _FEWEST_IN_BULK else []
        measuring = np.zeros(len(lines), dtype=bool)
        for kind in columns:
            measuring[kind.lines] = True
        edges = np.flatnonzero(np.diff(measuring)) + 1
        in_bulk = 0
        for start, stop in pairwise([0, *edges.tolist(), len(lines)]):
            at = start
            if measuring[start:stop].all() and stop - start >= _FEWEST_IN_BULK:
                # The first goes singly: whatever state there was, the others follow an instant.
                self.feed(t_s[start], lines[start] + b"\n")
                at += 1
                times = np.array(t_s[at:stop], dtype=np.float64)
                if self._follow(times, [kind.part(at, stop) for kind in columns]):
                    in_bulk += stop - at
                    continue
            for line in range(at, stop):
                self.feed(t_s[line], lines[line] + b"\n")
        return in_bulk

    def _follow(self, t_s: Floats, columns: list[Columns]) -> bool:
        """Take measuring sentences that follow one; False, with nothing done, if in any doubt."""
        if self._clock_ms is None:
            return False
        wire = np.empty((len(t_s), 2), dtype=np.int64)
        for kind in columns:
            wire[kind.lines] = kind.wire[:, :2]
        seq, t_ms = wire.T
        steps = _step_ms(t_ms, np.append(self._clock_ms, t_ms[:-1]))
        waits_s = np.diff(t_s, prepend=self._clock_received_s)
        if _is_anew(steps, steps / 1000.0 - waits_s).any():
            return False
        clock_ms = self._clock_ms + np.cumsum(steps)
        board_s = clock_ms / 1000.0

        base = len(self) - 1
        last = self._table[base * _WIDTH :]
        starts_row = np.diff(seq, prepend=last[_AT["seq"]]) != 0
        row, first = np.cumsum(starts_row), np.flatnonzero(starts_row)
        row_board_s = np.append(last[_AT["board_s"]], board_s[first])
        if not (np.abs(row_board_s[row] - board_s) < _SAME_INSTANT_S).all():
            return False

        self._table.extend(_BLANK * len(first))
        table = np.frombuffer(self._table, dtype=np.float64).reshape(-1, _WIDTH)[base:]
        table[1:, _AT["received_s"]] = t_s[first]
        table[1:, _AT["board_s"]] = board_s[first]
        table[1:, _AT["boot"]] = self._boot
        table[1:, _AT["seq"]] = seq[first]
        raw_at = table[:, _AT["raw_at"]]
        without = np.zeros(len(table), dtype=bool)
        for kind in columns:
            without[row[kind.lines]] |= _PLACES[kind.made].raw
        without &= raw_at < 0
        more = int(np.count_nonzero(without))
        raw_at[without] = len(self._raw) // _RAW_WIDTH + np.arange(more)
        self._raw.extend(_RAW_BLANK * more)
        raw = np.frombuffer(self._raw, dtype=np.float64).reshape(-1, _RAW_WIDTH)
        for kind in columns:
            place, rows = _PLACES[kind.made], row[kind.lines]
            cells, at = (raw, raw_at[rows].astype(np.int64)) if place.raw else (table, rows)
            cells[at[:, None], place.cells] = kind.wire[:, 2:] / place.per_unit

        self._decoder.count(seq, t_ms)
        self._clock_ms, self._clock_received_s = int(clock_ms[-1]), float(t_s[-1])
        return True

    def _room_for(self, what: str, kept: Sized) -> bool:
        """Whether one more is kept; more than any hand makes is counted, and said."""
        there_is = len(kept) < MOST_EVENTS
        self._left_out[what] += not there_is
        return there_is

    def samples(self, start: int = 0, stop: int | None = None) -> Samples:
        """Rows that have come so far as columns; clocks are joined over these rows alone."""
        start, stop, _ = slice(start, stop).indices(len(self))
        # A copy: the table must be free to grow while this is worked on.
        cells = self._table[start * _WIDTH : max(start, stop) * _WIDTH]
        at = np.frombuffer(cells[_AT["raw_at"] :: _WIDTH], dtype=np.float64)
        raw = at[at >= 0].astype(np.int64)
        first, last = (int(raw[0]), int(raw[-1]) + 1) if raw.size else (0, 0)
        return self._columns(cells, self._raw[first * _RAW_WIDTH : last * _RAW_WIDTH], first)[0]

    def stream(self) -> Stream:
        """What has come so far, as columns."""
        samples, joins, implausible = self._columns(self._table, self._raw)
        keys = []
        for t, board_s, key, down, boot in self._keys:
            join = joins.get(boot)
            keys.append(KeyPress(t if join is None else join.host_s(board_s), key, down))
        return Stream(
            samples=samples,
            keys=tuple(keys),
            notes=tuple(self._notes),
            faults=tuple(self._faults),
            identity=self._identity,
            refused=self.refused | ({IMPLAUSIBLE: implausible} if implausible else {}),
            unknown=self._decoder.unknown,
            lost=self.lost,
            doubts=(
                *sorted({join.doubt for join in joins.values() if join.doubt}),
                *(
                    f"{n} {what} after the first {MOST_EVENTS} left out"
                    for what, n in self._left_out.items()
                    if n
                ),
            ),
        )

    def _columns(
        self, cells: array[float], raw_cells: array[float], first_raw: int = 0
    ) -> tuple[Samples, dict[int, Join], int]:
        table = np.frombuffer(cells, dtype=np.float64).reshape(-1, _WIDTH)
        raw = np.frombuffer(raw_cells, dtype=np.float64).reshape(-1, _RAW_WIDTH)
        n = len(table)
        columns: dict[str, Any] = {
            name: table[:, at] for name, at in _AT.items() if name not in _LINKS
        }
        at_raw = table[:, _AT["raw_at"]]
        columns |= {
            name: _spread_out(raw[:, at], at_raw, first_raw) for name, at in _RAW_AT.items()
        }
        columns["heading_deg"] = wrap360(columns["heading_deg"])
        implausible = self._plain_columns(columns, table)
        boot = table[:, _AT["boot"]]
        received, board = columns["received_s"], columns["board_s"]
        columns["t_s"] = received.copy()
        joins = {}
        starts = np.flatnonzero(np.diff(boot, prepend=-1.0))  # a boot's rows stand together
        for start, end in pairwise([*starts.tolist(), n]):
            mine = start + np.flatnonzero(np.isfinite(board[start:end]))
            if mine.size:
                joins[int(boot[start])] = join = join_clocks(board[mine], received[mine])
                columns["t_s"][mine] = join.offset_s + join.rate * board[mine]
        if n:
            columns["t_s"] = np.maximum.accumulate(columns["t_s"])
        for name in ("heading_deg", "tilt_deg", "pitch_deg", "variation_deg"):
            if np.isnan(columns[name]).all():
                columns[name] = np.broadcast_to(np.nan, n)
        return Samples(**columns), joins, implausible

    def _plain_columns(self, columns: dict[str, Any], table: Floats) -> int:
        """Fill in held pitch and roll, take out what cannot be; the number of values taken out."""
        plain = columns["seq"] < 0
        if not plain.any():
            return 0
        received, taken_out = columns["received_s"], 0
        for name, source, events in (
            ("pitch_deg", "pitch_at", self._pitches),
            ("tilt_deg", "roll_at", self._rolls),
        ):
            event = table[:, _AT[source]].astype(np.int64)
            rows = np.flatnonzero(plain & (event >= 0))
            if not rows.size:
                continue
            first = max(int(event[rows[0]]) - 2, 0)  # the test needs neighbours on both sides
            pairs = np.frombuffer(events[2 * first :], dtype=np.float64).reshape(-1, 2)
            odd = jumps_and_back(pairs[:, 0], pairs[:, 1])
            taken_out += int(odd.sum())
            at = event[rows] - first
            holds = (received[rows] - pairs[at, 0] <= HOLD_S) & ~odd[at]
            filled = columns[name].copy()  # the column itself may be a view of the growing table
            filled[rows[holds]] = pairs[at[holds], 1]
            columns[name] = filled
        rows = np.flatnonzero(plain & np.isfinite(columns["heading_deg"]))
        odd = jumps_and_back(received[rows], columns["heading_deg"][rows])
        columns["heading_deg"][rows[odd]] = np.nan
        return taken_out + int(odd.sum())

    def _row(self, t_s: float, seq: int, t_ms: int) -> int:
        board_s = self._board_seconds(t_s, t_ms)
        table = self._table
        last = len(table) - _WIDTH
        # One instant's sentences bear one seq; the clock guards against a board stuck at one.
        if (
            last >= 0
            and table[last + _AT["seq"]] == seq
            and table[last + _AT["boot"]] == self._boot
            and abs(table[last + _AT["board_s"]] - board_s) < _SAME_INSTANT_S
        ):
            return last
        return self._new_row(t_s, board_s, seq)

    def _raw_row(self, t_s: float, seq: int, t_ms: int) -> int:
        """Where the raw cells of an instant stand; rows of both tables come in one order."""
        at = self._row(t_s, seq, t_ms) + _AT["raw_at"]
        if self._table[at] < 0:
            self._table[at] = len(self._raw) // _RAW_WIDTH
            self._raw.extend(_RAW_BLANK)
        return int(self._table[at]) * _RAW_WIDTH

    def _new_row(self, t_s: float, board_s: float, seq: int) -> int:
        table = self._table
        at = len(table)
        table.extend(_BLANK)
        table[at + _AT["received_s"]] = t_s
        table[at + _AT["board_s"]] = board_s
        table[at + _AT["boot"]] = self._boot
        table[at + _AT["seq"]] = seq
        return at

    def _plain_row(self, t_s: float) -> int:
        at = self._new_row(t_s, np.nan, -1)
        self._table[at + _AT["pitch_at"]] = len(self._pitches) // 2 - 1
        self._table[at + _AT["roll_at"]] = len(self._rolls) // 2 - 1
        return at

    def _board_seconds(self, t_s: float, t_ms: int) -> float:
        """The board's clock with its wraps undone; a board that starts again has another one."""
        if self._clock_ms is None:
            self._clock_ms = t_ms
        else:
            step = _step_ms(t_ms, self._clock_ms)
            ahead_s = step / 1000.0 - (t_s - self._clock_received_s)
            anew = _is_anew(step, ahead_s)
            anew |= self._interrupted and abs(ahead_s) > _REJOINED_S
            self._boot += anew
            self._clock_ms = t_ms if anew else self._clock_ms + step
        self._interrupted = False
        self._clock_received_s = t_s
        return self._clock_ms / 1000.0


def _spread_out(raw: Floats, at: Floats, first: int) -> Floats:
    """Cells of the raw table beside the rows that they belong to; NaN elsewhere."""
    if len(raw) == 0:
        return np.broadcast_to(np.nan, (len(at), *raw.shape[1:]))
    if len(raw) == len(at):
        return raw
    spread = np.full((len(at), *raw.shape[1:]), np.nan)
    there = at >= 0
    spread[there] = raw[at[there].astype(np.int64) - first]
    return spread


def _step_ms(t_ms: Any, before_ms: Any) -> Any:
    """From one reading of a board's clock to the next, across its wrap; numbers or columns."""
    return (t_ms - before_ms + _T_WRAP // 2) % _T_WRAP - _T_WRAP // 2


def _is_anew(step_ms: Any, ahead_s: Any) -> Any:
    """Whether a board's clock that went on so, so far ahead of ours, is another clock."""
    return (step_ms < -_BEHIND_MS) | (ahead_s > _LEAP_S)


@dataclass(frozen=True)
class Join:
    """The host's time as a straight line of the board's: ``host = offset + rate * board``."""

    offset_s: float  # [s]
    rate: float = 1.0
    doubt: str = ""  # What is wrong with it; empty for nothing

    def host_s(self, board_s: float) -> float:
        """Host time of a board time. [s]."""
        return self.offset_s + self.rate * board_s


def join_clocks(board_s: Floats, received_s: Floats) -> Join:
    """Join one run of a board's clock to the times of reception.

    Transport only ever delays, so every reception lies on or above the true line; the line is
    the edge of the lower convex hull below the middle of the data (Moon, Skelly and Towsley,
    Estimation and removal of clock skew from network delay measurements, INFOCOM 1999, from
    memory). Under half a minute the rate is taken as 1. Clocks more than 2 % apart are not
    joined by a rate: the board's durations are kept from the first row on, and doubted.
    """
    delay = received_s - board_s
    span = float(np.ptp(board_s))
    if span < _DRIFT_OVER_S:
        return Join(float(delay.min()))
    points = np.column_stack([board_s - board_s[0], delay - delay[0]])
    try:
        hull = points[ConvexHull(points).vertices]
    except QhullError:  # all on one line: no jitter at all
        hull = points[[points[:, 0].argmin(), points[:, 0].argmax()]]
    left, right = _lower_edge(hull, (points[:, 0].min() + points[:, 0].max()) / 2)
    slope = float((right[1] - left[1]) / (right[0] - left[0]))
    if abs(slope) > _MOST_DRIFT:
        doubt = (
            f"time in doubt: the board counts {span:.0f} s where this computer "
            f"counts {np.ptp(received_s):.0f} s"
        )
        return Join(float(delay[0]), 1.0, doubt)
    offset = delay[0] + left[1] - slope * (left[0] + board_s[0])
    return Join(float(offset), 1.0 + slope)


def _lower_edge(hull: Floats, middle: float) -> tuple[Floats, Floats]:
    """The lowest edge of a hull that spans the middle, left end first."""
    best: tuple[float, Floats, Floats] | None = None
    for a, b in zip(hull, np.roll(hull, -1, axis=0), strict=True):
        left, right = (a, b) if a[0] < b[0] else (b, a)
        if left[0] <= middle <= right[0] and right[0] > left[0]:
            height = left[1] + (right[1] - left[1]) * (middle - left[0]) / (right[0] - left[0])
            if best is None or height < best[0]:
                best = (height, left, right)
    if best is None:
        raise ValueError("the middle lies outside the hull")
    return best[1], best[2]
