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
_MAGIC = {b"%PDF": "a PDF", b"\x89PNG": "a PNG picture", b"<?xml": "an SVG picture"}


def write_output(
    path: Path, content: str | bytes, *, inputs: Iterable[Path] = (), overwrite: bool = False
) -> None:
    """Write a file where an option says, if nothing that matters stands there.

    A file of the same kind, as the same command wrote it before, is replaced; one of another kind
    only with ``overwrite``; an input, a recording and a job's ``job.toml`` never, nor what a
    symbolic link out of its folder leads to.
    """
    _refuse(path, content, inputs, overwrite)
    write_atomically(path, content)


def write_in_job(job_folder: Path, path: Path, content: str | bytes) -> None:
    """Write a file of the job's own, and nowhere else: links that lead out of it are refused."""
    home = job_folder.resolve()
    if home not in path.parent.resolve().parents and path.parent.resolve() != home:
        raise InputError("leads out of the job folder through a link", str(path.parent))
    if path.is_symlink():
        path.unlink()  # a link in the place of one of the job's own files: the link goes
    write_atomically(path, content)


def _refuse(path: Path, content: str | bytes, inputs: Iterable[Path], overwrite: bool) -> None:
    if path.is_symlink() and Path(os.path.realpath(path)).parent != path.parent.resolve():
        raise UsageError("is a symbolic link out of its folder", str(path), "name the file itself")
    if not path.is_file():
        return
    if any(one.exists() and path.samefile(one) for one in inputs):
        raise UsageError("is an input of this command", str(path), "name another file")
    try:
        with path.open("rb") as file:
            head = file.read(_HEAD_BYTES)
    except OSError as error:
        raise InputError(f"cannot be written: {error.strerror or error}", str(path)) from error
    if head.startswith(_RECORDING) or path.suffix == ".sweep":
        raise UsageError("is a recording, and stays as it is", str(path), "name another file")
    if path.name == "job.toml":
        raise UsageError("is a job's own file", str(path), "name another file")
    data = content.encode("utf-8") if isinstance(content, str) else content
    if head and not overwrite and kind_of(head) != kind_of(data[:_HEAD_BYTES]):
        raise UsageError(
            "exists and holds something else", str(path), "another name, or --overwrite"
        )


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
