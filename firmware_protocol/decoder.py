"""A stream of bytes into sentences: never raises on noise, never grows on a stuck port."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass
from typing import TypeAlias

from firmware_protocol.codec import LONGEST_READ, decode_sentence
from firmware_protocol.sentences import Attitude, RawField, RawRate, Refusal, Sentence, Unknown

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
    """Feed it bytes as they come; how they were split never changes what comes out.

    Attributes
    ----------
    accepted : int
        Sentences understood.
    unknown : int
        Sound sentences of other kinds.
    refused : Counter of str
        Pieces refused, by reason.
    lost : int
        Instants missing according to ``seq``. A board that starts again loses none: its ``t_ms``
        goes back, or ``seq`` moves further than 200 instants a second could take it.
    """

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
            if isinstance(sentence, Attitude | RawField | RawRate):
                self._count_lost(sentence.seq, sentence.t_ms)
        pieces.append(Sound(text, sentence))

    def _count_lost(self, seq: int, t_ms: int) -> None:
        if self._last is not None:
            steps = (seq - self._last[0]) & 0xFFFF
            elapsed_ms = (t_ms - self._last[1]) & 0xFFFFFFFF
            if 1 < steps <= elapsed_ms // _FASTEST_INSTANTS_MS + 1 and elapsed_ms < 2**31:
                self.lost += steps - 1
        self._last = seq, t_ms
