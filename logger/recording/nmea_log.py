"""Plain logs of NMEA sentences, from a terminal program or a boat: text without our header."""

from __future__ import annotations

import math

from firmware_protocol import (
    Attitude,
    Decoder,
    Key,
    MagneticHeading,
    RawField,
    RawRate,
    Sentence,
    Sound,
    TrueHeading,
    Unknown,
)
from logger.errors import InputError, UsageError
from logger.recording.decode import StreamBuilder
from logger.recording.reader import MOST_RECORDS
from logger.recording.samples import Stream

_PLAIN_HEADINGS = (MagneticHeading, TrueHeading)
_CHUNK = 65536
_LONGEST_STEP_MS = 60_000


def parse_plain_log(content: bytes, where: str, rate_hz: float | None) -> Stream:
    """Decode a file that is no recording, whatever bytes it holds.

    The file bears no receive times: heading sentences are taken as evenly spaced. Boards that
    send ``t_ms`` need no rate, theirs is the clock.
    """
    if rate_hz is not None and not (math.isfinite(rate_hz) and 0 < rate_hz <= 1000):
        raise UsageError(f"a rate of {rate_hz:g} Hz makes no sense: more than 0, at most 1000")
    clock, decoder, builder = _LogClock(rate_hz), Decoder(), StreamBuilder()
    pieces = 0
    for start in range(0, len(content) + 1, _CHUNK):
        chunk = content[start : start + _CHUNK]
        # A line feed after the end lets a last sentence without one stand.
        ends = start + _CHUNK > len(content)
        found = decoder.feed(chunk + b"\n" if ends else chunk)
        pieces += len(found)
        if pieces > MOST_RECORDS:
            raise InputError(f"more than {MOST_RECORDS} sentences, no sweep is that long", where)
        for piece in found:
            if not isinstance(piece, Sound):
                builder.take(0.0, piece)
                continue
            if rate_hz is None and isinstance(piece.sentence, _PLAIN_HEADINGS):
                raise UsageError(
                    f"{where} is a plain log and tells no times",
                    hint="say how many headings a second it holds, with --rate HZ",
                )
            builder.take(clock.tick(piece.sentence), piece)
    if not len(builder):
        raise InputError(
            "neither a recording nor a log of headings: "
            f"{builder.accepted + builder.unknown} sound sentences, none with a heading",
            where,
        )
    return builder.stream()


class _LogClock:
    """Times for a file that bears none: from the count of headings, or from the board's clock."""

    def __init__(self, rate_hz: float | None) -> None:
        self._step_s = 1.0 / rate_hz if rate_hz else 0.0
        self._headings = 0
        self._board_s = 0.0
        self._last_ms: int | None = None

    def tick(self, sentence: Sentence | Unknown) -> float:
        """The time of this sentence. [s]."""
        if isinstance(sentence, _PLAIN_HEADINGS):
            self._headings += 1
        elif isinstance(sentence, (Attitude, RawField, RawRate, Key)):
            if self._last_ms is not None:
                step_ms = (sentence.t_ms - self._last_ms) % 2**32
                # A longer step is a board that started again, or a sentence out of order.
                self._board_s += step_ms / 1000.0 if step_ms <= _LONGEST_STEP_MS else 0.0
            self._last_ms = sentence.t_ms
        return max(self._headings - 1, 0) * self._step_s + self._board_s
