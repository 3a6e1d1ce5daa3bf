"""Files: written whole or not at all, and JSON that any reader takes."""

from __future__ import annotations

import hashlib
import json
import math
import os
import shutil
import stat
import tempfile
import time
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from dataclasses import asdict, is_dataclass
from pathlib import Path
from typing import Any

import numpy as np

from logger.errors import InputError

DECIMALS = 10  # Parts of a whole still add up to it within 1e-9


def read_within(path: Path, most: int, what: str) -> bytes:
    """The whole of a regular file of at most so many bytes."""
    try:
        # Asked before it is opened: to open a pipe waits for a writer.
        about = os.stat(path)
        if not stat.S_ISREG(about.st_mode):
            raise InputError(f"is no file but {_kind_of(about.st_mode)}", str(path))
        if about.st_size <= most:
            with open(path, "rb") as file:
                content = file.read(most + 1)
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or error
        raise InputError(f"cannot be read: {reason}", str(path)) from error
    if about.st_size > most or len(content) > most:
        size = f"{most >> 20} MiB" if most >= 1 << 20 else f"{most >> 10} KiB"
        raise InputError(f"more than {size}, no {what} is that long", str(path))
    return content


def file_sha256(path: Path) -> str:
    """Of a file's bytes, in hexadecimal."""
    with path.open("rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest()


def _kind_of(mode: int) -> str:
    if stat.S_ISDIR(mode):
        return "a folder"
    return "a pipe" if stat.S_ISFIFO(mode) else "a device or socket"


def read_json(path: Path, most: int, what: str) -> dict[str, Any]:
    """Read a JSON object of at most so many bytes."""
    try:
        value = json.loads(read_within(path, most, what))
    except (ValueError, RecursionError) as error:
        raise InputError(f"is no valid JSON: {error}", str(path)) from error
    if not isinstance(value, dict):
        raise InputError("holds no JSON object", str(path))
    return value


PART, PART_LEFT_S = ".horizon-part", 60.0
# How names of files being written end and names of temporary folders begin, as nobody calls a
# folder of his own, and the age at which they were left by a program that was killed
FOLDERS, FOLDER_LEFT_S = ".horizon-logger-temporary-", 86_400.0


def _sweep(folder: Path, leavings: str, age_s: float) -> None:
    """Remove what killed programs left behind in a folder."""
    for path in folder.glob(leavings):
        with suppress(OSError):  # gone meanwhile, or not ours to remove
            if time.time() - path.lstat().st_mtime < age_s:
                continue
            if path.is_dir() and not path.is_symlink():
                shutil.rmtree(path, ignore_errors=True)
            else:
                path.unlink()


@contextmanager
def temporary_folder() -> Iterator[Path]:
    """A folder for as long as it is used."""
    _sweep(Path(tempfile.gettempdir()), f"{FOLDERS}*", FOLDER_LEFT_S)
    with tempfile.TemporaryDirectory(prefix=FOLDERS) as name:
        yield Path(name)


def write_atomically(path: Path, content: str | bytes) -> None:
    """Replace a file in one step: a reader, or a crash, meets the old one or the new one."""
    data = content.encode("utf-8") if isinstance(content, str) else content
    try:
        if path.exists() and not path.is_file():
            # A device or a pipe is written to: putting a file in its place would take it away.
            path.write_bytes(data)
            return
        path = Path(os.path.realpath(path))
        path.parent.mkdir(parents=True, exist_ok=True)
        _sweep(path.parent, f".*{PART}", PART_LEFT_S)
        handle, name = tempfile.mkstemp(dir=path.parent, prefix=f".{path.name}.", suffix=PART)
        try:
            with os.fdopen(handle, "wb") as file:
                file.write(data)
                file.flush()
                os.fsync(file.fileno())
            os.chmod(name, 0o666 & ~_umask())
            os.replace(name, path)
        except BaseException:
            Path(name).unlink(missing_ok=True)
            raise
    except OSError as error:
        raise InputError(f"cannot be written: {error.strerror or error}", str(path)) from error


def _umask() -> int:
    mask = os.umask(0)
    os.umask(mask)
    return mask


def plain(value: Any) -> Any:
    """The same data in JSON's types: no number that is not defined, ten decimals at most.

    NaN and infinities become None, numpy scalars and arrays become numbers and lists, dataclasses
    and mappings become dicts.
    """
    if is_dataclass(value) and not isinstance(value, type):
        value = asdict(value)
    if isinstance(value, (np.ndarray, np.generic)):
        value = value.tolist()
    if isinstance(value, float):
        # + 0.0 makes -0.0 plain zero.
        return round(value, DECIMALS) + 0.0 if math.isfinite(value) else None
    if isinstance(value, dict):
        return {str(k): plain(v) for k, v in value.items()}
    if isinstance(value, (list, tuple)):
        return [plain(v) for v in value]
    return value if value is None or isinstance(value, (str, int)) else str(value)


def json_text(value: Any) -> str:
    """JSON with a line a key at the top levels and number lists on one line."""
    return _laid_out(plain(value), 0) + "\n"


def _laid_out(value: Any, depth: int) -> str:
    within = value.values() if isinstance(value, dict) else value
    if not isinstance(value, (dict, list)) or not any(isinstance(v, (dict, list)) for v in within):
        return json.dumps(value, ensure_ascii=False, allow_nan=False)
    parts = [_laid_out(v, depth + 1) for v in within]
    opened, closed = "[", "]"
    if isinstance(value, dict):
        opened, closed = "{", "}"
        keys = (json.dumps(k, ensure_ascii=False) for k in value)
        parts = [f"{key}: {part}" for key, part in zip(keys, parts, strict=True)]
    flat = opened + ", ".join(parts) + closed
    if len(flat) <= 100 and "\n" not in flat:
        return flat
    pad = "  " * depth
    return opened + "\n" + ",\n".join(f"{pad}  {part}" for part in parts) + f"\n{pad}{closed}"
