"""What a job's ``job.toml`` may say, as frozen records: the one place for its tables and keys."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Annotated, Any

from logger.access import Plane
from logger.access.rules import Rules
from logger.edits import ENTRY_HINT, Edit, edit_from
from logger.errors import InputError, LoggerError, UsageError
from logger.horizon import ObstructionKind
from logger.job.names import folder_name, plain_name
from logger.places import known_timezone
from logger.settings import NONE, Settings, changed, written
from logger.site import Site
from logger.structured import Within, nearest, record_from, sha256_text

MOST_PLANES, MOST_POINTS, MOST_ENTRIES = 50, 1000, 5000

# Metres east, north and up from the job's origin
_Metres = Annotated[float, Within(-10_000, 10_000)]
Corner = tuple[_Metres, _Metres, _Metres]


def _point_or_every(name: str) -> str:
    return folder_name(name) if name else name


@dataclass(frozen=True)
class Point:
    """Where the board stands, or stood, to sweep."""

    name: Annotated[str, folder_name]
    # Of the sight while sweeping and of the module to be, above the same surface. [m]
    sight_height_m: float | None = None
    module_height_m: float | None = None
    # From the job's origin, and how sure each is, 1 sigma. [m]
    east_m: float | None = None
    north_m: float | None = None
    up_m: float | None = None
    position_error_m: float | None = None
    planes: tuple[Annotated[str, plain_name], ...] = ()  # Names; empty: every plane of the job

    def __post_init__(self) -> None:
        if (self.east_m is None) != (self.north_m is None):
            raise UsageError("of a position east_m and north_m are both needed")


@dataclass(frozen=True)
class JobPlane(Plane):
    """A plane of the array, with what the job knows of it beside its angles."""

    name: Annotated[str, plain_name]
    outline: Annotated[tuple[Corner, ...], Within(0, 100)] = ()  # Corners in order; empty: not told
    # Of a plane that the board was laid on, 1 sigma. [deg]
    tilt_error_deg: float | None = None
    azimuth_error_deg: float | None = None
    measured_from: str = ""  # The recording it was measured by


@dataclass(frozen=True)
class JobObstruction:
    """An obstruction named in the job, and where it stands as seen from a point."""

    name: Annotated[str, plain_name]
    kind: ObstructionKind = "other"
    point: Annotated[str, _point_or_every] = ""  # Empty: seen from every point alike
    # None where sweeps label it and only the rest is told here. [deg]
    from_azimuth_deg: float | None = None
    to_azimuth_deg: float | None = None
    distance_m: float | None = None  # [m]
    removable: bool | None = None  # Whether it could be cut or moved; None: nobody said
    when: dt.datetime | None = None  # Entered by ``edit name-sector``; None: by hand

    def __post_init__(self) -> None:
        if (self.from_azimuth_deg is None) != (self.to_azimuth_deg is None):
            raise UsageError("of a sector from_azimuth_deg and to_azimuth_deg are both needed")

    def __str__(self) -> str:
        sector, distance = "", ""
        if self.from_azimuth_deg is not None:
            sector = f"{self.from_azimuth_deg:g} to {self.to_azimuth_deg:g}° "
        if self.distance_m is not None:
            distance = f" at {self.distance_m:g} m"
        removable = {None: "", True: ", removable", False: ", not removable"}[self.removable]
        where = self.point or "every point"
        return f"{where}: {sector}named {self.name}, {self.kind}{distance}{removable}"


@dataclass(frozen=True)
class JobWeather:
    """The sky that the job's figures rest on."""

    file: str  # Within the job folder, with / between folders
    sha256: Annotated[str, sha256_text]  # Of the file when it was set
    # Of a file that a data service sent
    address: str = ""
    fetched: dt.datetime | None = None
    licence: str = ""


@dataclass(frozen=True)
class JobPort:
    """The port that the board was last heard on."""

    url: str = ""
    baud: Annotated[int, Within(300, 4_000_000)] | None = None


@dataclass(frozen=True, kw_only=True)
class _Tables:
    """The tables of ``job.toml`` that mean what they say."""

    weather: JobWeather | None = None
    port: JobPort = field(default_factory=JobPort)
    planes: Annotated[tuple[JobPlane, ...], Within(0, MOST_PLANES)] = ()
    points: Annotated[tuple[Point, ...], Within(0, MOST_POINTS)] = ()
    obstructions: Annotated[tuple[JobObstruction, ...], Within(0, MOST_ENTRIES)] = ()
    rules: Rules = field(default_factory=Rules)
    # ``surveyor``, ``client``, ``address`` and whatever else, for the report
    people: Mapping[str, str] = field(default_factory=dict)
    # ``name``, ``serial_number``, ``holder`` and whatever else, for the report
    board: Mapping[str, str] = field(default_factory=dict)


@dataclass(frozen=True)
class Job(_Tables):
    """A survey."""

    folder: Path
    name: str
    site: Site
    timezone: str = ""  # IANA name; empty: charts and windows in apparent solar time only
    settings: Settings = field(default_factory=Settings)
    edits: tuple[Edit, ...] = ()  # What was changed without touching a recording, oldest first

    def point(self, name: str) -> Point:
        """The point of that name; one with nothing known if the job does not list it."""
        return next((p for p in self.points if p.name == name), Point(name))

    def edits_of(self, point: str) -> tuple[Edit, ...]:
        """The changes made to a point, oldest first."""
        return tuple(edit for edit in self.edits if edit.point == point)


@dataclass(frozen=True)
class _SiteTable:
    latitude_deg: float
    longitude_deg: float
    altitude_m: float = 0.0
    name: str = ""
    timezone: Annotated[str, known_timezone] = ""


@dataclass(frozen=True)
class _Document(_Tables):
    """``job.toml`` table by table."""

    site: _SiteTable
    settings: Mapping[str, Any] = field(default_factory=dict)
    edits: Annotated[tuple[Any, ...], Within(0, MOST_ENTRIES)] = ()


def job_from(folder: Path, plain: Any, file: str) -> Job:
    """The job that a parsed ``job.toml`` tells; InputError names table, key and value."""
    document = record_from(_Document, plain, file)
    settings = _settings(document.settings, file)
    site = document.site
    known = {
        **vars(document),
        "site": Site(site.latitude_deg, site.longitude_deg, site.altitude_m),
        "settings": settings,
        "edits": tuple(_edit(one, f"{file}: edits {i}") for i, one in enumerate(document.edits, 1)),
    }
    name = plain_name(site.name or folder.resolve().name)
    job = Job(folder, name, timezone=site.timezone, **known)
    names = [plane.name for plane in job.planes]
    for i, point in enumerate(job.points, 1):
        for name in point.planes:
            if name not in names:
                what = f"points {i}: planes: there is no plane {name!r}"
                raise InputError(what, file, nearest(name, names) or "add it under [[planes]]")
    _refuse_twice("planes", names, file)
    _refuse_twice("points", [point.name for point in job.points], file)
    return job


def _settings(plain: Mapping[str, Any], file: str) -> Settings:
    for name, value in plain.items():
        default = getattr(Settings(), name, "")
        spelt = isinstance(default, str) or (default is None and value == NONE)
        each = value if isinstance(value, list) else [value]
        if not spelt and any(isinstance(one, str) for one in each):
            what = f"settings: {name} is {value!r}, in quotes"
            raise InputError(what, file, f"without quotes, such as {written(default)}")
    try:
        return changed(Settings(), plain)
    except LoggerError as error:
        raise InputError(f"settings: {error}", file, error.hint) from error
    except RecursionError as error:
        raise InputError("settings: nested too deeply", file, "NAME = VALUE") from error


def _edit(plain: Any, where: str) -> Edit:
    edit = edit_from(plain, where)
    try:
        return replace(edit, point=folder_name(edit.point))
    except UsageError as error:
        raise InputError(str(error), where, ENTRY_HINT) from error


def _refuse_twice(table: str, names: list[str], file: str) -> None:
    for number, before, name in taken_twice(names):
        what = f"{table} {number}: name {name!r} is taken by {before!r} before it"
        raise InputError(what, file, "give each a name of its own")


def taken_twice(names: Iterable[str]) -> Iterator[tuple[int, str, str]]:
    """Names that differ in case at most: one folder on some systems, and one to the ear."""
    seen: dict[str, str] = {}
    for number, name in enumerate(names, 1):
        if before := seen.get(name.casefold()):
            yield number, before, name
        seen[name.casefold()] = name
