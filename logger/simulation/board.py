"""The firmware of the virtual board: measurements into sentences, and answers to the host.

Sentences are formatted column-wise, because accuracy benchmarks need hundreds of sweeps; the
tests hold every byte against the codec of the wire contract.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import TypeAlias

import numpy as np

from firmware_protocol import (
    PROTOCOL_VERSION,
    Attitude,
    BoardSentence,
    Fault,
    Identity,
    Key,
    RawField,
    RawRate,
    check,
    encode,
    framed,
)
from logger.arrays import Bools, Floats, Ints, floats
from logger.errors import UsageError
from logger.geometry import angles_of, attitude_from_vectors
from logger.moments import KeyPress
from logger.simulation.sensor import Measured

Chunk: TypeAlias = tuple[float, bytes]
"""Seconds since the start, and the bytes received then."""

STREAMS = "AMG"
LINK_SHARE = 0.85
"""Settings that would fill more of the link than this are refused."""
_BITS_A_BYTE = 10  # 8N1
_IDENTITY_EVERY_S = 5.0
_FAULT_EVERY_S = 1.0
_COMPENSATED = 1  # status bits; 2 magnetometer, 4 accelerometer out of range
_LONGEST: dict[str, BoardSentence] = {
    # The longest sentences of a board handled by a person: 7 digits of t_ms, 9999 in every axis.
    "A": Attitude(65535, 9_999_999, 35999, -17999, -8999, 1),
    "M": RawField(65535, 9_999_999, -9999, -9999, -9999, -19999, -19999, -19999),
    "G": RawRate(65535, 9_999_999, -19999, -19999, -19999, 300),
}


@dataclass(frozen=True)
class BoardSettings:
    """How the virtual board is set up."""

    streams: str = "AMG"  # Some of the letters A, M, G
    rate_hz: int = 50  # 1 to 200. [Hz]
    # Of the identity
    name: str = "virtual board"
    serial_number: str = "V001"
    firmware: str = "1.0.0"
    # Bits a second of the serial link; None has no limit (TCP). [bit/s]
    link_baud: int | None = 115200
    start_ms: int = 1840  # Of the board's clock at the first instant. [ms]
    start_seq: int = 0  # Of the first instant

    def __post_init__(self) -> None:
        if not 1 <= self.rate_hz <= 200:
            raise UsageError(f"a rate of {self.rate_hz} Hz is outside 1 to 200")
        if not self.streams or set(self.streams) - set(STREAMS):
            raise UsageError(f"streams {self.streams!r} are not some of the letters {STREAMS}")
        if not fits_link(self.rate_hz, self.streams, self.link_baud):
            raise UsageError(
                f"{self.streams} at {self.rate_hz} Hz fills more than "
                f"{LINK_SHARE:.0%} of a link of {self.link_baud} bit/s",
                hint="lower the rate or send fewer streams",
            )

    def identity(self) -> Identity:
        """What the board says of itself."""
        about = (self.name, self.serial_number, self.firmware, self.rate_hz, self.streams)
        return Identity(PROTOCOL_VERSION, *about)


def fits_link(rate_hz: int, streams: str, link_baud: int | None) -> bool:
    """Whether settings stay within 85 % of a link."""
    if link_baud is None:
        return True
    size = sum(len(encode(_LONGEST[letter])) for letter in streams)
    return size * _BITS_A_BYTE * rate_hz <= LINK_SHARE * link_baud


def board_attitude(measured: Measured) -> tuple[Floats, Floats, Floats]:
    """Heading, tilt and pitch as the board computes them: from its own uncorrected sensors."""
    return angles_of(attitude_from_vectors(measured.field_ut, measured.force_g))


def sentences_of(
    measured: Measured,
    settings: BoardSettings,
    keys: Sequence[KeyPress] = (),
    clock_error_ppm: float = 0.0,
) -> list[bytes]:
    """What the board sends at each measuring instant."""
    t_s, stamps, identity_due = _board_clock(measured, settings, clock_error_ppm)
    bodies = {"A": _attitude_bodies, "M": _field_bodies, "G": _rate_bodies}
    made = [bodies[one](measured, stamps) for one in STREAMS if one in settings.streams]
    sent = [b"".join(map(_closed, parts)) for parts in zip(*made, strict=True)]
    identity = encode(settings.identity())
    for i in np.flatnonzero(identity_due):
        sent[i] = identity + sent[i]
    for clipped, sensor in (
        (measured.field_clipped, "magnetometer"),
        (measured.force_clipped, "accelerometer"),
    ):
        last_s = -np.inf
        for i in np.flatnonzero(clipped):
            if t_s[i] - last_s >= _FAULT_EVERY_S:
                last_s = t_s[i]
                sent[i] += encode(Fault(stamps[i][1], "RANGE", sensor))
    for press in keys:
        at = min(int(np.searchsorted(measured.t_s, press.t_s - 1e-9)), len(measured) - 1)
        sent[at] += encode(Key(*stamps[at], press.key, press.down))
    return sent


def _board_clock(
    measured: Measured, settings: BoardSettings, error_ppm: float
) -> tuple[Floats, list[tuple[int, int]], Bools]:
    """Seconds by the board's clock, ``seq`` and ``t_ms``, and where its identity is due."""
    t = floats(measured.t_s * (1 + error_ppm * 1e-6))
    seq = (np.arange(len(measured)) + settings.start_seq) % 65536
    t_ms = (np.round(t * 1000).astype(np.int64) + settings.start_ms) % 2**32
    due = np.concatenate([[True], np.diff(np.floor(t / _IDENTITY_EVERY_S + 1e-9)) != 0])
    return t, [*zip(seq.tolist(), t_ms.tolist(), strict=True)], due


def _field_bodies(measured: Measured, stamps: list[tuple[int, int]]) -> Iterable[bytes]:
    field = _whole(measured.field_ut * 100, 160_000)
    columns = np.concatenate([field, _whole(measured.force_g * 1e4, 160_000)], axis=1)
    for stamp, row in zip(stamps, columns.tolist(), strict=True):
        yield b"PHLGM,%d,%d,%d,%d,%d,%d,%d,%d" % (*stamp, *row)


def _rate_bodies(measured: Measured, stamps: list[tuple[int, int]]) -> Iterable[bytes]:
    temperature = _whole(measured.temperature_c[:, None] * 10, 2_000)
    columns = np.concatenate([_whole(measured.rate_deg_s * 100, 400_000), temperature], axis=1)
    for stamp, row in zip(stamps, columns.tolist(), strict=True):
        yield b"PHLGG,%d,%d,%d,%d,%d,%d" % (*stamp, *row)


def _attitude_bodies(measured: Measured, stamps: list[tuple[int, int]]) -> Iterable[bytes]:
    heading, tilt, pitch = board_attitude(measured)
    status = _COMPENSATED + 2 * measured.field_clipped + 4 * measured.force_clipped
    angles = [_whole(a * 100, 18_000).tolist() for a in (tilt, pitch)]
    whole = (_whole(heading * 100, 36_000) % 36_000).tolist()
    for stamp, h, r, p, bits in zip(stamps, whole, *angles, status.tolist(), strict=True):
        signs = [b"-" if angle < 0 else b"" for angle in (r, p)]
        turned = (h // 100, h % 100, signs[0], abs(r) // 100, abs(r) % 100)
        lifted = (signs[1], abs(p) // 100, abs(p) % 100)
        yield b"PHLGA,%d,%d,%d.%02d,%s%d.%02d,%s%d.%02d,%X" % (*stamp, *turned, *lifted, bits)


def received(
    measured: Measured, sent: Sequence[bytes], settings: BoardSettings, rng: np.random.Generator
) -> list[Chunk]:
    """The bytes with the host's receive times: link, latency, jitter of a busy host.

    Times are whole milliseconds and never decrease.
    """
    size = np.array([len(text) for text in sent], dtype=float)
    link_s = 0.0 if settings.link_baud is None else size * _BITS_A_BYTE / settings.link_baud
    late = 0.002 + link_s + rng.exponential(0.001, len(sent))
    t = np.round(np.maximum.accumulate(measured.t_s + late), 3).tolist()
    return [(at, text) for at, text in zip(t, sent, strict=True) if text]


def _whole(values: Floats, limit: int) -> Ints:
    return np.clip(np.round(values), -limit, limit).astype(np.int64)


def _closed(body: bytes) -> bytes:
    """A whole sentence of our own."""
    return framed(b"%s,%04X" % (body, check(body)))
