"""Where things lie in a job folder."""

from __future__ import annotations

import datetime as dt
import json
from pathlib import Path
from typing import Any

from logger.errors import InputError
from logger.files import json_text, write_atomically
from logger.job.names import folder_name, stamp
from logger.job.records import Job

_LONGEST_BEGINNING = 8192


def sweep_path(job: Job, point: str, started: dt.datetime) -> Path:
    """Where a new recording of a point goes: ``sweeps/<point>/<UTC>.sweep``, a new file."""
    return _fresh(job.folder / "sweeps" / folder_name(point), stamp(started))


def calibration_path(job: Job, purpose: str, started: dt.datetime) -> Path:
    """Where a calibration's recording goes: ``calibrations/<UTC>-<purpose>.sweep``."""
    return _fresh(job.folder / "calibrations", f"{stamp(started)}-{purpose}")


def _fresh(folder: Path, stem: str) -> Path:
    path, n = folder / f"{stem}.sweep", 2
    while path.exists():  # two within one second
        path = folder / f"{stem}-{n}.sweep"
        n += 1
    return path


def point_names(job: Job) -> list[str]:
    """The points that the job lists or has recordings of, listed ones first."""
    listed = [p.name for p in job.points]
    folders = sorted((job.folder / "sweeps").glob("*/"))
    swept = [folder.name for folder in folders if _recordings_in(folder)]
    return [*listed, *(name for name in swept if name not in listed)]


def point_recordings(job: Job, point: str) -> list[Path]:
    """A point's recordings, oldest first; all of them together are the point.

    One that ends with its header, as of a program killed before the board spoke, is none.
    """
    return _recordings_in(job.folder / "sweeps" / folder_name(point))


def _recordings_in(folder: Path) -> list[Path]:
    # By stem: the second of one second, "…Z-2", comes after the first.
    found = sorted(folder.glob("*.sweep"), key=lambda path: path.stem)
    return [path for path in found if not _only_begun(path)]


def _only_begun(path: Path) -> bool:
    """Whether a recording holds its header and no record."""
    try:
        if path.stat().st_size > _LONGEST_BEGINNING:
            return False
        first, *others = path.read_bytes().splitlines()
    except (OSError, ValueError):  # not to be read, or empty: whoever reads it says so
        return False
    header = first.startswith(b"horizon-logger recording ")
    return header and all(line.startswith((b"h ", b"e ")) for line in others)


def recording_elsewhere(job: Job, name: str) -> Path:
    """A recording of any point, by its file name."""
    found = [p for p in (job.folder / "sweeps").glob("*/*.sweep") if p.name == name]
    if len(found) != 1:
        many = "more than one recording is" if found else "no recording is"
        raise InputError(f"{many} called {name!r}", str(job.folder / "sweeps"))
    return found[0]


def file_of(job: Job, name: str) -> Path:
    """A file inside the job folder, which is copied and mailed as a whole."""
    path = job.folder / name
    if not path.resolve().is_relative_to(job.folder.resolve()):
        raise InputError(
            f"{name!r} is outside the job folder", str(job.folder), hint="copy the file into it"
        )
    return path


def calibration_files(job: Job) -> list[Path]:
    """The files of the stored calibration results, oldest first."""
    return sorted((job.folder / "calibrations").glob("*.json"))


def calibration_results(job: Job) -> list[tuple[Path, dict[str, Any]]]:
    """The stored calibration results, oldest first, each with its file."""
    return [(path, read_json(path)) for path in calibration_files(job)]


def result_path(job: Job, point: str) -> Path:
    """Where a point's result goes: ``results/<point>.json``."""
    return job.folder / "results" / f"{folder_name(point)}.json"


def write_json(path: Path, value: Any) -> None:
    """Store a result."""
    write_atomically(path, json_text(value))


def read_json(path: Path) -> dict[str, Any]:
    """Read a JSON object."""
    try:
        value = json.loads(path.read_bytes())
    except OSError as error:
        raise InputError(f"cannot be read: {error.strerror or error}", str(path)) from error
    except (ValueError, RecursionError) as error:
        raise InputError(f"is no valid JSON: {error}", str(path)) from error
    if not isinstance(value, dict):
        raise InputError("holds no JSON object", str(path))
    return value
