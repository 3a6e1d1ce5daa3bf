"""What ``horizon-logger edit`` does to a job: each change checked, and the last one taken back."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable
from pathlib import Path
from typing import Any

from logger.edits import Edit, ExcludeSweep, RemovePoint, RenamePoint, edit_from
from logger.errors import InputError, LoggerError, UsageError
from logger.job.folder import (
    existing_recording,
    kept_recordings,
    known_points,
    point_folder,
    point_names,
)
from logger.job.job_file import JOB_FILE, append, change_job, document_of, told
from logger.job.names import folder_name, plain_name
from logger.job.records import Job, JobObstruction
from logger.outputs import remove_in_job
from logger.structured import record_from, utc_text


def now_text() -> str:
    """The present moment as an entry bears it; to the millisecond, so that one comes last."""
    return utc_text(dt.datetime.now(dt.UTC), "milliseconds")


def add_edit(folder: Path, edit: Edit) -> None:
    """Append an edit; edits are never changed, a later one goes before."""
    change_job(folder, lambda document: append(document, "edits", edit.as_dict()))


def enter_edit(job: Job, kind: str, point: str, who: str, why: str, **what: Any) -> Edit:
    """Check an edit against the job, and append it; what is None is not told.

    Of a point of one recording that one is meant where an edit needs one and none is named; a point
    is removed with all of its recordings.
    """
    names = [path.name for path in kept_recordings(job, point)]
    if kind == RemovePoint.kind:
        what["recordings"] = names
    needs_one = kind == ExcludeSweep.kind or what.get("from_s") is not None
    if what.get("recording") is None and needs_one:
        if len(names) != 1:
            raise UsageError("which recording?", hint=f"--recording, one of {', '.join(names)}")
        what["recording"] = names[0]
    if what.get("recording"):
        path = existing_recording(job, point, Path(what["recording"]).name)
        what["recording"] = path.name
        if what.get("from_s") is not None:
            _refuse_beyond(path, what["from_s"])
    values = {"kind": kind, "point": point, "who": who, "when": now_text(), "why": why}
    try:
        edit = edit_from(values | {key: value for key, value in what.items() if value is not None})
    except InputError as error:
        raise UsageError(error.what, hint=error.hint) from error
    add_edit(job.folder, edit)
    return edit


def _refuse_beyond(path: Path, from_s: float) -> None:
    """Refuse a span that begins after the recording ended."""
    from logger.recording import load_stream

    _, stream = load_stream(path, accept_broken_seal=True)
    length_s = float(stream.samples.t_s.max(initial=0.0))
    if from_s >= length_s:
        raise UsageError(
            f"{path.name} is {length_s:.1f} s long: nothing of it lies after {from_s:g} s"
        )


def obstruction_names(job: Job) -> set[str]:
    """Names of obstructions in the job, and the labels of its recordings."""
    from logger.recording import read_recording

    names = {one.name for one in job.obstructions}
    for path in (path for point in point_names(job) for path in kept_recordings(job, point)):
        try:
            notes = read_recording(path, accept_broken_seal=True).notes
            names |= {plain_name(str(note["label"])) for _, note in notes if note.get("label")}
        except LoggerError:
            continue  # whoever works the point out says why
    return names


def add_obstruction(folder: Path, obstruction: JobObstruction) -> None:
    """Name a part of the horizon."""
    change_job(folder, lambda document: append(document, "obstructions", told(obstruction)))


def name_sector(folder: Path, point: str, **what: Any) -> JobObstruction:
    """Name what stands in a sector of a point's horizon, now."""
    try:
        named = record_from(JobObstruction, {"point": point, "when": now_text(), **what})
    except InputError as error:
        raise UsageError(error.what, hint=error.hint) from error
    add_obstruction(folder, named)
    return named


def rename_point(job: Job, point: str, name: str, who: str, why: str) -> Edit:
    """Give a point another name, in ``job.toml`` and to its folders; no recording is touched."""
    name = folder_name(name)
    for other in known_points(job):
        if other.casefold() == name.casefold() and (other != point or name == point):
            hint = "to merge two points, move the recordings of one into the other's folder"
            raise UsageError(f"there is a point {other!r} already", hint=hint)
    values = {"point": name, "was": point, "who": who, "when": now_text(), "why": why}
    edit = record_from(RenamePoint, values)

    def change(document: Any) -> None:
        _rename(document, point, name)
        append(document, "edits", edit.as_dict())

    _change_and_move(job.folder, point, name, change)
    return edit


def _rename(document: Any, point: str, name: str) -> None:
    for tables, key in (("points", "name"), ("obstructions", "point"), ("edits", "point")):
        for table in document.get(tables, ()):
            if isinstance(table.get(key), str) and folder_name(table[key]) == point:
                table[key] = name


def _change_and_move(
    folder: Path, point: str, name: str, change: Callable[[Any], None], *, check: bool = True
) -> None:
    """Change ``job.toml`` and rename the point's folders, or neither."""
    moves = [
        (point_folder(folder, kind, point), folder / kind / folder_name(name))
        for kind in ("sweeps", "photos")
    ]
    moved: list[tuple[Path, Path]] = []

    def both(document: Any) -> None:
        change(document)
        for old, new in moves:
            if old.is_dir():
                old.rename(new)
                moved.append((old, new))

    try:
        change_job(folder, both, check=check)
    except BaseException:
        for old, new in moved:
            new.rename(old)
        raise
    remove_in_job(folder, folder / "results" / f"{point}.json")


def undo(folder: Path) -> str:
    """Take back the last edit, or the last name given by one; comments that stand after it stay.

    The job need not be readable: it may be the last entry that cannot be read.
    """
    document = document_of(folder)
    tables, at = _last(document, folder)
    entry = document[tables][at].unwrap()
    kind: Any = JobObstruction if tables == "obstructions" else None
    try:
        one = record_from(kind, entry) if kind else edit_from(entry)
        told = str(one) if kind else f"{entry['point']}: {one}"
    except InputError as error:
        one, told = None, f"an entry that could not be read: {error}"
    renamed = one if isinstance(one, RenamePoint) else None

    def take(document: Any) -> None:
        _remove(document, *_last(document, folder))
        if renamed:
            _rename(document, renamed.point, renamed.was)

    if renamed:
        _change_and_move(folder, renamed.point, renamed.was, take, check=False)
    else:
        change_job(folder, take, check=False)
    return told


def _last(document: Any, folder: Path) -> tuple[str, int]:
    """The list and the index of the entry that was made last."""
    for tables in ("edits", "obstructions"):
        found = document.get(tables, [])
        if not isinstance(found, list) or not all(isinstance(one, dict) for one in found):
            hint = f"correct it by hand: each is headed [[{tables}]]"
            raise InputError(f"{tables} is no list of tables", str(folder / JOB_FILE), hint)
    edits, named = document.get("edits", []), document.get("obstructions", [])
    moments = [(moment, i) for i, one in enumerate(named) if (moment := _when(one))]
    if not edits and not moments:
        raise UsageError("the job has no change to take back", str(folder))
    last, at = max(moments, default=(None, 0))
    before = _when(edits[-1]) if edits else dt.datetime.min.replace(tzinfo=dt.UTC)
    if last is not None and before is not None and last > before:
        return "obstructions", at
    return "edits", len(edits) - 1


def _when(entry: Any) -> dt.datetime | None:
    """When an entry was made; None where it does not say, or not so that it can be read."""
    try:
        moment = dt.datetime.fromisoformat(str(entry.get("when")))
    except ValueError:
        return None
    return moment if moment.tzinfo else moment.replace(tzinfo=dt.UTC)


def _remove(document: Any, tables: str, at: int) -> None:
    found = document[tables]
    after = _after_its_keys(found[at])
    del found[at]
    # What follows an entry is read as a part of it, though it may be about something else.
    where = found[at - 1] if at else document
    if not found:
        del document[tables]
    for item in after:
        where.add(item)


def _after_its_keys(table: Any) -> list[Any]:
    """Comments, and the space around them, after the last key of a table."""
    from tomlkit.items import Comment

    after: list[Any] = []
    for key, item in table.value.body:
        after = [] if key is not None else [*after, item]
    return after if any(isinstance(item, Comment) for item in after) else []
