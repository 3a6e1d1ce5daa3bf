"""How a job's ``job.toml`` is read, made and changed: comments and order are kept."""

from __future__ import annotations

import tomllib
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any

from logger.access import Plane
from logger.errors import InputError, UsageError
from logger.files import read_within, write_atomically
from logger.job.edits import EditEntry, edit_entry
from logger.job.records import Job, Point, job_from
from logger.job.tables import Table
from logger.site import Site

JOB_FILE = "job.toml"
LARGEST_FILE = 4 * 2**20
LOCK_WAIT_S = 20.0


def read_job(folder: Path) -> Job:
    """Read a job folder's ``job.toml``.

    Raises InputError where there is none or it cannot be understood: the message names file,
    table, key and value, the hint what would do.
    """
    path = folder / JOB_FILE
    if not path.exists():
        raise InputError(
            "cannot be read: there is no such file",
            str(path),
            hint="make a job with: horizon-logger new JOB --latitude … --longitude …",
        )
    return job_from(folder, _parsed(read_within(path, LARGEST_FILE, "job"), path), str(path))


def _parsed(text: bytes, path: Path) -> dict[str, Any]:
    try:
        # Some editors put a byte order mark in front.
        return tomllib.loads(text.decode("utf-8-sig"))
    except UnicodeDecodeError as error:
        raise InputError(f"is not UTF-8 text (byte {error.start})", str(path)) from error
    except (ValueError, RecursionError) as error:
        raise InputError(f"is no valid TOML: {error}", str(path)) from error


def create_job(
    folder: Path,
    site: Site,
    *,
    name: str = "",
    timezone: str = "",
    planes: tuple[Plane, ...] = (),
    people: Mapping[str, str] | None = None,
) -> Job:
    """Make a job folder."""
    import tomlkit

    path = folder / JOB_FILE
    if path.exists():
        raise UsageError("there is a job in this folder already", str(folder))
    document = tomlkit.document()
    document.add(tomlkit.comment("A survey. Edit it by hand as you like: comments are kept."))
    values = {
        "name": name or folder.resolve().name,
        "latitude_deg": site.latitude_deg,
        "longitude_deg": site.longitude_deg,
        "altitude_m": site.altitude_m,
        "timezone": timezone or None,
    }
    _fill(document, "site", values)
    if people:
        document["people"] = dict(people)
    for plane in planes:
        _append(document, "planes", _plane_values(plane))
    text = tomlkit.dumps(document)
    try:
        job_from(folder, tomllib.loads(text), "")
    except InputError as error:
        raise UsageError(error.what, hint=error.hint) from error
    write_atomically(path, text)
    return read_job(folder)


def change_job(folder: Path, change: Callable[[Any], None]) -> Job:
    """Change ``job.toml`` in place; one process at a time, and only to what can be read again."""
    import tomlkit
    from filelock import FileLock, Timeout

    path = folder / JOB_FILE
    read_job(folder)
    try:
        with FileLock(str(folder / ".job.lock"), timeout=LOCK_WAIT_S):
            document = tomlkit.parse(path.read_bytes().decode("utf-8-sig"))
            change(document)
            text = tomlkit.dumps(document)
            try:
                job_from(folder, tomllib.loads(text), str(path))
            except InputError as error:
                what = f"this change was not made: {error.what}"
                raise InputError(what, str(path), error.hint) from error
            write_atomically(path, text)
    except Timeout as error:
        raise InputError("another program holds this job", str(folder)) from error
    except OSError as error:
        raise InputError(f"cannot be changed: {error.strerror or error}", str(path)) from error
    return read_job(folder)


def set_table(folder: Path, table: str, values: Mapping[str, Any]) -> Job:
    """Set keys of a table, such as ``[settings]`` or ``[port]``; None takes a key out."""
    return change_job(folder, lambda document: _fill(document, table, values))


def set_plane(folder: Path, plane: Plane, **extra: Any) -> Job:
    """Add a plane to the job, or replace the angles of the one of its name."""
    return change_job(
        folder, lambda document: put_named(document, "planes", _plane_values(plane) | extra)
    )


def _plane_values(plane: Plane) -> dict[str, Any]:
    values = {"name": plane.name, "tilt_deg": plane.tilt_deg, "azimuth_deg": plane.azimuth_deg}
    return values if plane.size_kwp is None else values | {"size_kwp": plane.size_kwp}


def set_point(folder: Path, point: Point) -> Job:
    """Add a point to the job, or tell more of the one of its name; what is None stays."""
    known = {key: value for key, value in vars(point).items() if value not in (None, ())}
    return change_job(folder, lambda document: put_named(document, "points", known))


def add_obstruction(folder: Path, what: Mapping[str, Any]) -> Job:
    """Name a part of the skyline."""
    known = {key: value for key, value in what.items() if value is not None}
    return change_job(folder, lambda document: _append(document, "obstructions", known))


def add_edit(folder: Path, edit: EditEntry) -> Job:
    """Append an edit; edits are never changed, a later one goes before."""
    return change_job(folder, lambda document: _append(document, "edits", edit.as_dict()))


def remove_last_edit(folder: Path) -> EditEntry:
    """Take the last edit out of the job; comments that stand after it stay."""
    taken: list[EditEntry] = []

    def take(document: Any) -> None:
        found = document.get("edits")
        if not found:
            raise UsageError("the job has no change to take back", str(folder))
        last = found[-1]
        taken.append(edit_entry(Table(last.unwrap(), f"edits {len(found)}")))
        after = _after_its_keys(last)
        del found[-1]
        if not found:
            del document["edits"]
        # What follows an entry is read as a part of it, though it may be about something else.
        where = found[-1] if found else document
        for item in after:
            where.add(item)

    change_job(folder, take)
    return taken[0]


def _after_its_keys(table: Any) -> list[Any]:
    """Comments, and the space around them, after the last key of a table."""
    from tomlkit.items import Comment

    after: list[Any] = []
    for key, item in table.value.body:
        after = [] if key is not None else [*after, item]
    return after if any(isinstance(item, Comment) for item in after) else []


def _fill(document: Any, table: str, values: Mapping[str, Any]) -> None:
    """Set keys of a table; None takes a key out."""
    import tomlkit

    if table not in document:
        document[table] = tomlkit.table()
    _set(document[table], values)


def put_named(document: Any, tables: str, values: Mapping[str, Any]) -> None:
    """Set keys of the table of that name in a list of tables, which is added if it is not there."""
    for table in document.get(tables, ()):
        if table.get("name") == values["name"]:
            return _set(table, values)
    return _append(document, tables, values)


def _append(document: Any, tables: str, values: Mapping[str, Any]) -> None:
    """Add one to a list of tables."""
    import tomlkit

    if tables not in document:
        document[tables] = tomlkit.aot()
    table = tomlkit.table()
    table.trivia.indent = "\n"  # a blank line in front
    _set(table, values)
    document[tables].append(table)


def _set(table: Any, values: Mapping[str, Any]) -> None:
    for key, value in values.items():
        if value is not None:
            table[key] = list(value) if isinstance(value, tuple) else value
        elif key in table:
            del table[key]
