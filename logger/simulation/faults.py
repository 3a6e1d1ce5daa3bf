"""What goes wrong on a link, as small functions from chunks to chunks; compose them freely.

None of them changes when bytes arrive. All are deterministic.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from functools import reduce
from typing import TypeAlias

import numpy as np

from logger.simulation.board import Chunk

Fault: TypeAlias = Callable[[Sequence[Chunk]], list[Chunk]]


def damaged(chunks: Sequence[Chunk], faults: Sequence[Fault]) -> list[Chunk]:
    """The chunks after one fault and then the next."""
    return reduce(lambda so_far, fault: fault(so_far), faults, list(chunks))


def _byte_by_byte(share: float, change: Callable[[bytes, int], bytes]) -> Fault:
    """Change a share of all bytes, drawn independently; the generator's integer varies it."""

    def fault(chunks: Sequence[Chunk]) -> list[Chunk]:
        rng = np.random.default_rng([0, 9001])
        changed = []
        for t, text in chunks:
            hit = np.flatnonzero(rng.random(len(text)) < share)
            draw = rng.integers(0, 2**31, len(hit))
            pieces, last = [], 0
            for i, number in zip(hit.tolist(), draw.tolist(), strict=True):
                pieces += [text[last:i], change(text[i : i + 1], number)]
                last = i + 1
            changed.append((t, b"".join(pieces) + text[last:]))
        return changed

    return fault


def drop_bytes(share: float) -> Fault:
    """A share of the bytes never arrives."""
    return _byte_by_byte(share, lambda _byte, _number: b"")


def flip_bits(share: float) -> Fault:
    """One bit of a share of the bytes arrives the other way round."""
    return _byte_by_byte(share, lambda byte, number: bytes([byte[0] ^ (1 << number % 8)]))


def double_bytes(share: float) -> Fault:
    """A share of the bytes arrives twice."""
    return _byte_by_byte(share, lambda byte, _number: byte * 2)


def silence(from_s: float) -> Fault:
    """Nothing arrives any more."""

    def fault(chunks: Sequence[Chunk]) -> list[Chunk]:
        return [(t, text) for t, text in chunks if t < from_s]

    return fault


def stop_in_mid_sentence(at_s: float) -> Fault:
    """Half a chunk arrives, and nothing after it."""

    def fault(chunks: Sequence[Chunk]) -> list[Chunk]:
        kept = [(t, text) for t, text in chunks if t < at_s]
        after = [(t, text) for t, text in chunks if t >= at_s]
        return kept + [(t, text[: len(text) // 2]) for t, text in after[:1]]

    return fault


FAULTS: dict[str, Callable[[float], Fault]] = {
    "drop": drop_bytes,
    "flip": flip_bits,
    "double": double_bytes,
    "silent": silence,
    "half": stop_in_mid_sentence,
}
"""By name, made from a share or a time."""
