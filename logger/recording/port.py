"""From a file to a stream, whichever kind of file it is."""

from __future__ import annotations

import hashlib
from dataclasses import replace
from itertools import pairwise
from pathlib import Path

from firmware_protocol import Refusal, decode_sentence
from logger.recording.decode import StreamBuilder
from logger.recording.nmea_log import parse_plain_log
from logger.recording.reader import Recording, is_recording, parse_recording, read_bytes
from logger.recording.records import printable
from logger.recording.samples import Note, Stream

_BLOCK = 2048
"""Sentences decoded at a time: enough to be quick, few enough to take no room."""


def load_stream(
    path: Path, *, rate_hz: float | None = None, accept_broken_seal: bool = False
) -> tuple[Recording, Stream]:
    """Read a file and decode it; the first line alone decides what it is."""
    content = read_bytes(path)
    if is_recording(content):
        recording = parse_recording(content, path, accept_broken_seal=accept_broken_seal)
        stream = decode_recording(recording)
        problems = (*recording.problems, *stream.doubts)
        return replace(recording, problems=problems, sentences=()), stream
    stream = parse_plain_log(content, str(path), rate_hz)
    digest = hashlib.sha256(content).hexdigest()
    return Recording(path, {}, [], [], [], False, digest, ("a plain log, not a recording",)), stream


def decode_recording(recording: Recording) -> Stream:
    """Decode the sentences of a recording; each is checked again as when it came."""
    builder, gaps = StreamBuilder(), set(recording.gaps)
    total = len(recording.sentences)
    edges = sorted({*range(0, total, _BLOCK), *(gap for gap in gaps if gap < total), total})
    for start, stop in pairwise(edges):
        if start in gaps:
            builder.interrupted()
        times, lines = zip(*recording.sentences[start:stop], strict=True)
        builder.feed_lines(times, lines)
    for _, raw in recording.unsound:
        # What a later, wiser decoder would take still counts as refused: it bears no place.
        found = decode_sentence(raw.rstrip(b"\r\n"))
        builder.damaged(found.reason if isinstance(found, Refusal) else "damaged on the line")
    for t, note in recording.notes:
        builder.note(as_note(t, note))
    return builder.stream()


def as_note(t_s: float, note: dict[str, object]) -> Note:
    """An ``n`` record as a note; ``at_s`` sets it back to the moment it speaks of."""
    label, kind, at_s = note.get("label"), note.get("kind"), note.get("at_s")
    if isinstance(at_s, (int, float)) and not isinstance(at_s, bool) and 0 <= at_s <= t_s:
        t_s = float(at_s)
    return Note(
        t_s,
        printable(label) if isinstance(label, str) else "",
        printable(kind) if isinstance(kind, str) else "",
        {k: v for k, v in note.items() if k not in ("label", "kind")},
    )
