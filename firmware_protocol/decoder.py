"""A stream of bytes into sentences: never raises on noise, never grows on a stuck port."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass
from typing import Any, TypeAlias

from firmware_protocol.codec import LONGEST_READ, decode_sentence
from firmware_protocol.sentences import Measuring, Refusal, Sentence, Unknown

_FASTEST_INSTANTS_MS = 5
"""The highest rate of the contract, 200 a second, as milliseconds between instants."""


@dataclass(frozen=True, slots=True)
class Sound:
    """A sentence that passed every check; ``raw`` is it as received, without its line end."""

    raw: bytes
    sentence: Sentence | Unknown


@dataclass(frozen=True, slots=True)
class Unsound:
    """Bytes that were no valid sentence, every one of them, with any line end."""

    raw: bytes
    reason: str


Piece: TypeAlias = Sound | Unsound


class Decoder:
    """Feed it bytes as they come; how they were split never changes what comes out."""

    def __init__(self) -> None:
        self.accepted = 0
        self.unknown = 0
        self.lost = 0
        self.refused: Counter[str] = Counter()
        self._tail = b""
        self._last: tuple[int, int] | None = None

    def feed(self, chunk: bytes) -> list[Piece]:
        """Whatever became whole with this chunk, in the order received."""
        lines = (self._tail + chunk).split(b"\n")
        tail = lines.pop()
        pieces: list[Piece] = []
        for line in lines:
            if line.rfind(b"$") == 0 and len(line) < LONGEST_READ:
                self._take(line + b"\n", pieces)
            else:
                self._cut(line + b"\n", pieces)
        self._tail = self._cut(tail, pieces)
        return pieces

    def finish(self) -> list[Piece]:
        """End of the stream: a last sentence without a line end is judged as it stands."""
        pieces: list[Piece] = []
        if self._tail:
            self._take(self._tail, pieces)
            self._tail = b""
        return pieces

    def count(self, seq: Any, t_ms: Any) -> None:
        """Count measuring sentences that `firmware_protocol.bulk` read, at least one, in order."""
        self.accepted += len(seq)
        self._count_lost(int(seq[0]), int(t_ms[0]))
        self.lost += int(_missing(seq[1:] - seq[:-1], t_ms[1:] - t_ms[:-1]).sum())
        self._last = int(seq[-1]), int(t_ms[-1])

    def _cut(self, text: bytes, pieces: list[Piece]) -> bytes:
        """Take pieces that end with the line, at the next ``$`` or at the length limit.

        What may still grow is returned.
        """
        start, end = 0, len(text)
        while start < end:
            limit = start + LONGEST_READ
            stop = text.find(b"$", start + 1, limit)
            if stop < 0:
                if end - start >= LONGEST_READ:
                    stop = limit
                elif text.endswith(b"\n"):
                    stop = end
                else:
                    break
            self._take(text[start:stop], pieces)
            start = stop
        return text[start:]

    def _take(self, piece: bytes, pieces: list[Piece]) -> None:
        text = piece.rstrip(b"\r\n")
        if not text:
            return
        sentence = decode_sentence(text)
        if isinstance(sentence, Refusal):
            self.refused[sentence.reason] += 1
            pieces.append(Unsound(piece, sentence.reason))
            return
        if isinstance(sentence, Unknown):
            self.unknown += 1
        else:
            self.accepted += 1
            if isinstance(sentence, Measuring):
                self._count_lost(sentence.seq, sentence.t_ms)
        pieces.append(Sound(text, sentence))

    def _count_lost(self, seq: int, t_ms: int) -> None:
        if self._last is not None:
            self.lost += _missing(seq - self._last[0], t_ms - self._last[1])
        self._last = seq, t_ms


def _missing(steps: Any, elapsed_ms: Any) -> Any:
    """Instants missing between one sentence and the next; of numbers, or of columns of them."""
    steps, elapsed_ms = steps & 0xFFFF, elapsed_ms & 0xFFFFFFFF
    could = steps <= elapsed_ms // _FASTEST_INSTANTS_MS + 1
    return ((steps > 1) & could & (elapsed_ms < 2**31)) * (steps - 1)
