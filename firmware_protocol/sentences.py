"""The sentences of the wire contract as plain values, in the integer units of the wire.

An empty field ("not measured") is None. The standard headings and angles of other makers' boards
are floats in degrees, because their sentences carry any number of decimals.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TypeAlias


@dataclass(frozen=True, slots=True)
class Identity:
    """``$PHLGI``: what a board says of itself, and what it sends now."""

    protocol: int
    board: str
    serial_number: str
    firmware: str
    rate_hz: int
    streams: str


@dataclass(frozen=True, slots=True)
class Attitude:
    """``$PHLGA``: attitude as the board computes it, in hundredths of a degree."""

    seq: int
    t_ms: int
    heading_cdeg: int | None
    tilt_cdeg: int | None
    pitch_cdeg: int | None
    status: int


@dataclass(frozen=True, slots=True)
class RawField:
    """``$PHLGM``: magnetic field in 0.01 uT and specific force in 0.1 mg, body axes."""

    seq: int
    t_ms: int
    mx: int | None
    my: int | None
    mz: int | None
    fx: int | None
    fy: int | None
    fz: int | None


@dataclass(frozen=True, slots=True)
class RawRate:
    """``$PHLGG``: angular rate in 0.01 deg/s about the body axes, temperature in 0.1 degC."""

    seq: int
    t_ms: int
    gx: int | None
    gy: int | None
    gz: int | None
    temperature: int | None


TRIGGER_KEY, PRESS_KEY = 1, 2
"""Keys of a board: the trigger opens and closes a recording, a press marks a moment in it."""


@dataclass(frozen=True, slots=True)
class Key:
    """``$PHLGK``: a key went down or up."""

    seq: int
    t_ms: int
    key: int
    down: bool


@dataclass(frozen=True, slots=True)
class Fault:
    """``$PHLGE``: the board reports a fault."""

    t_ms: int
    code: str
    text: str


@dataclass(frozen=True, slots=True)
class Query:
    """``$PHLGQ``: the host asks who is there."""


@dataclass(frozen=True, slots=True)
class Configure:
    """``$PHLGC``: the host asks for a rate and for streams (letters A, M, G)."""

    rate_hz: int
    streams: str


@dataclass(frozen=True, slots=True)
class Cue:
    """``$PHLGU``: the host has the board give a signal."""

    cue: str


@dataclass(frozen=True, slots=True)
class MagneticHeading:
    """Standard ``HDG`` or ``HDM``: the compass reading, deviation and variation east positive.

    The deviation is carried, not applied.
    """

    heading_deg: float | None
    deviation_deg: float | None = None
    variation_deg: float | None = None


@dataclass(frozen=True, slots=True)
class TrueHeading:
    """Standard ``HDT``: a heading from true north."""

    heading_deg: float | None


@dataclass(frozen=True, slots=True)
class PitchRoll:
    """Standard ``XDR``: pitch up positive, roll right side down positive; None where not sent."""

    pitch_deg: float | None
    roll_deg: float | None


@dataclass(frozen=True, slots=True)
class Unknown:
    """A sound sentence that this version has no use for; ``tag`` is its first field."""

    tag: str


@dataclass(frozen=True, slots=True)
class Refusal:
    """Why bytes are no sentence; ``reason`` is one of `firmware_protocol.REASONS`."""

    reason: str


Measuring: TypeAlias = Attitude | RawField | RawRate
"""Sentences of a measuring instant: ``seq`` counts these."""
BoardSentence: TypeAlias = Identity | Measuring | Key | Fault
HostSentence: TypeAlias = Query | Configure | Cue
StandardSentence: TypeAlias = MagneticHeading | TrueHeading | PitchRoll
Sentence: TypeAlias = BoardSentence | HostSentence | StandardSentence
