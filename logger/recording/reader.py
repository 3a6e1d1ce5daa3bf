"""Read a recording: what is sound is used, what is damaged is named."""

from __future__ import annotations

import datetime as dt
import hashlib
import io
import json
import math
import re
from array import array
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, overload

from logger.errors import RecordingError, as_argument
from logger.files import read_within
from logger.recording.records import FIRST_LINE, MAGIC, printable

MOST_BYTES = 128 * 2**20
MOST_RECORDS = 1_000_000
"""At 600 sentences a second, the most the contract allows, half an hour; at 50 Hz, hours. What fits
into half a gigabyte of memory all the way to the report; a sweep goes on in a new recording."""
_FRAME = 3
"""First line, header and seal."""
MOST_NOTES = 5_000
"""Notes that are kept: no hand makes more in a sweep."""
LONGEST_LINE = 64 * 2**10

_STAMPED = re.compile(rb"([sxn]) ([0-9]{1,7}(?:\.[0-9]{1,9})?)(?: |(?=\n))").match
_BYTE_ORDER_MARK = b"\xef\xbb\xbf"


class Sentences(Sequence[tuple[float, bytes]]):
    """Receive times and sentences, cut out of the file's bytes only when asked for."""

    def __init__(self, content: bytes) -> None:
        self._content = content
        self._times = array("d")
        self._starts = array("I")

    def add(self, t_s: float, start: int) -> None:
        """Take one more."""
        self._times.append(t_s)
        self._starts.append(start)

    def __len__(self) -> int:
        return len(self._times)

    @overload
    def __getitem__(self, at: int) -> tuple[float, bytes]: ...
    @overload
    def __getitem__(self, at: slice) -> list[tuple[float, bytes]]: ...
    def __getitem__(self, at: int | slice) -> tuple[float, bytes] | list[tuple[float, bytes]]:
        content = self._content
        if isinstance(at, slice):
            return [
                (t, content[start : content.index(b"\n", start)])
                for t, start in zip(self._times[at], self._starts[at], strict=True)
            ]
        start = self._starts[at]
        return self._times[at], content[start : content.index(b"\n", start)]


@dataclass(frozen=True, eq=False)
class Recording:
    """The records of one file, in order, not yet decoded."""

    path: Path
    header: Mapping[str, Any]  # The ``h`` record; empty if there is none
    sentences: Sequence[tuple[float, bytes]]  # Receive time and the sentence. [s]
    notes: list[tuple[float, dict[str, Any]]]  # Time and note. [s]
    unsound: list[tuple[float, bytes]]  # Bytes that were no valid sentence when they came. [s]
    sealed: bool  # It carries a seal that matches
    sha256: str  # Of the whole file
    # What is wrong with it, in words; empty for a whole, sealed recording
    problems: tuple[str, ...] = ()
    # How many sentences stand before each note that a lost link was back
    gaps: tuple[int, ...] = ()

    @property
    def started(self) -> dt.datetime | None:
        """When it was started, UTC; None if the header does not tell."""
        text = self.header.get("started")
        if not isinstance(text, str):
            return None
        try:
            moment = dt.datetime.fromisoformat(text)
            return moment.astimezone(dt.UTC) if moment.tzinfo else moment.replace(tzinfo=dt.UTC)
        except (ValueError, OverflowError):
            return None

    def text(self, key: str, default: str = "") -> str:
        """A header entry that should be text; the default if it is missing or something else."""
        value = self.header.get(key)
        return printable(value) if isinstance(value, str) else default

    def number(self, key: str) -> float | None:
        """A header entry that should be a finite number; None if missing or something else."""
        value = self.header.get(key)
        if isinstance(value, bool) or not isinstance(value, (int, float)):
            return None
        try:
            return float(value) if math.isfinite(value) else None
        except OverflowError:  # a whole number of hundreds of digits
            return None


def read_bytes(path: Path) -> bytes:
    """The whole file, within sense."""
    return read_within(path, MOST_BYTES, "sweep")


def is_recording(content: bytes) -> bool:
    """Whether a file's first line says that it is a recording."""
    return content.removeprefix(_BYTE_ORDER_MARK).startswith(MAGIC)


def read_recording(path: Path, *, accept_broken_seal: bool = False) -> Recording:
    """Read a ``*.sweep`` file.

    A torn last line is dropped and named; a recording without seal is taken and named.

    Parameters
    ----------
    path : Path
    accept_broken_seal : bool
        Go on, and say so in `Recording.problems`, where the seal does not match.

    Raises
    ------
    InputError
        The file cannot be read.
    RecordingError
        It is no recording, of another version, or its seal does not match.
    """
    return parse_recording(read_bytes(path), path, accept_broken_seal=accept_broken_seal)


def parse_recording(content: bytes, path: Path, *, accept_broken_seal: bool = False) -> Recording:
    """`read_recording` on bytes already in hand; `path` is for messages only."""
    where = str(path)
    first, newline, _ = content.partition(b"\n")
    if not is_recording(content):
        raise RecordingError("its first line does not say that it is a recording", where)
    if content.startswith(_BYTE_ORDER_MARK) or first == FIRST_LINE + b"\r":
        raise RecordingError(
            "some program changed its line ends or put a byte order mark before it",
            where,
            hint="use the original: a recording is copied as it is, never edited",
        )
    if first == FIRST_LINE and not newline:
        raise RecordingError("nothing but its first line", where)
    if first != FIRST_LINE:
        version = first[len(MAGIC) :][:20].decode("ascii", "replace")
        raise RecordingError(
            f"recording format {version!r}, this program reads 1",
            where,
            hint="a newer version of this program may read it",
        )
    found = _Parser(where, Sentences(content))
    found.parse(content)
    problems = list(found.problems)
    if found.seal is None:
        problems.append("not sealed: the recording was interrupted before its end")
    elif found.seal_fault:
        if not accept_broken_seal:
            raise RecordingError(
                f"broken seal: {found.seal_fault}; the file was changed after it was recorded",
                where,
                hint=_with_broken_seal(path, found.header),
            )
        problems.append(f"broken seal accepted: {found.seal_fault}")
    if not found.header:
        problems.append("no header")
    return Recording(
        path=path,
        header=found.header,
        sentences=found.sentences,
        notes=found.notes,
        unsound=found.unsound,
        sealed=found.seal is not None and not found.seal_fault,
        sha256=hashlib.sha256(content).hexdigest(),
        problems=tuple(problems),
        gaps=tuple(found.gaps),
    )


@dataclass
class _Parser:
    where: str
    sentences: Sentences
    header: dict[str, Any] = field(default_factory=dict)
    notes: list[tuple[float, dict[str, Any]]] = field(default_factory=list)
    unsound: list[tuple[float, bytes]] = field(default_factory=list)
    problems: list[str] = field(default_factory=list)
    gaps: list[int] = field(default_factory=list)
    notes_left_out: int = 0
    seal: dict[str, Any] | None = None
    seal_fault: str = ""

    def parse(self, content: bytes) -> None:
        bad: list[int] = []
        latest, backward, start = 0.0, 0, 0
        for number, line in enumerate(io.BytesIO(content), start=1):
            begins = start
            start += len(line)
            if not line.endswith(b"\n"):
                self.problems.append(f"the last line is torn and was dropped ({len(line)} bytes)")
                break
            if number == 1:
                continue
            if number > MOST_RECORDS + _FRAME:
                raise RecordingError(
                    f"more than {MOST_RECORDS} records, no sweep is that long", self.where
                )
            if self.seal is not None:
                self.seal_fault = self.seal_fault or "there are lines after it"
            if len(line) - 1 > LONGEST_LINE:
                bad.append(number)
            elif stamped := _STAMPED(line):
                t = float(stamped[2])
                if stamped[1] == b"s":
                    self.sentences.add(t, begins + stamped.end())
                elif not self._take(stamped[1], t, line[stamped.end() : -1]):
                    bad.append(number)
                    continue
                backward += t < latest
                latest = t
            elif line.startswith(b"h "):
                entry = json_object(line[2:-1])
                if entry is None or self.header or number != 2:
                    bad.append(number)
                else:
                    self.header = entry
            elif line.startswith(b"e "):
                self._check_seal(memoryview(content)[:begins], number - 2, line[2:-1])
            else:
                bad.append(number)
        if self.notes_left_out:
            self.problems.append(
                f"{self.notes_left_out} notes after the first {MOST_NOTES} left out"
            )
        if backward:
            self.problems.append(f"time steps back {backward} times")
        if bad:
            listed = ", ".join(map(str, bad[:5])) + (" …" if len(bad) > 5 else "")
            self.problems.append(f"{len(bad)} unreadable line(s) left out: {listed}")

    def _take(self, kind: bytes, t: float, payload: bytes) -> bool:
        if kind == b"n":
            note = json_object(payload)
            if len(self.notes) >= MOST_NOTES:
                self.notes_left_out += 1
            elif note is not None:
                self.notes.append((t, note))
                self._look_at(note)
            return note is not None
        try:
            self.unsound.append((t, bytes.fromhex(payload.decode("ascii"))))
        except ValueError:
            return False
        return True

    def _look_at(self, note: dict[str, Any]) -> None:
        if note.get("link") == "back":
            self.gaps.append(len(self.sentences))
        moved = note.get("host_clock_moved_s")
        if isinstance(moved, float):
            self.problems.append(
                f"time in doubt: the computer's clock was set by {moved:+.0f} s in mid-sweep"
            )

    def _check_seal(self, before: memoryview, records: int, rest: bytes) -> None:
        entry = json_object(rest)
        if entry is None:
            self.seal, self.seal_fault = {}, "it cannot be read"
            return
        self.seal = entry
        if entry.get("records") != records:
            self.seal_fault = f"it counts {entry.get('records')!r} records, the file has {records}"
        elif entry.get("sha256") != hashlib.sha256(before).hexdigest():
            self.seal_fault = "the SHA-256 of the records is another"


def _with_broken_seal(path: Path, header: Mapping[str, Any]) -> str:
    """How to go on with it; a sweep's is met in whole points too, which do not take one."""
    if header.get("purpose") in ("compass", "level", "bearing", "plane"):
        return "use the original, or go on with --accept-broken-seal"
    alone = f"horizon-logger replay {as_argument(path)} --accept-broken-seal"
    return f"use the original, or go on with this one alone: {alone}"


def json_object(text: bytes) -> dict[str, Any] | None:
    """What a record's JSON says; None where it is no sound object."""
    try:
        value = json.loads(text.decode("utf-8"), parse_constant=_refuse)
        if b"\\u" in text:  # half a surrogate pair, which could never be printed or stored
            json.dumps(value, ensure_ascii=False).encode("utf-8")
    except (ValueError, RecursionError):
        return None
    return value if isinstance(value, dict) else None


def _refuse(constant: str) -> None:
    raise ValueError(constant)
