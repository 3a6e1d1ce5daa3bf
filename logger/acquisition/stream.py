"""Sentences in, columns out: joins what belongs to one instant, and the board's clock to ours."""

from __future__ import annotations

from collections import Counter
from typing import Any

import numpy as np
from scipy.spatial import ConvexHull, QhullError

from firmware_protocol import (
    Attitude,
    Decoder,
    Fault,
    Identity,
    Key,
    MagneticHeading,
    Piece,
    PitchRoll,
    RawField,
    RawRate,
    Sentence,
    Sound,
    TrueHeading,
    Unknown,
)
from logger.angles import wrap360
from logger.columns import Floats
from logger.samples import BoardFault, KeyPress, Note, Samples, Stream
from logger.samples import Identity as BoardIdentity

HOLD_S = 2.0
"""How long a plain board's pitch and roll hold when its headings come more often. [s]"""

_T_WRAP = 2**32
_SAME_INSTANT_S = 1.0
_MOST_DRIFT = 500e-6
_DRIFT_OVER_S = 30.0


class StreamBuilder:
    """Grows a `Stream`, live or from a recording; both are this same code.

    Feed it bytes in the order of reception. `stream` may be called at any time.
    """

    def __init__(self) -> None:
        self._decoder = Decoder()
        self._rows: list[dict[str, Any]] = []
        self._boot = 0
        self._board_ms = -1
        self._board_turns = 0
        self._pitch = self._roll = (-np.inf, np.nan)
        self._keys: list[tuple[float, float, int, bool, int]] = []
        self._notes: list[Note] = []
        self._faults: list[BoardFault] = []
        self._identity: BoardIdentity | None = None
        self._damaged: dict[str, int] = {}

    def __len__(self) -> int:
        return len(self._rows)

    @property
    def identity(self) -> BoardIdentity | None:
        """What the board last said of itself."""
        return self._identity

    def note(self, note: Note) -> None:
        """Take an operator's note."""
        self._notes.append(note)

    def damaged(self, reason: str) -> None:
        """Count bytes that had been found to be no sentence when they came."""
        self._damaged[reason] = self._damaged.get(reason, 0) + 1

    @property
    def accepted(self) -> int:
        """Sentences understood so far."""
        return self._decoder.accepted

    @property
    def refused(self) -> dict[str, int]:
        """Damaged or refused sentences so far, by reason."""
        return dict(Counter(self._damaged) + self._decoder.refused)

    @property
    def lost(self) -> int:
        """Instants missing so far, by the board's own count."""
        return self._decoder.lost

    def feed(self, t_s: float, chunk: bytes) -> list[Piece]:
        """Take bytes; what the decoder made of them comes back, for the recording.

        Parameters
        ----------
        t_s : float
            Receive time from the start of the recording. [s]
        chunk : bytes
        """
        return self._taken(t_s, self._decoder.feed(chunk))

    def finish(self, t_s: float) -> list[Piece]:
        """The stream has ended, or is interrupted: judge what is left of the last sentence.

        Parameters
        ----------
        t_s : float
            [s]
        """
        return self._taken(t_s, self._decoder.finish())

    def _taken(self, t_s: float, pieces: list[Piece]) -> list[Piece]:
        for piece in pieces:
            if isinstance(piece, Sound):
                self._sentence(t_s, piece.sentence)
        return pieces

    def _sentence(self, t_s: float, sentence: Sentence | Unknown) -> None:
        match sentence:
            case Attitude():
                row = self._row(t_s, sentence.seq, sentence.t_ms)
                row["heading_deg"] = _scaled(sentence.heading_cdeg, 100)
                row["tilt_deg"] = _scaled(sentence.tilt_cdeg, 100)
                row["pitch_deg"] = _scaled(sentence.pitch_cdeg, 100)
                row["status"] = sentence.status
            case RawField():
                row = self._row(t_s, sentence.seq, sentence.t_ms)
                row["field_ut"] = [_scaled(v, 100) for v in (sentence.mx, sentence.my, sentence.mz)]
                row["force_g"] = [
                    _scaled(v, 10000) for v in (sentence.fx, sentence.fy, sentence.fz)
                ]
            case RawRate():
                row = self._row(t_s, sentence.seq, sentence.t_ms)
                row["rate_deg_s"] = [
                    _scaled(v, 100) for v in (sentence.gx, sentence.gy, sentence.gz)
                ]
                row["temperature_c"] = _scaled(sentence.temperature, 10)
            case Key():
                board_s = self._board_seconds(sentence.t_ms)
                self._keys.append((t_s, board_s, sentence.key, sentence.down, self._boot))
            case Fault():
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
                row = self._plain_row(t_s)
                if sentence.heading_deg is not None:
                    row["heading_deg"] = sentence.heading_deg + (sentence.deviation_deg or 0.0)
                if sentence.variation_deg is not None:
                    row["variation_deg"] = sentence.variation_deg
            case TrueHeading():
                row = self._plain_row(t_s)
                row["heading_is_true"] = True
                if sentence.heading_deg is not None:
                    row["heading_deg"] = sentence.heading_deg
            case PitchRoll():
                if sentence.pitch_deg is not None:
                    self._pitch = (t_s, sentence.pitch_deg)
                if sentence.roll_deg is not None:
                    self._roll = (t_s, sentence.roll_deg)

    def samples(self, start: int = 0, stop: int | None = None) -> Samples:
        """Rows that have come so far as columns; clocks are joined over these rows alone.

        Parameters
        ----------
        start, stop : int
            As of a slice.
        """
        return self._columns(self._rows[start:stop])[0]

    def stream(self) -> Stream:
        """What has come so far, as columns."""
        samples, joins = self._columns(self._rows)
        keys = []
        for t, board_s, key, down, boot in self._keys:
            offset, rate = joins.get(boot, (np.nan, 1.0))
            joined = offset + rate * board_s
            keys.append(KeyPress(float(joined if np.isfinite(joined) else t), key, down))
        return Stream(
            samples=samples,
            keys=tuple(keys),
            notes=tuple(self._notes),
            faults=tuple(self._faults),
            identity=self._identity,
            refused=self.refused,
            unknown=self._decoder.unknown,
            lost=self.lost,
        )

    def _columns(
        self, rows: list[dict[str, Any]]
    ) -> tuple[Samples, dict[int, tuple[float, float]]]:
        columns = Samples.blank(len(rows))
        boot = np.array([row["boot"] for row in rows], dtype=np.int64)
        for name in ("received_s", "board_s", "seq"):
            columns[name][:] = [row[name] for row in rows]
        for name in _OPTIONAL:
            have = [i for i, row in enumerate(rows) if name in row]
            if have:
                columns[name][have] = [rows[i][name] for i in have]
        columns["heading_deg"] = wrap360(columns["heading_deg"])
        joins = {
            int(b): join_clocks(columns["board_s"][boot == b], columns["received_s"][boot == b])
            for b in np.unique(boot)
        }
        columns["t_s"] = columns["received_s"].copy()
        for b, (offset, rate) in joins.items():
            mine = (boot == b) & np.isfinite(columns["board_s"])
            columns["t_s"][mine] = offset + rate * columns["board_s"][mine]
        if rows:
            columns["t_s"] = np.maximum.accumulate(columns["t_s"])
        return Samples(**columns), joins

    def _row(self, t_s: float, seq: int, t_ms: int) -> dict[str, Any]:
        board_s = self._board_seconds(t_ms)
        last = self._rows[-1] if self._rows else None
        # One instant's sentences bear one seq; the clock guards against a board stuck at one.
        if (
            last is None
            or (last["boot"], last["seq"]) != (self._boot, seq)
            or not abs(last["board_s"] - board_s) < _SAME_INSTANT_S
        ):
            last = {"received_s": t_s, "board_s": board_s, "seq": seq, "boot": self._boot}
            self._rows.append(last)
        return last

    def _plain_row(self, t_s: float) -> dict[str, Any]:
        row: dict[str, Any] = {
            "received_s": t_s,
            "board_s": np.nan,
            "seq": -1,
            "boot": self._boot,
        }
        for name, (at, value) in (("pitch_deg", self._pitch), ("tilt_deg", self._roll)):
            if t_s - at <= HOLD_S:
                row[name] = value
        self._rows.append(row)
        return row

    def _board_seconds(self, t_ms: int) -> float:
        if self._board_ms >= 0 and t_ms < self._board_ms:
            if self._board_ms - t_ms > _T_WRAP // 2:
                self._board_turns += 1
            elif self._board_ms - t_ms > 1000:  # further back than sentences can be out of order
                self._boot += 1
                self._board_turns = 0
        self._board_ms = t_ms
        return (t_ms + self._board_turns * _T_WRAP) / 1000.0


_OPTIONAL = (
    "heading_deg",
    "heading_is_true",
    "tilt_deg",
    "pitch_deg",
    "status",
    "field_ut",
    "force_g",
    "rate_deg_s",
    "temperature_c",
    "variation_deg",
)


def _scaled(wire: int | None, per_unit: int) -> float:
    return np.nan if wire is None else wire / per_unit


def join_clocks(board_s: Floats, received_s: Floats) -> tuple[float, float]:
    """The host's time as a straight line of the board's: ``t = offset + rate * board``.

    Transport only ever delays, so every reception lies on or above the true line; the line is
    the edge of the lower convex hull below the middle of the data (Moon, Skelly and Towsley,
    Estimation and removal of clock skew from network delay measurements, INFOCOM 1999, from
    memory). Under half a minute the rate is taken as 1.

    Parameters
    ----------
    board_s, received_s : array, shape (N,)
        Board time and receive time of the same rows; NaN rows are passed over. [s]

    Returns
    -------
    offset : float
        NaN where there is no board time. [s]
    rate : float
    """
    have = np.isfinite(board_s) & np.isfinite(received_s)
    board, delay = board_s[have], (received_s - board_s)[have]
    if board.size == 0:
        return float("nan"), 1.0
    span = float(np.ptp(board))
    if span >= _DRIFT_OVER_S:
        points = np.column_stack([board - board[0], delay - delay[0]])
        try:
            hull = points[ConvexHull(points).vertices]
        except QhullError:  # all on one line: no jitter at all
            hull = points[[0, -1]]
        lower = _lower_edge(hull, span / 2)
        if lower is not None:
            slope = (lower[1][1] - lower[0][1]) / (lower[1][0] - lower[0][0])
            if abs(slope) <= _MOST_DRIFT:
                shift = delay[0] + lower[0][1] - slope * (lower[0][0] + board[0])
                return float(shift), 1.0 + float(slope)
    return float(delay.min()), 1.0


def _lower_edge(hull: Floats, middle: float) -> tuple[Floats, Floats] | None:
    best = None
    for a, b in zip(hull, np.roll(hull, -1, axis=0), strict=True):
        left, right = (a, b) if a[0] < b[0] else (b, a)
        if left[0] <= middle <= right[0] and right[0] > left[0]:
            height = left[1] + (right[1] - left[1]) * (middle - left[0]) / (right[0] - left[0])
            if best is None or height < best[0]:
                best = (height, left, right)
    return None if best is None else (best[1], best[2])
