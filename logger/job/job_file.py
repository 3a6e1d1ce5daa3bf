"""How a job's ``job.toml`` is read, made and changed: comments and order are kept."""

from __future__ import annotations

import datetime as dt
import tomllib
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any

from logger.access import Plane
from logger.errors import InputError, UsageError
from logger.files import read_within
from logger.job.folder import refuse_unknown_names
from logger.job.names import plain_name
from logger.job.records import Job, Point, job_from
from logger.outputs import write_in_job
from logger.site import Site
from logger.structured import utc_text

JOB_FILE = "job.toml"
LARGEST_FILE = 4 * 2**20
LOCK_WAIT_S = 20.0


def read_job(folder: Path) -> Job:
    """Read a job folder's ``job.toml``.

    Parameters
    ----------
    folder : Path
        The job's.

    Raises
    ------
    InputError
        There is none or it cannot be understood: the message names file, table, key and value, the
        hint what would do.
    """
    path = folder / JOB_FILE
    if not path.exists():
        raise InputError(
            "cannot be read: there is no such file",
            str(path),
            hint="make a job with: horizon-logger new JOB --latitude … --longitude …",
        )
    return _job_of(folder, read_within(path, LARGEST_FILE, "job"))


def _job_of(folder: Path, text: bytes) -> Job:
    """The job that a text of ``job.toml`` tells, held against what lies in the folder."""
    path = folder / JOB_FILE
    job = job_from(folder, _parsed(text, path), str(path))
    refuse_unknown_names(job, str(path))
    return job


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
        append(document, "planes", told(plane))
    text = tomlkit.dumps(document)
    try:
        job_from(folder, tomllib.loads(text), "")
    except InputError as error:
        raise UsageError(error.what, hint=error.hint) from error
    write_in_job(folder, path, text)
    return read_job(folder)


def document_of(folder: Path) -> Any:
    """``job.toml`` with its comments, whether or not its keys make sense."""
    import tomlkit

    path = folder / JOB_FILE
    content = read_within(path, LARGEST_FILE, "job")
    _parsed(content, path)
    try:
        return tomlkit.parse(content.decode("utf-8-sig"))
    except (ValueError, RecursionError) as error:
        raise InputError(f"cannot be changed: {error}", str(path), "change it by hand") from error


def change_job(folder: Path, change: Callable[[Any], None], *, check: bool = True) -> None:
    """Change ``job.toml`` in place; one process at a time, and only to what can be read again."""
    import tomlkit
    from filelock import FileLock, Timeout

    path = folder / JOB_FILE
    if check:
        read_job(folder)
    lock = folder / ".job.lock"
    try:
        if lock.is_symlink():
            lock.unlink()  # a mailed job's: to lock it would empty the file that it leads to
        with FileLock(str(lock), timeout=LOCK_WAIT_S):
            document = document_of(folder)
            change(document)
            text = tomlkit.dumps(document)
            try:
                if check:
                    _job_of(folder, text.encode())
            except InputError as error:
                what = f"this change was not made: {error.what}"
                raise UsageError(what, str(path), error.hint) from error
            write_in_job(folder, path, text)
    except Timeout as error:
        raise InputError("another program holds this job", str(folder)) from error
    except OSError as error:
        raise InputError(f"cannot be changed: {error.strerror or error}", str(path)) from error


def set_table(folder: Path, table: str, values: Mapping[str, Any]) -> Job:
    """Set keys of a table, such as ``[settings]`` or ``[port]``; None takes a key out."""
    change_job(folder, lambda document: _fill(document, table, values))
    return read_job(folder)


def set_named(folder: Path, tables: str, values: Mapping[str, Any]) -> Job:
    """Set keys of each table of that name in a list such as ``[[points]]``, which is added if new.

    None takes a key out.
    """

    def change(document: Any) -> None:
        found = [t for t in document.get(tables, ()) if plain_name(t["name"]) == values["name"]]
        for table in found:
            _set(table, values)
        if not found:
            append(document, tables, values)

    change_job(folder, change)
    return read_job(folder)


def set_plane(folder: Path, plane: Plane, **extra: Any) -> Job:
    """Add a plane to the job, or tell more of the one of its name; what is not told stays."""
    return set_named(folder, "planes", told(plane) | extra)


def set_point(folder: Path, point: Point) -> Job:
    """Add a point to the job, or tell more of the one of its name; what is not told stays."""
    return set_named(folder, "points", told(point))


def told(record: Any) -> dict[str, Any]:
    """What a record tells beside its defaults, as keys of a table."""
    values = {key: value for key, value in vars(record).items() if value not in (None, "", ())}
    moments = {key: value for key, value in values.items() if isinstance(value, dt.datetime)}
    return values | {key: utc_text(value, "milliseconds") for key, value in moments.items()}


def _fill(document: Any, table: str, values: Mapping[str, Any]) -> None:
    """Set keys of a table; None takes a key out."""
    import tomlkit

    _set(document.setdefault(table, tomlkit.table()), values)


def append(document: Any, tables: str, values: Mapping[str, Any]) -> None:
    """Add one to a list of tables."""
    import tomlkit

    table = tomlkit.table()
    table.trivia.indent = "\n"  # a blank line in front
    _set(table, values)
    document.setdefault(tables, tomlkit.aot()).append(table)


def _set(table: Any, values: Mapping[str, Any]) -> None:
    for key, value in values.items():
        if value is not None:
            table[key] = list(value) if isinstance(value, tuple) else value
        elif key in table:
            del table[key]
