"""Read a recording: what is sound is used, what is damaged is named.

First line ``horizon-logger recording 1``, then one record a line: ``h`` header, ``s`` sentence,
``n`` note, ``x`` bytes that were no sentence, ``e`` the seal.
"""

from __future__ import annotations

import datetime as dt
import hashlib
import io
import json
import math
import re
import time
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from logger.errors import InputError, RecordingError, as_argument
from logger.files import read_within
from logger.recording.samples import printable

MAGIC = b"horizon-logger recording "
FIRST_LINE = MAGIC + b"1\n"
MOST_BYTES = 128 * 2**20
# At 600 sentences a second, the most the contract allows, half an hour; at 50 Hz, hours. What
# fits into half a gigabyte of memory all the way to the report; a sweep goes on in a new
# recording.
MOST_RECORDS = 1_000_000
_FRAME = 3  # First line, header and seal
LONGEST_LINE = 64 * 2**10
UNSEALED = "not sealed: the recording was interrupted before its end"
NOTHING = "not sealed: the recording was interrupted before anything came"
_STAMPED = re.compile(rb"([sxn]) ([0-9]{1,7}(?:\.[0-9]{1,9})?)(?: |(?=\n))").match
_BYTE_ORDER_MARK = b"\xef\xbb\xbf"
_STILL_WRITTEN_S = 2.0


@dataclass(frozen=True, eq=False)
class Recording:
    """One file as it was recorded, not yet decoded."""

    path: Path
    header: Mapping[str, Any]  # The ``h`` record; empty if there is none
    sealed: bool  # It carries a seal that matches
    sha256: str  # Of the whole file
    # What is wrong with it, in words; empty for a whole, sealed recording
    problems: tuple[str, ...] = ()
    empty: bool = False  # It ended before anything came
    content: bytes = b""  # The file; let go once it has been decoded
    plain_log: bool = False  # Another program's log of sentences, without header, notes or seal

    def records(self) -> Iterator[tuple[bytes, float, Any]]:
        """Kind, time and content of every record that can be read, in order. [s]."""
        for line in io.BytesIO(self.content):
            if record := _record(line):
                yield record

    @property
    def sentences(self) -> list[tuple[float, bytes]]:
        """Receive time and sentence. [s]."""
        return [(t_s, raw) for kind, t_s, raw in self.records() if kind == b"s"]

    @property
    def notes(self) -> list[tuple[float, dict[str, Any]]]:
        """Time and note. [s]."""
        return [(t_s, note) for kind, t_s, note in self.records() if kind == b"n"]

    @property
    def unsound(self) -> list[tuple[float, bytes]]:
        """Bytes that were no valid sentence when they came. [s]."""
        return [(t_s, raw) for kind, t_s, raw in self.records() if kind == b"x"]

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
    """Whether a file's first line says that it is a recording, or was about to."""
    return content.removeprefix(_BYTE_ORDER_MARK).startswith(MAGIC) or _is_cut(content)


def _is_cut(content: bytes) -> bool:
    """Whether a full disk, or a power cut, left less than the first line of a recording.

    After a power cut some file systems have zeros where what was written did not reach the disk.
    """
    begun = content.rstrip(b"\0")
    return FIRST_LINE.startswith(begun) and begun != FIRST_LINE


def read_recording(path: Path, *, accept_broken_seal: bool = False) -> Recording:
    """Read a ``*.sweep`` file.

    A torn last line is dropped and named; a recording without seal is taken and named, even one
    that was interrupted before anything came.

    Parameters
    ----------
    path : Path
    accept_broken_seal : bool
        Go on, and say so in `Recording.problems`, where the seal does not match.

    Returns
    -------
    Recording
        Header, records and what is wrong with them.

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
    found = _Found()
    if not _is_cut(content):
        _refuse_another_format(content, str(path))
        found.look_through(content, str(path))
    if found.seal is None:
        found.problems.append(UNSEALED if found.records else NOTHING)
    elif found.seal_fault:
        if not accept_broken_seal:
            raise RecordingError(
                f"broken seal: {found.seal_fault}; the file was changed after it was recorded",
                str(path),
                hint=_with_broken_seal(path, found.header),
            )
        found.problems.append(f"broken seal accepted: {found.seal_fault}")
    if found.records and not found.header:
        found.problems.append("no header")
    return Recording(
        path,
        found.header,
        sealed=found.seal is not None and not found.seal_fault,
        sha256=hashlib.sha256(content).hexdigest(),
        problems=tuple(found.problems),
        empty=not found.records,
        content=content,
    )


def _refuse_another_format(content: bytes, where: str) -> None:
    first, _, _ = content.partition(b"\n")
    if not is_recording(content):
        raise RecordingError("its first line does not say that it is a recording", where)
    if content.startswith(_BYTE_ORDER_MARK) or first + b"\n" == FIRST_LINE[:-1] + b"\r\n":
        raise RecordingError(
            "some program changed its line ends or put a byte order mark before it",
            where,
            hint="use the original: a recording is copied as it is, never edited",
        )
    if not content.startswith(FIRST_LINE):
        version = first[len(MAGIC) :][:20].decode("ascii", "replace")
        raise RecordingError(
            f"recording format {version!r}, this program reads 1",
            where,
            hint="a newer version of this program may read it",
        )


@dataclass
class _Found:
    """What one look through a file finds, but for the records themselves."""

    header: dict[str, Any] = field(default_factory=dict)
    problems: list[str] = field(default_factory=list)
    records: int = 0
    seal: dict[str, Any] | None = None
    seal_fault: str = ""

    def look_through(self, content: bytes, where: str) -> None:
        """Judge every line."""
        bad: list[int] = []
        latest_s, backward, begins = 0.0, 0, 0
        for number, line in enumerate(io.BytesIO(content), start=1):
            if not line.endswith(b"\n"):
                self.problems.append(f"the last line is torn and was dropped ({len(line)} bytes)")
                break
            if number > MOST_RECORDS + _FRAME:
                raise RecordingError(
                    f"more than {MOST_RECORDS} records, no sweep is that long", where
                )
            if self.seal is not None:
                self.seal_fault = self.seal_fault or "there are lines after it"
            if record := _record(line):
                kind, t_s, value = record
                self.records += 1
                backward += t_s < latest_s
                latest_s = t_s
                moved_s = value.get("host_clock_moved_s") if kind == b"n" else None
                if isinstance(moved_s, float):
                    moved = f"the computer's clock was set by {moved_s:+.0f} s in mid-sweep"
                    self.problems.append(f"time in doubt: {moved}")
            elif line.startswith(b"e ") and len(line) <= LONGEST_LINE:
                self._check_seal(memoryview(content)[:begins], number - 2, line[2:])
            elif number == 2 and len(line) <= LONGEST_LINE + 1 and line.startswith(b"h "):
                header = _json_object(line[2:])
                if header is None:
                    bad.append(number)
                self.header = header or {}
            elif number > 1:
                bad.append(number)
            begins += len(line)
        if backward:
            self.problems.append(f"time steps back {backward} times")
        if bad:
            listed = ", ".join(map(str, bad[:5])) + (" …" if len(bad) > 5 else "")
            self.problems.append(f"{len(bad)} unreadable line(s) left out: {listed}")

    def _check_seal(self, before: memoryview, records: int, rest: bytes) -> None:
        entry = _json_object(rest)
        if entry is None:
            self.seal, self.seal_fault = {}, "it cannot be read"
            return
        self.seal = entry
        if entry.get("records") != records:
            self.seal_fault = f"it counts {entry.get('records')!r} records, the file has {records}"
        elif entry.get("sha256") != hashlib.sha256(before).hexdigest():
            self.seal_fault = "the SHA-256 of the records is another"


def _record(line: bytes) -> tuple[bytes, float, Any] | None:
    """Kind, time and content of a whole line; None where it is none that can be read."""
    stamped = _STAMPED(line)
    if stamped is None or len(line) > LONGEST_LINE + 1 or not line.endswith(b"\n"):
        return None
    kind, content = stamped[1], line[stamped.end() : -1]
    value: Any = content
    if kind == b"n":
        value = _json_object(content)
    elif kind == b"x":
        try:
            value = bytes.fromhex(content.decode("ascii"))
        except ValueError:
            value = None
    return None if value is None else (kind, float(stamped[2]), value)


def _json_object(text: bytes) -> dict[str, Any] | None:
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


def _with_broken_seal(path: Path, header: Mapping[str, Any]) -> str:
    """How to go on with it; a sweep's is met in whole points too, which do not take one."""
    if header.get("purpose") in ("compass", "level", "bearing", "plane"):
        return "use the original, or go on with --accept-broken-seal"
    alone = f"horizon-logger replay {as_argument(path)} --accept-broken-seal"
    return f"use the original, or go on with this one alone: {alone}"


def only_begun(path: Path) -> bool:
    """Whether a recording ended before anything came: it is told of, and never in the way."""
    try:
        small = path.is_file() and path.stat().st_size <= LONGEST_LINE
        return small and read_recording(path, accept_broken_seal=True).empty
    except (OSError, InputError):  # whoever reads it says so
        return False


def continued(recordings: Sequence[Path]) -> str | None:
    """Name of the recording that a new one of the same point goes on from.

    That is the last in which something is, if it ended before its operator ended it, without a
    seal or with a link that stayed lost; and what that one went on from itself.
    """
    for path in reversed(recordings):
        try:
            last = read_recording(path, accept_broken_seal=True)
            still_written = 0 <= time.time() - path.stat().st_mtime < _STILL_WRITTEN_S
        except (OSError, InputError):
            return None
        if last.empty:
            continue
        links = [note["link"] for _, note in last.notes if "link" in note]
        cut_short = links[-1:] == ["lost"] if last.sealed else not still_written
        return (last.text("continues") or path.name) if cut_short else None
    return None
