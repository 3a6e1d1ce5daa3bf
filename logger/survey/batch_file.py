"""A batch's results as one JSON file, written point by point."""

from __future__ import annotations

import json
import os
import sys
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import BinaryIO

from logger.errors import InputError
from logger.survey.batch import JobDone, PointDone, job_json, job_name

SCHEMA = "horizon-logger batch 1"


class BatchFile:
    """Takes points and jobs in the order in which `worked_through` yields them."""

    def __init__(self, out: BinaryIO, root: Path) -> None:
        self._out, self._root = out, root
        self._job: Path | None = None
        self._jobs = self._points = 0
        self._write(f'{{\n"schema": {json.dumps(SCHEMA)},\n"jobs": [')

    def point(self, folder: Path, point: PointDone) -> None:
        """Add a point's result; one that has none is told with its job."""
        self._begin(folder)
        if point.json:
            self._write((",\n" if self._points else "\n") + point.json.rstrip("\n"))
            self._points += 1

    def job(self, done: JobDone) -> None:
        """End a job."""
        self._begin(done.folder)
        rest = json.dumps(job_json(done, self._root), ensure_ascii=False)
        self._write(f"],\n{rest[1:]}")
        self._job = None

    def end(self, code: int) -> None:
        """End the file."""
        self._write(f'],\n"exit_code": {code}\n}}\n')

    def _begin(self, folder: Path) -> None:
        if self._job is None:
            name = json.dumps(job_name(folder, self._root), ensure_ascii=False)
            self._write((",\n" if self._jobs else "\n") + f'{{"job": {name}, "points": [')
            self._job, self._points = folder, 0
            self._jobs += 1

    def _write(self, text: str) -> None:
        self._out.write(text.encode("utf-8"))


@contextmanager
def batch_file(target: str, root: Path) -> Iterator[BatchFile]:
    """Open a batch's file; nothing is put in place of an old one unless all went well."""
    if target == "-":
        yield BatchFile(sys.stdout.buffer, root)
        sys.stdout.flush()
        return
    path = Path(target)
    try:
        if path.exists() and not path.is_file():
            # A device or a pipe is written to: putting a file in its place would take it away.
            with path.open("wb") as out:
                yield BatchFile(out, root)
            return
        path = Path(os.path.realpath(path))
        path.parent.mkdir(parents=True, exist_ok=True)
        handle, name = tempfile.mkstemp(dir=path.parent, prefix=f".{path.name}.", suffix=".part")
        try:
            with os.fdopen(handle, "wb") as out:
                yield BatchFile(out, root)
            os.chmod(name, 0o644)
            os.replace(name, path)
        except BaseException:
            Path(name).unlink(missing_ok=True)
            raise
    except OSError as error:
        raise InputError(f"cannot be written: {error.strerror or error}", target) from error
