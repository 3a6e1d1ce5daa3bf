"""From a file to a stream, whichever kind of file it is, and what is to be said of it."""

from __future__ import annotations

import hashlib
from dataclasses import replace
from itertools import pairwise
from pathlib import Path

from firmware_protocol import Refusal, decode_sentence
from logger.checks import Check
from logger.recording.decode import FAULTS, StreamBuilder
from logger.recording.nmea_log import parse_plain_log
from logger.recording.reader import Recording, is_recording, parse_recording, read_bytes
from logger.recording.samples import Stream, as_note


def load_stream(
    path: Path, *, rate_hz: float | None = None, accept_broken_seal: bool = False
) -> tuple[Recording, Stream]:
    """Read a file and decode it; the first line alone decides what it is."""
    content = read_bytes(path)
    if is_recording(content):
        recording = parse_recording(content, path, accept_broken_seal=accept_broken_seal)
        stream = decode_recording(recording)
    else:
        stream = parse_plain_log(content, str(path), rate_hz)
        digest = hashlib.sha256(content).hexdigest()
        log = ("a plain log, not a recording",)
        recording = Recording(path, {}, False, digest, log, plain_log=True)
    problems = (*recording.problems, *stream.doubts)
    return replace(recording, problems=problems, content=b""), stream


def decode_recording(recording: Recording) -> Stream:
    """Decode the sentences of a recording; each is checked again as when it came."""
    builder = StreamBuilder()
    for kind, t_s, value in recording.records():
        if kind == b"n":
            builder.note(as_note(t_s, value))
            continue
        sentence = decode_sentence(value.rstrip(b"\r\n"))
        if kind == b"x" and not isinstance(sentence, Refusal):
            # What a later, wiser decoder would take still counts as refused: it bears no place.
            sentence = Refusal("damaged on the line")
        builder.sentence(t_s, sentence)
    return builder.stream()


def recording_checks(recording: Recording, stream: Stream) -> tuple[Check, ...]:
    """What in a recording fails a check; being cut short, or a doubtful clock, alone does not."""
    name = recording.path.name
    harmless = ("not sealed", "the last line is torn", "a plain log", "no header", "time in doubt",
                FAULTS)  # fmt: skip
    damage = [p for p in recording.problems if not p.startswith(harmless)]
    why = f"{name}: " + ("; ".join(damage) or "every record can be read")
    checks = [Check("recording readable", not damage, float(len(damage)), 0.0, "", why)]
    if recording.started is None and not recording.plain_log:
        why = (
            f"{name} does not say when it was started: whether its calibrations are of that day "
            "cannot be judged; use the original"
        )
        checks.append(Check("recording dated", False, None, None, "", why))
    if len(stream.boards) > 1:
        changes = "; ".join(after.after(before) for before, after in pairwise(stream.boards))
        why = (
            f"{name}: {changes}; each part gets its own board's calibrations or none: sweep again "
            "with one board"
        )
        checks.append(Check("one board", False, float(len(stream.boards)), 1.0, "", why))
    return tuple(checks)
