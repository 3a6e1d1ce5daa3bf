"""One sentence between bytes and value, both ways, as SPECIFICATION.md has it."""

from __future__ import annotations

import re
from binascii import crc_hqx
from collections.abc import Callable
from dataclasses import dataclass, fields
from functools import reduce
from itertools import permutations
from operator import xor
from typing import Any

from firmware_protocol.sentences import (
    Attitude,
    Configure,
    Cue,
    Fault,
    Identity,
    Key,
    MagneticHeading,
    PitchRoll,
    Query,
    RawField,
    RawRate,
    Refusal,
    Sentence,
    TrueHeading,
    Unknown,
)

PROTOCOL_VERSION = 1
LONGEST_WRITTEN = 82
LONGEST_READ = 128
LINE_END = b"\r\n"
FAULT_CODES = ("SENSOR", "RANGE", "CONFIG", "OVERRUN")
CUES = ("GOOD", "REDO", "FIELD", "SUN", "DONE", "OFF")

REASONS = {
    "noise": "bytes outside a sentence",
    "too long": f"more than {LONGEST_READ} bytes",
    "no checksum": "does not end in * and two upper-case hex digits",
    "unprintable": "a byte outside printable ASCII inside a sentence",
    "checksum": "the XOR of the body differs",
    "check": "the CRC of one of our own sentences is missing or differs",
    "fields": "fewer fields than the sentence has",
    "form": "a field is not written as its kind demands",
    "range": "a number outside its limits",
}
_REFUSALS = {reason: Refusal(reason) for reason in REASONS}

_FRAMED = re.compile(rb"\$([ -#%-)+-~]*)\*([0-9A-F]{2})")
_ENDS_IN_CHECKSUM = re.compile(rb"\*[0-9A-F]{2}\Z")


def checksum(body: bytes) -> int:
    """XOR of all bytes of ``body``."""
    return reduce(xor, body, 0)


def check(body: bytes) -> int:
    """CRC-16, polynomial 0x1021, start 0xFFFF, not reflected; ``123456789`` gives 0x29B1."""
    return crc_hqx(body, 0xFFFF)


# --- The kinds of field of our own sentences ---


@dataclass(frozen=True)
class _Kind:
    """A kind of field: ``form`` matches its text, ``read`` makes a value of it, ``write`` text."""

    form: bytes
    read: Callable[[bytes], Any]
    write: Callable[[Any], bytes]
    limits: tuple[int, int] | None = None
    may_be_empty: bool = False


def _whole(low: int, high: int, *, may_be_empty: bool = False) -> _Kind:
    form = rb"0|-?[1-9][0-9]*"
    return _Kind(form, int, lambda value: b"%d" % value, (low, high), may_be_empty)


def _hundredths(low: int, high: int) -> _Kind:
    def write(value: int) -> bytes:
        units, rest = divmod(abs(value), 100)
        return b"%s%d.%02d" % (b"-" if value < 0 else b"", units, rest)

    form = rb"-?(?:0|[1-9][0-9]*)\.[0-9][0-9]"
    return _Kind(form, lambda text: int(text.replace(b".", b"")), write, (low, high), True)


def _one_of(*words: str) -> _Kind:
    return _Kind("|".join(words).encode(), _ascii, str.encode)


def _streams(fewest: int) -> _Kind:
    orders = (order for count in range(fewest, 4) for order in permutations("AMG", count))
    return _one_of(*map("".join, orders))


def _ascii(text: bytes) -> str:
    return text.decode("ascii")


_ESCAPE = re.compile(rb"\^([0-9A-Fa-f]{2})")


def _read_text(text: bytes) -> str:
    if b"^" in text:
        text = _ESCAPE.sub(lambda found: bytes((int(found[1], 16),)), text)
    return text.decode("utf-8")


def _write_text(value: str) -> bytes:
    return b"".join(
        b"^%02X" % byte if byte in b"$*,\\^" or not 0x20 <= byte <= 0x7E else b"%c" % byte
        for byte in value.encode("utf-8")
    )


_SEQ = _whole(0, 65_535)
_T_MS = _whole(0, 2**32 - 1)
_FIELD = _whole(-160_000, 160_000, may_be_empty=True)
_FORCE = _whole(-160_000, 160_000, may_be_empty=True)
_RATE = _whole(-400_000, 400_000, may_be_empty=True)
_TEMPERATURE = _whole(-1_000, 2_000, may_be_empty=True)
_RATE_HZ = _whole(1, 200)
_TEXT = _Kind(rb"(?:[ -#%-)+\--\[\]_-~]|\^[0-9A-Fa-f]{2})*", _read_text, _write_text)
_HEX_DIGIT = _Kind(rb"[0-9A-F]", lambda text: int(text, 16), lambda n: b"%X" % n, (0, 15))
_DOWN = _Kind(rb"[DU]", lambda text: text == b"D", lambda down: b"D" if down else b"U")


class _Layout:
    """How one of our own sentences is laid out: its tag, its value, its fields in order."""

    def __init__(self, tag: bytes, made: Callable[..., Sentence], *kinds: _Kind) -> None:
        self.tag, self.made, self.kinds = tag, made, kinds
        forms = (b",(" + kind.form + (b"|)" if kind.may_be_empty else b")") for kind in kinds)
        more = rb"(?:,[^,]*)*"
        self._match = re.compile(tag + b"".join(forms) + more).fullmatch
        self._readers = tuple((kind.read, kind.limits, kind.may_be_empty) for kind in kinds)

    def read(self, body: bytes) -> Sentence | Refusal:
        """The value of a body whose CRC is right and cut off."""
        found = self._match(body)
        if found is None:
            return _REFUSALS["fields" if body.count(b",") < len(self.kinds) else "form"]
        values: list[Any] = []
        within = True
        for text, (read, limits, may_be_empty) in zip(found.groups(), self._readers, strict=True):
            if may_be_empty and not text:
                values.append(None)
                continue
            try:
                value = read(text)
            except UnicodeDecodeError:
                return _REFUSALS["form"]
            if limits is not None and not limits[0] <= value <= limits[1]:
                within = False
            values.append(value)
        return self.made(*values) if within else _REFUSALS["range"]

    def write(self, sentence: Sentence) -> bytes:
        """The body, CRC and all."""
        body = self.tag
        for field, kind in zip(fields(sentence), self.kinds, strict=True):
            value = getattr(sentence, field.name)
            what = f"{type(sentence).__name__}.{field.name}"
            if value is None and kind.may_be_empty:
                body += b","
                continue
            if kind.limits is not None:
                low, high = kind.limits
                if isinstance(value, bool) or not isinstance(value, int):
                    raise ValueError(f"{what} is {value!r}, a whole number is needed")
                if not low <= value <= high:
                    raise ValueError(f"{what} is {value}, outside {low} to {high}")
            elif not isinstance(value, bool if kind is _DOWN else str):
                raise ValueError(f"{what} is {value!r}, which cannot be written")
            text = kind.write(value)
            if re.fullmatch(kind.form, text) is None or kind.read(text) != value:
                raise ValueError(f"{what} is {value!r}, which the sentence has no room for")
            body += b"," + text
        return body + b",%04X" % check(body)


_LAYOUTS = (
    _Layout(b"PHLGI", Identity, _whole(1, 65_535), _TEXT, _TEXT, _TEXT, _RATE_HZ, _streams(0)),
    _Layout(
        b"PHLGA",
        Attitude,
        _SEQ,
        _T_MS,
        _hundredths(0, 35_999),
        _hundredths(-18_000, 18_000),
        _hundredths(-9_000, 9_000),
        _HEX_DIGIT,
    ),
    _Layout(b"PHLGM", RawField, _SEQ, _T_MS, _FIELD, _FIELD, _FIELD, _FORCE, _FORCE, _FORCE),
    _Layout(b"PHLGG", RawRate, _SEQ, _T_MS, _RATE, _RATE, _RATE, _TEMPERATURE),
    _Layout(b"PHLGK", Key, _SEQ, _T_MS, _whole(1, 2), _DOWN),
    _Layout(b"PHLGE", Fault, _T_MS, _one_of(*FAULT_CODES), _TEXT),
    _Layout(b"PHLGQ", Query),
    _Layout(b"PHLGC", Configure, _RATE_HZ, _streams(1)),
    _Layout(b"PHLGU", Cue, _one_of(*CUES)),
)
_BY_TAG = {layout.tag: layout for layout in _LAYOUTS}
_LAYOUT_OF = {layout.made: layout for layout in _LAYOUTS}


# --- The standard sentences of other boards ---

_DECIMAL = re.compile(rb"[+-]?(?:[0-9]+\.?[0-9]*|\.[0-9]+)")
_STANDARD = re.compile(rb"[A-OQ-Z][A-Z0-9](HDG|HDM|HDT|XDR)")
_PITCH_NAMES = frozenset((b"PITCH", b"PTCH", b"TRIM"))
_ROLL_NAMES = frozenset((b"ROLL", b"HEEL"))


class _RefusedError(Exception):
    """Carries the reason out of the reading of a standard sentence."""


def _decimal(text: bytes, low: float, high: float) -> float | None:
    if not text:
        return None
    if _DECIMAL.fullmatch(text) is None:
        raise _RefusedError("form")
    value = float(text)
    if not low <= value <= high:
        raise _RefusedError("range")
    return value


def _east_positive(text: bytes, side: bytes) -> float | None:
    value = _decimal(text, 0.0, 180.0)
    if value is None:
        return None
    if side not in (b"E", b"W"):
        raise _RefusedError("form")
    return value if side == b"E" or value == 0.0 else -value


def _read_standard(kind: bytes, parts: list[bytes]) -> Sentence | Unknown:
    match kind, parts:
        case b"HDG", [_, heading, deviation, its_side, variation, side, *_]:
            return MagneticHeading(
                _decimal(heading, 0.0, 360.0),
                _east_positive(deviation, its_side),
                _east_positive(variation, side),
            )
        case b"HDM", [_, heading, b"M", *_]:
            return MagneticHeading(_decimal(heading, 0.0, 360.0))
        case b"HDT", [_, heading, b"T", *_]:
            return TrueHeading(_decimal(heading, 0.0, 360.0))
        case b"XDR", _:
            return _read_transducers(parts)
    raise _RefusedError("fields" if kind == b"HDG" or len(parts) < 3 else "form")


def _read_transducers(parts: list[bytes]) -> Sentence | Unknown:
    pitch = roll = None
    named = False
    for at in range(1, len(parts) - 3, 4):
        kind, value, unit, name = parts[at : at + 4]
        if kind != b"A" or unit != b"D":
            continue
        name = name.upper()
        if name in _PITCH_NAMES:
            pitch, named = _decimal(value, -90.0, 90.0), True
        elif name in _ROLL_NAMES:
            roll, named = _decimal(value, -180.0, 180.0), True
    return PitchRoll(pitch, roll) if named else Unknown(parts[0].decode())


def _write_decimal(value: float | None, low: float, high: float, what: str) -> bytes:
    if value is None:
        return b""
    if not low <= value <= high:
        raise ValueError(f"{what} is {value}, outside {low:g} to {high:g}")
    return str(round(value, 3) + 0.0).encode()  # + 0.0 makes a zero positive


def _write_east_positive(value: float | None, what: str) -> bytes:
    if value is None:
        return b","
    side = b"E" if value >= 0 else b"W"
    return _write_decimal(abs(value), 0.0, 180.0, what) + b"," + side


def _write_standard(sentence: Any) -> bytes:
    match sentence:
        case MagneticHeading(heading, deviation, variation):
            return b"HCHDG,%s,%s,%s" % (
                _write_decimal(heading, 0.0, 360.0, "heading_deg"),
                _write_east_positive(deviation, "deviation_deg"),
                _write_east_positive(variation, "variation_deg"),
            )
        case TrueHeading(heading):
            return b"HEHDT,%s,T" % _write_decimal(heading, 0.0, 360.0, "heading_deg")
        case PitchRoll(pitch, roll):
            angles = (
                _write_decimal(pitch, -90.0, 90.0, "pitch_deg"),
                _write_decimal(roll, -180.0, 180.0, "roll_deg"),
            )
            return b"YXXDR,A,%s,D,PITCH,A,%s,D,ROLL" % angles
    raise ValueError(f"{sentence!r} cannot be sent")


# --- Whole sentences ---


def framed(body: bytes) -> bytes:
    """A body between ``$`` and its checksum, with CR LF."""
    return b"$%s*%02X\r\n" % (body, checksum(body))


def encode(sentence: Sentence) -> bytes:
    """One sentence as bytes, CR LF included.

    Decimals of the standard sentences are rounded to thousandths.
    """
    layout = _LAYOUT_OF.get(type(sentence))
    line = framed(layout.write(sentence) if layout else _write_standard(sentence))
    if len(line) > LONGEST_WRITTEN:
        raise ValueError(
            f"{type(sentence).__name__} takes {len(line)} bytes, {LONGEST_WRITTEN} are allowed"
        )
    return line


def decode_sentence(text: bytes) -> Sentence | Unknown | Refusal:
    """One sentence without its line end as a value, or the reason to refuse it."""
    found = _FRAMED.fullmatch(text)
    if found is None or len(text) + len(LINE_END) > LONGEST_READ:
        return _REFUSALS[_why_not_framed(text)]
    body = found[1]
    if b"%02X" % checksum(body) != found[2]:
        return _REFUSALS["checksum"]
    if body.startswith(b"PHLG"):
        content = body[:-5]
        if body[-5:] != b",%04X" % check(content):
            return _REFUSALS["check"]
        tag = content[:5] if content[5:6] in b"," else content
        layout = _BY_TAG.get(tag)
        return layout.read(content) if layout else Unknown(_tag_of(content))
    tag = body[:5]
    known = _STANDARD.fullmatch(tag)
    if known is None or body[5:6] not in b",":
        return Unknown(_tag_of(body))
    try:
        return _read_standard(known[1], body.split(b","))
    except _RefusedError as refused:
        return _REFUSALS[str(refused)]


def _tag_of(body: bytes) -> str:
    return body.split(b",", 1)[0].decode("ascii")


def _why_not_framed(text: bytes) -> str:
    if not text.startswith(b"$"):
        return "noise"
    if len(text) + len(LINE_END) > LONGEST_READ:
        return "too long"
    if _ENDS_IN_CHECKSUM.search(text) is None:
        return "no checksum"
    return "unprintable"
