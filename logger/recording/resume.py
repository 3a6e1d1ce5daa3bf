"""A sweep that was cut short goes on in a new recording, which names the first."""

from __future__ import annotations

import time
from collections.abc import Sequence
from pathlib import Path

from logger.errors import InputError
from logger.recording.reader import json_object

_TAIL = 64 * 2**10
_STILL_WRITTEN_S = 2.0


def was_cut_short(path: Path) -> bool:
    """Whether a recording ended before its operator ended it: no seal, or a link that stayed lost.

    One that is being written by another program right now was not.
    """
    try:
        age_s = time.time() - path.stat().st_mtime
        with open(path, "rb") as file:
            file.seek(max(file.seek(0, 2) - _TAIL, 0))
            lines = file.read().split(b"\n")
    except OSError as error:
        raise InputError(f"cannot be read: {error.strerror or error}", str(path)) from error
    if lines[-1] or len(lines) < 2 or not lines[-2].startswith(b"e "):
        return not 0 <= age_s < _STILL_WRITTEN_S
    notes = (json_object(line.split(b" ", 2)[-1]) for line in lines if line.startswith(b"n "))
    links = [note["link"] for note in notes if note and "link" in note]
    return bool(links) and links[-1] == "lost"


def continued(recordings: Sequence[Path]) -> str | None:
    """Name of the recording that a new one of the same point goes on from."""
    if not recordings:
        return None
    last = recordings[-1]
    try:
        if not last.is_file() or not was_cut_short(last):
            return None
        with open(last, "rb") as file:
            file.readline(_TAIL)
            line = file.readline(_TAIL)
    except (OSError, InputError):
        return None
    header = json_object(line[2:]) if line.startswith(b"h ") else None
    first = (header or {}).get("continues")
    return first if isinstance(first, str) else last.name
