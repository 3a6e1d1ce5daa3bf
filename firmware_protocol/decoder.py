"""A stream of bytes into sentences: never raises on noise, never grows on a stuck port."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass
from typing import TypeAlias

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


class Counts:
    """What came so far: sentences understood and not, pieces refused, instants that are missing."""

    def __init__(self) -> None:
        self.accepted = 0
        self.unknown = 0  # Sound sentences of kinds that this version has no use for
        self.lost = 0  # Instants missing by the board's own count
        self.refused: Counter[str] = Counter()  # By reason
        self._last: tuple[int, int] | None = None

    def count(self, sentence: Sentence | Unknown | Refusal) -> None:
        """Count one more."""
        if isinstance(sentence, Refusal):
            self.refused[sentence.reason] += 1
        elif isinstance(sentence, Unknown):
            self.unknown += 1
        else:
            self.accepted += 1
            if isinstance(sentence, Measuring):
                if self._last is not None:
                    self.lost += _missing(
                        sentence.seq - self._last[0], sentence.t_ms - self._last[1]
                    )
                self._last = sentence.seq, sentence.t_ms


class Decoder(Counts):
    """Feed it bytes as they come; how they were split never changes what comes out."""

    def __init__(self) -> None:
        super().__init__()
        self._tail = b""

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
        self.count(sentence)
        if isinstance(sentence, Refusal):
            pieces.append(Unsound(piece, sentence.reason))
        else:
            pieces.append(Sound(text, sentence))


def _missing(steps: int, elapsed_ms: int) -> int:
    """Instants missing between one sentence and the next."""
    steps, elapsed_ms = steps & 0xFFFF, elapsed_ms & 0xFFFFFFFF
    could = steps <= elapsed_ms // _FASTEST_INSTANTS_MS + 1
    return steps - 1 if steps > 1 and could and elapsed_ms < 2**31 else 0
