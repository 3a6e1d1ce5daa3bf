"""Many sentences at a time into columns, for recordings; this module alone needs numpy.

It reads what boards send all the time, as they send it when nothing is amiss. Whatever is unusual
it leaves to `decode_sentence`, and both are built from the same layouts.
"""

from __future__ import annotations

import re
from binascii import crc_hqx
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import repeat
from typing import get_args

import numpy as np
from numpy.typing import NDArray

from firmware_protocol.codec import LAYOUT_OF, LONGEST_READ, check
from firmware_protocol.sentences import Measuring

_HEX = np.zeros(256, dtype=np.int64)
_HEX[list(b"0123456789ABCDEF")] = np.arange(16)


@dataclass(frozen=True, slots=True, eq=False)
class Columns:
    """Sentences of one kind."""

    made: type[Measuring]  # `Attitude`, `RawField` or `RawRate`
    lines: NDArray[np.int64]  # Which of the lines given they are, increasing. Shape (N,).
    # Their fields in the order and the integer units of the wire, ``seq`` and ``t_ms`` first.
    # Shape (N, fields).
    wire: NDArray[np.int64]

    def part(self, start: int, stop: int) -> Columns:
        """What stands in lines from ``start`` up to ``stop``, counted from ``start``."""
        first, last = np.searchsorted(self.lines, (start, stop))
        return Columns(self.made, self.lines[first:last] - start, self.wire[first:last])


class _Reader:
    def __init__(self, made: type[Measuring]) -> None:
        layout = LAYOUT_OF[made]
        fields = b"".join(b",(?:" + kind.number + b")" for kind in layout.kinds)
        framed = rb"\$" + layout.tag + b"(" + fields + rb"),[0-9A-F]{4}\*[0-9A-F]{2}\n"
        self.tag, self._made, self._check_of_tag = layout.tag, made, check(layout.tag)
        self._find = re.compile(framed + rb"|.*\n").findall
        limits = np.array([kind.limits for kind in layout.kinds], dtype=np.int64)
        self._low, self._high = limits.T

    def read(self, text: bytes, starts: NDArray[np.int64], ends: NDArray[np.int64]) -> Columns:
        found = self._find(text)  # the fields of each line; empty where it is another kind
        lines = np.flatnonzero(np.fromiter(map(bool, found), dtype=np.bool_, count=len(found)))
        fields = list(filter(None, found))
        if not fields:
            return Columns(self._made, lines, np.empty((0, len(self._low)), dtype=np.int64))
        numbers = b"".join(fields)[1:].replace(b".", b"")
        wire = np.fromstring(numbers, dtype=np.int64, sep=",").reshape(len(fields), -1)
        chars = np.frombuffer(text, dtype=np.uint8)
        start, star = starts[lines], ends[lines] - 3
        body = np.column_stack([start + 1, star]).ravel()  # every other one: between two bodies
        xor = np.bitwise_xor.reduceat(chars, body)[::2]
        crc = np.fromiter(map(crc_hqx, fields, repeat(self._check_of_tag)), dtype=np.int64)
        # Within its limits no sentence is too long.
        sound = (
            (xor == _hex_digits(chars, star + 1, 2))
            & (crc == _hex_digits(chars, star - 4, 4))
            & ((wire >= self._low) & (wire <= self._high)).all(axis=1)
        )
        return Columns(self._made, lines[sound], wire[sound])


def _hex_digits(chars: NDArray[np.uint8], at: NDArray[np.int64], count: int) -> NDArray[np.int64]:
    digits = _HEX[chars[at[:, None] + np.arange(count)]]
    return np.asarray(digits @ 16 ** np.arange(count)[::-1], dtype=np.int64)


_READERS = tuple(_Reader(made) for made in get_args(Measuring))


def read_in_bulk(lines: Sequence[bytes]) -> list[Columns]:
    """The measuring sentences among many lines.

    Left out, to be read singly, are other kinds, damage, numbers outside their limits, empty
    fields, fields that this version does not know, and all lines if one holds a line feed.
    """
    text = b"".join([(line if len(line) < LONGEST_READ else b"") + b"\n" for line in lines])
    ends = np.flatnonzero(np.frombuffer(text, dtype=np.uint8) == ord("\n"))
    if len(ends) != len(lines):
        return []
    starts = np.concatenate([[0], ends[:-1] + 1])
    columns = (reader.read(text, starts, ends) for reader in _READERS if reader.tag in text)
    return [found for found in columns if len(found.lines)]
