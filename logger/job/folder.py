"""Where things lie in a job folder."""

from __future__ import annotations

import datetime as dt
import os
import unicodedata
from itertools import chain, count
from pathlib import Path
from typing import Any

from logger import files
from logger.edits import ENTRY_HINT, ExcludeSpan, ExcludeSweep, RemovePoint, excluded
from logger.errors import InputError, UsageError
from logger.files import file_sha256
from logger.job.names import folder_name, stamp
from logger.job.records import Job, taken_twice
from logger.outputs import write_in_job
from logger.recording import only_begun
from logger.structured import nearest, one_of

LARGEST_RESULT = 64 * 2**20


def point_folder(job_folder: Path, kind: str, point: str) -> Path:
    """A point's folder under ``sweeps`` or ``photos``, there or not.

    A folder is found by its name however the system spells its accents.
    """
    folder = job_folder / kind
    alike = (path for path in sorted(folder.glob("*/")) if _name_of(path) == point)
    return next(alike, folder / folder_name(point))


def _name_of(path: Path) -> str:
    return unicodedata.normalize("NFC", path.name)


def point_of(recording: Path) -> str:
    """The point in whose folder a recording lies."""
    return _name_of(recording.absolute().parent)


def sweep_path(job: Job, point: str, started: dt.datetime) -> Path:
    """Where a new recording of a point goes: ``sweeps/<point>/<UTC>.sweep``, a new file."""
    return fresh(point_folder(job.folder, "sweeps", point) / f"{stamp(started)}.sweep")


def calibration_path(job: Job, purpose: str, started: dt.datetime) -> Path:
    """Where a calibration's recording goes: ``calibrations/<UTC>-<purpose>.sweep``."""
    return fresh(job.folder / "calibrations" / f"{stamp(started)}-{purpose}.sweep")


def fresh(path: Path) -> Path:
    """The name itself, or with the first number that makes it a new file's."""
    numbered = (path.with_name(f"{path.stem}-{n}{path.suffix}") for n in count(2))
    return next(one for one in chain([path], numbered) if not os.path.lexists(one))


def known_points(job: Job) -> list[str]:
    """Every point that the job lists or has a recording of, listed ones first."""
    listed = [p.name for p in job.points]
    folders = sorted((job.folder / "sweeps").glob("*/"))
    swept = [_name_of(folder) for folder in folders if not all(map(only_begun, _sorted(folder)))]
    return list(dict.fromkeys([*listed, *swept]))


def point_names(job: Job) -> list[str]:
    """The points of the job: all but those whose recordings are excluded, every one."""
    wholly = {e.point for e in job.edits if isinstance(e, (ExcludeSweep, RemovePoint))}
    return [name for name in known_points(job) if name not in wholly or kept_recordings(job, name)]


def existing_point(job: Job, name: str) -> str:
    """The point that is meant, as the job spells it; UsageError names the nearest."""
    known = known_points(job)
    return one_of(folder_name(name), known, "the job has no point", "it has none yet")


def point_to_sweep(job: Job, name: str) -> str:
    """A point's name, new or not; one that differs from another in case alone is refused."""
    tidy = folder_name(name)
    for known in known_points(job):
        if known != tidy and known.casefold() == tidy.casefold():
            raise UsageError(
                f"there is a point {known!r} already", hint=f"{known}, or another name"
            )
    return tidy


def point_recordings(job: Job, point: str) -> list[Path]:
    """A point's recordings, oldest first, excluded or not, in which something is."""
    return [path for path in _files_of(job, point) if not only_begun(path)]


def kept_recordings(job: Job, point: str) -> list[Path]:
    """A point's recordings without those that an edit excludes: together they are the point."""
    out = excluded(job.edits_of(point))
    return [path for path in point_recordings(job, point) if path.name not in out]


def existing_recording(job: Job, point: str, name: str) -> Path:
    """One of a point's recordings, empty or not, by its file name; UsageError names the nearest."""
    paths = {path.name: path for path in _files_of(job, point)}
    return paths[one_of(name, paths, f"the point {point!r} has no recording")]


def swept_under_two_names(job: Job, point: str) -> list[tuple[Path, str]]:
    """Recordings of a point that lie under another point too, byte for byte, with its name."""
    mine = [path for path in kept_recordings(job, point) if path.is_file()]
    sizes = {path.stat().st_size for path in mine}
    found = []
    for other in point_names(job):
        theirs = kept_recordings(job, other) if other != point else []
        alike = {file_sha256(p) for p in theirs if p.is_file() and p.stat().st_size in sizes}
        found += [(path, other) for path in mine if alike and file_sha256(path) in alike]
    return found


def refuse_unknown_names(job: Job, file: str) -> None:
    """Raise InputError where ``job.toml`` names a point or a recording that is not there."""
    points = known_points(job)
    for _, before, name in taken_twice(points):
        what = f"the points {before!r} and {name!r} differ in case alone"
        hint = "give one another name: its folder under sweeps, and in job.toml"
        raise InputError(what, file, hint)
    said = [(f"obstructions {i}", one.point) for i, one in enumerate(job.obstructions, 1)]
    said += [(f"edits {i}", one.point) for i, one in enumerate(job.edits, 1)]
    for where, point in said:
        if point and point not in points:
            what = f"{where}: there is no point {point!r}"
            raise InputError(what, file, nearest(point, points) or "the job has no point yet")
    for i, edit in enumerate(job.edits, 1):
        if isinstance(edit, (ExcludeSpan, ExcludeSweep)) and edit.recording:
            try:
                existing_recording(job, edit.point, edit.recording)
            except UsageError as error:
                raise InputError(f"edits {i}: {error}", file, error.hint or ENTRY_HINT) from error


def begun_recordings(job: Job, point: str) -> list[Path]:
    """A point's recordings that ended before anything came, as on a full disk; not the excluded."""
    out = excluded(job.edits_of(point))
    return [p for p in _files_of(job, point) if p.name not in out and only_begun(p)]


def _files_of(job: Job, point: str) -> list[Path]:
    folders = [f for f in sorted((job.folder / "sweeps").glob("*/")) if _name_of(f) == point]
    return [path for folder in folders for path in _sorted(folder)]


def _sorted(folder: Path) -> list[Path]:
    # By stem: the second of one second, "…Z-2", comes after the first.
    return sorted(folder.glob("*.sweep"), key=lambda path: path.stem)


def recorded_on(job: Job, date: dt.date) -> bool:
    """Whether anything was recorded into the job on a day, UTC."""
    day = date.strftime("%Y%m%d")
    folders = [job.folder / "calibrations", *(job.folder / "sweeps").glob("*/")]
    return any(path for folder in folders for path in folder.glob(f"{day}T*.sweep"))


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


def result_path(job: Job, point: str) -> Path:
    """Where a point's result goes: ``results/<point>.json``."""
    return job.folder / "results" / f"{folder_name(point)}.json"


def write_json(path: Path, value: Any) -> None:
    """Store a result or a calibration, in a folder of the job and nowhere else."""
    write_in_job(path.parent.parent, path, files.json_text(value))


def read_json(path: Path) -> dict[str, Any]:
    """Read a stored result."""
    return files.read_json(path, LARGEST_RESULT, "result")
