"""What a command writes for its user: never over an input, a recording, a job, or another kind."""

from __future__ import annotations

import os
import re
from collections.abc import Iterable
from pathlib import Path

from logger.errors import InputError, UsageError
from logger.files import write_atomically

_HEAD_BYTES = 4096
_RECORDING = b"horizon-logger recording "
# Of a job: what it was worked out from, and what it keeps for itself
_OWN_FOLDERS = ("calibrations", "photos", "results", "sweeps", "terrain", "weather")
_MAGIC = {b"%PDF": "a PDF", b"\x89PNG": "a PNG picture", b"<?xml": "an SVG picture"}


def write_output(
    path: Path, content: str | bytes, *, inputs: Iterable[Path] = (), overwrite: bool = False
) -> None:
    """Write a file where an option says, if nothing that matters stands there.

    A file of the same kind, as the same command wrote it before, is replaced; one of another kind
    only with ``overwrite``, and not in a folder that is an input; an input, a recording and a
    job's own files never, nor what a symbolic link out of its folder leads to.
    """
    _refuse(path, content, inputs, overwrite)
    write_atomically(path, content)


def write_in_job(job_folder: Path, path: Path, content: str | bytes) -> None:
    """Write a file of the job's own, and nowhere else: links that lead out of it are refused."""
    if not _is_in(job_folder, path):
        raise InputError("leads out of the job folder through a link", str(path.parent))
    try:
        if path.is_symlink() or not (path.is_file() or path.is_dir()):
            path.unlink(missing_ok=True)  # a link or a pipe in the place of a file of the job: goes
    except OSError as error:
        raise InputError(f"cannot be written: {error.strerror or error}", str(path)) from error
    write_atomically(path, content)


def remove_in_job(job_folder: Path, path: Path) -> None:
    """Remove a file of the job's own, if it is there; nothing that a link leads to elsewhere."""
    if _is_in(job_folder, path):
        path.unlink(missing_ok=True)


def _is_in(folder: Path, path: Path) -> bool:
    """Whether a file lies in a folder, and not where a link leads out of it."""
    return path.parent.resolve().is_relative_to(folder.resolve())


def _refuse(path: Path, content: str | bytes, inputs: Iterable[Path], overwrite: bool) -> None:
    if path.is_symlink() and Path(os.path.realpath(path)).parent != path.parent.resolve():
        raise UsageError("is a symbolic link out of its folder", str(path), "name the file itself")
    if _of_a_job(path):
        raise UsageError("is a job's own file", str(path), "name another file")
    if not path.is_file():
        return
    inputs = list(inputs)
    if any(one.is_file() and path.samefile(one) for one in inputs):
        raise UsageError("is an input of this command", str(path), "name another file")
    try:
        with path.open("rb") as file:
            head = file.read(_HEAD_BYTES)
    except OSError as error:
        raise InputError(f"cannot be written: {error.strerror or error}", str(path)) from error
    if head.startswith(_RECORDING) or path.suffix == ".sweep":
        raise UsageError("is a recording, and stays as it is", str(path), "name another file")
    data = content.encode("utf-8") if isinstance(content, str) else content
    read_from = any(one.is_dir() and _is_in(one, path) for one in inputs)
    if head and kind_of(head) != kind_of(data[:_HEAD_BYTES]) and (read_from or not overwrite):
        hint = "another name" if read_from else "another name, or --overwrite"
        raise UsageError("exists and holds something else", str(path), hint)


def _of_a_job(path: Path) -> bool:
    """Whether a file is a job's ``job.toml``, or lies in one of the job's own folders."""
    path = path.parent.resolve() / path.name
    within = (parent for parent in path.parents if parent.name in _OWN_FOLDERS)
    return path.name == "job.toml" or any((one.parent / "job.toml").is_file() for one in within)


def kind_of(head: bytes) -> str:
    """What a file is, by its beginning: its magic, its schema or first key, its first line."""
    for magic, kind in _MAGIC.items():
        if head.startswith(magic):
            return kind
    text = head.decode("utf-8", "replace").lstrip("\ufeff").lstrip()
    if schema := re.match(r'\{\s*"schema":\s*"([^"]*?)[ \d]*"', text):
        return f"JSON, {schema.group(1)}"
    if key := re.match(r'\{\s*"([^"]*)"', text):
        return f"JSON with {key.group(1)}"
    lines = (line for line in text.splitlines() if not line.startswith("#"))
    return next(lines, "")
