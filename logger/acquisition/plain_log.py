"""Plain logs of NMEA sentences, from a terminal program or a boat: text without our header."""

from __future__ import annotations

import math
from pathlib import Path

from firmware_protocol import (
    Attitude,
    Decoder,
    MagneticHeading,
    RawField,
    RawRate,
    Sound,
    TrueHeading,
)
from logger.acquisition.reader import read_bytes
from logger.acquisition.stream import StreamBuilder
from logger.errors import InputError, UsageError
from logger.samples import Stream


def read_plain_log(path: Path, rate_hz: float | None) -> Stream:
    """Decode a file that is no recording, whatever bytes it holds.

    The file bears no receive times: heading sentences are taken as evenly spaced. Boards that
    send ``t_ms`` need no rate, theirs is the clock.

    Parameters
    ----------
    path : Path
    rate_hz : float or None
        Heading sentences a second. [Hz]

    Raises
    ------
    InputError
        The file cannot be read or holds no sentence with a direction.
    UsageError
        A rate is needed and not given, or makes no sense.
    """
    return parse_plain_log(read_bytes(path), str(path), rate_hz)


def parse_plain_log(content: bytes, where: str, rate_hz: float | None) -> Stream:
    """`read_plain_log` on bytes already in hand.

    Parameters
    ----------
    content : bytes
    where : str
        For messages.
    rate_hz : float or None
        [Hz]

    Raises
    ------
    InputError, UsageError
        As `read_plain_log`.
    """
    if rate_hz is not None and not (math.isfinite(rate_hz) and 0 < rate_hz <= 1000):
        raise UsageError(f"a rate of {rate_hz:g} Hz makes no sense: more than 0, at most 1000")
    decoder = Decoder()
    pieces = [*decoder.feed(content + b"\n"), *decoder.finish()]
    sentences = [p.sentence for p in pieces if isinstance(p, Sound)]
    ours = any(isinstance(s, (Attitude, RawField, RawRate)) for s in sentences)
    plain = any(isinstance(s, (MagneticHeading, TrueHeading)) for s in sentences)
    if not ours and not plain:
        raise InputError(
            f"neither a recording nor a log of headings: {len(sentences)} sound sentences, "
            "none with a heading",
            where,
        )
    if plain and rate_hz is None:
        raise UsageError(
            f"{where} is a plain log and tells no times",
            hint="say how many headings a second it holds, with --rate HZ",
        )
    builder = StreamBuilder()
    step = 1.0 / rate_hz if rate_hz else 0.0
    headings = 0
    for piece in pieces:
        line = piece.raw
        if isinstance(piece, Sound):
            headings += isinstance(piece.sentence, (MagneticHeading, TrueHeading))
            line += b"\n"
        builder.feed(max(headings - 1, 0) * step, line)
    builder.finish(max(headings - 1, 0) * step)
    return builder.stream()
