"""What a job's ``job.toml`` says, as frozen records, and how it is read, made and edited."""

from __future__ import annotations

import tomllib
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, TypeVar
from zoneinfo import ZoneInfo

from logger.access import Plane
from logger.errors import InputError, UsageError
from logger.files import write_atomically
from logger.horizon import OBSTRUCTION_KINDS
from logger.job.edits import EditEntry, edit_entry
from logger.job.names import folder_name
from logger.job.tables import Table, tables
from logger.settings import Settings, changed
from logger.site import Site

JOB_FILE = "job.toml"
LOCK_WAIT_S = 20.0


@dataclass(frozen=True)
class Point:
    """A spot where a module may stand."""

    name: str
    # Of the sight while sweeping and of the module to be, above the same surface. [m]
    sight_height_m: float | None = None
    module_height_m: float | None = None


@dataclass(frozen=True)
class NamedSector:
    """An obstruction named in the job: where it stands as seen from a point."""

    name: str
    kind: str = "other"  # One of `logger.horizon.OBSTRUCTION_KINDS`
    point: str = ""  # Empty: seen from every point alike
    # None where sweeps label it and only the distance is given here. [deg]
    from_azimuth_deg: float | None = None
    to_azimuth_deg: float | None = None
    distance_m: float | None = None  # [m]


@dataclass(frozen=True)
class JobWeather:
    """The weather that the job's figures rest on."""

    file: str  # In the job folder
    sha256: str  # Of the file when it was set, in hex


_Named = TypeVar("_Named", Plane, Point)


@dataclass(frozen=True)
class Job:
    """A survey."""

    folder: Path
    name: str
    site: Site
    timezone: str = ""  # IANA name; empty: charts and windows in apparent solar time only
    settings: Settings = field(default_factory=Settings)
    weather: JobWeather | None = None
    planes: tuple[Plane, ...] = ()
    points: tuple[Point, ...] = ()
    obstructions: tuple[NamedSector, ...] = ()
    # ``surveyor``, ``client``, ``address`` and whatever else, for the report
    people: Mapping[str, str] = field(default_factory=dict)
    # ``name``, ``serial_number``, ``holder`` and whatever else, for the report
    board: Mapping[str, str] = field(default_factory=dict)
    # The programme's, as it stands in the file; the room that uses it checks it
    rules: Mapping[str, Any] = field(default_factory=dict)
    # What the office changed without touching a recording, oldest first
    edits: tuple[EditEntry, ...] = ()

    def point(self, name: str) -> Point:
        """The point of that name; one with nothing known if the job does not list it."""
        return next((p for p in self.points if p.name == name), Point(name))


def read_job(folder: Path) -> Job:
    """Read a job folder's ``job.toml``.

    Parameters
    ----------
    folder : Path

    Raises
    ------
    InputError
        There is none, or it cannot be understood; the message names table and key.
    """
    path = folder / JOB_FILE
    try:
        text = path.read_bytes()
    except OSError as error:
        raise InputError(
            f"cannot be read: {error.strerror or error}",
            str(path),
            hint="make a job with: horizon-logger new JOB --latitude … --longitude …",
        ) from error
    raw = _parsed(text, path)
    try:
        return _job_of(folder, raw)
    except (UsageError, ValueError) as error:
        raise InputError(str(error), str(path)) from error


def _parsed(text: bytes, path: Path) -> dict[str, Any]:
    try:
        # Some editors put a byte order mark in front.
        return tomllib.loads(text.decode("utf-8-sig"))
    except UnicodeDecodeError as error:
        raise InputError(f"is not UTF-8 text (byte {error.start})", str(path)) from error
    except (ValueError, RecursionError) as error:
        raise InputError(f"is no valid TOML: {error}", str(path)) from error


def _job_of(folder: Path, raw: dict[str, Any]) -> Job:
    site = Table.named(raw, "site")
    return Job(
        folder=folder,
        name=site.text("name") or folder.resolve().name,
        site=site.told(
            lambda: Site(
                site.number("latitude_deg"),
                site.number("longitude_deg"),
                site.optional_number("altitude_m") or 0.0,
            )
        ),
        timezone=site.told(lambda: known_timezone(site.text("timezone"))),
        settings=_settings_of(Table.named(raw, "settings")),
        weather=_weather_of(Table.named(raw, "weather")),
        planes=_unique(tables(raw, "planes"), _plane_of),
        points=_unique(tables(raw, "points"), _point_of),
        obstructions=tuple(_sector_of(t) for t in tables(raw, "obstructions")),
        people=Table.named(raw, "people").texts(),
        board=Table.named(raw, "board").texts(),
        rules=Table.named(raw, "rules").raw,
        edits=tuple(edit_entry(t) for t in tables(raw, "edits")),
    )


def _settings_of(table: Table) -> Settings:
    return table.told(lambda: changed(Settings(), table.raw))


def _weather_of(table: Table) -> JobWeather | None:
    if not table.raw:
        return None
    for key in ("file", "sha256"):
        if not table.text(key):
            raise ValueError(f"{table.where}: {key} is missing")
    return JobWeather(table.text("file"), table.text("sha256"))


def _plane_of(table: Table) -> Plane:
    return table.told(
        lambda: Plane(
            table.text("name") or table.where,
            table.number("tilt_deg"),
            table.number("azimuth_deg"),
            size_kwp=table.optional_number("size_kwp"),
        )
    )


def _point_of(table: Table) -> Point:
    return Point(
        table.told(lambda: folder_name(table.text("name"))),
        table.height("sight_height_m"),
        table.height("module_height_m"),
    )


def _sector_of(table: Table) -> NamedSector:
    start, end = (table.optional_number(f"{end}_azimuth_deg") for end in ("from", "to"))
    if (start is None) != (end is None):
        missing = "from_azimuth_deg" if start is None else "to_azimuth_deg"
        raise ValueError(f"{table.where}: {missing} is missing")
    distance = table.optional_number("distance_m")
    if distance is not None and distance <= 0:
        raise ValueError(f"{table.where}: distance_m must be above 0")
    return NamedSector(
        table.text("name") or table.where,
        table.one_of("kind", OBSTRUCTION_KINDS, "other"),
        table.text("point"),
        start,
        end,
        distance,
    )


def _unique(found: list[Table], make: Callable[[Table], _Named]) -> tuple[_Named, ...]:
    made: dict[str, _Named] = {}
    for table in found:
        one = make(table)
        if one.name in made:
            raise ValueError(f"{table.where}: name {one.name!r} is taken by one before it")
        made[one.name] = one
    return tuple(made.values())


def known_timezone(name: str) -> str:
    """The name itself if the system knows the zone; empty stays empty."""
    if name:
        try:
            ZoneInfo(name)
        except (ValueError, OSError, KeyError) as error:
            raise UsageError(
                f"there is no time zone {name!r}", hint="IANA names, such as Europe/Lisbon"
            ) from error
    return name


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
    table = tomlkit.table()
    table["name"] = name or folder.resolve().name
    table["latitude_deg"] = site.latitude_deg
    table["longitude_deg"] = site.longitude_deg
    table["altitude_m"] = site.altitude_m
    if known_timezone(timezone):
        table["timezone"] = timezone
    document["site"] = table
    if people:
        document["people"] = dict(people)
    if planes:
        document["planes"] = _plane_tables(planes)
    text = tomlkit.dumps(document)
    try:
        _job_of(folder, tomllib.loads(text))
    except ValueError as error:
        raise UsageError(str(error)) from error
    write_atomically(path, text)
    return read_job(folder)


def _plane_tables(planes: tuple[Plane, ...]) -> Any:
    import tomlkit

    tables = tomlkit.aot()
    for plane in planes:
        table = tomlkit.table()
        table["name"] = plane.name
        table["tilt_deg"] = plane.tilt_deg
        table["azimuth_deg"] = plane.azimuth_deg
        if plane.size_kwp is not None:
            table["size_kwp"] = plane.size_kwp
        tables.append(table)
    return tables


def edit_job(folder: Path, change: Callable[[Any], None]) -> Job:
    """Change ``job.toml`` in place, comments kept; one process at a time."""
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
                _job_of(folder, tomllib.loads(text))
            except (UsageError, ValueError) as error:
                raise InputError(f"this change was not made: {error}", str(path)) from error
            write_atomically(path, text)
    except Timeout as error:
        raise InputError("another program holds this job", str(folder)) from error
    except OSError as error:
        raise InputError(f"cannot be changed: {error.strerror or error}", str(path)) from error
    return read_job(folder)


def set_plane(folder: Path, plane: Plane, **extra: Any) -> Job:
    """Add a plane to the job, or replace the one of its name."""
    values = {"name": plane.name, "tilt_deg": plane.tilt_deg, "azimuth_deg": plane.azimuth_deg}
    if plane.size_kwp is not None:
        values["size_kwp"] = plane.size_kwp
    return edit_job(folder, lambda document: _put(document, "planes", values | extra))


def set_point(folder: Path, point: Point) -> Job:
    """Add a point to the job, or tell more of the one of its name."""
    values = {
        "name": folder_name(point.name),
        "sight_height_m": point.sight_height_m,
        "module_height_m": point.module_height_m,
    }
    known = {key: value for key, value in values.items() if value is not None}
    return edit_job(folder, lambda document: _put(document, "points", known))


def add_obstruction(folder: Path, what: Mapping[str, Any]) -> Job:
    """Name a part of the skyline."""
    known = {key: value for key, value in what.items() if value is not None}
    return edit_job(folder, lambda document: _put(document, "obstructions", known, unique=False))


def add_edit(folder: Path, edit: EditEntry) -> Job:
    """Append an edit; edits are never changed, a later one goes before."""
    return edit_job(folder, lambda document: _put(document, "edits", edit.as_dict(), unique=False))


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

    edit_job(folder, take)
    return taken[0]


def _after_its_keys(table: Any) -> list[Any]:
    """Comments, and the space around them, after the last key of a table."""
    from tomlkit.items import Comment

    after: list[Any] = []
    for key, item in table.value.body:
        after = [] if key is not None else [*after, item]
    return after if any(isinstance(item, Comment) for item in after) else []


def _put(document: Any, name: str, values: Mapping[str, Any], *, unique: bool = True) -> None:
    """Write keys into the table of that name in a list of tables, or append a new one."""
    import tomlkit

    found = document.get(name)
    if found is None:
        found = document[name] = tomlkit.aot()
    old = [t for t in found if unique and t.get("name") == values.get("name")]
    table = old[0] if old else tomlkit.table()
    for key, value in values.items():
        table[key] = value
    if not old:
        found.append(table)
