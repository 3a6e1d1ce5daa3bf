"""What a job's ``job.toml`` says, as frozen records, and how it is read, made and edited."""

from __future__ import annotations

import math
import tomllib
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

from logger.access import Plane
from logger.errors import InputError, UsageError
from logger.files import write_atomically
from logger.job.names import folder_name
from logger.profile import OBSTRUCTION_KINDS
from logger.site import Site

JOB_FILE = "job.toml"
_LOCK_WAIT_S = 20.0


@dataclass(frozen=True)
class Point:
    """A spot where a module may stand.

    Parameters
    ----------
    name : str
    sight_height_m, module_height_m : float or None
        Of the sight while sweeping and of the module to be, above the same surface. [m]
    """

    name: str
    sight_height_m: float | None = None
    module_height_m: float | None = None


@dataclass(frozen=True)
class NamedSector:
    """An obstruction named in the job: where it stands as seen from a point.

    Parameters
    ----------
    name : str
    kind : str
        One of `logger.profile.OBSTRUCTION_KINDS`.
    point : str
        Empty: seen from every point alike.
    from_azimuth_deg, to_azimuth_deg : float or None
        None where sweeps label it and only the distance is given here. [deg]
    distance_m : float or None
        [m]
    """

    name: str
    kind: str = "other"
    point: str = ""
    from_azimuth_deg: float | None = None
    to_azimuth_deg: float | None = None
    distance_m: float | None = None


@dataclass(frozen=True)
class Job:
    """A survey.

    Parameters
    ----------
    folder : Path
    name : str
    site : Site
    timezone : str
        IANA name; empty: charts and windows in apparent solar time only.
    planes : tuple of Plane
    points : tuple of Point
    obstructions : tuple of NamedSector
    people : mapping of str to str
        ``surveyor``, ``client``, ``address`` and whatever else, for the report.
    rules, edits : raw tables
        As they stand in the file; the rooms that use them check them.
    """

    folder: Path
    name: str
    site: Site
    timezone: str = ""
    planes: tuple[Plane, ...] = ()
    points: tuple[Point, ...] = ()
    obstructions: tuple[NamedSector, ...] = ()
    people: Mapping[str, str] = field(default_factory=dict)
    rules: Mapping[str, Any] = field(default_factory=dict)
    edits: tuple[Mapping[str, Any], ...] = ()

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
    try:
        raw = tomllib.loads(text.decode("utf-8"))
    except (ValueError, RecursionError) as error:
        raise InputError(f"is no valid TOML: {error}", str(path)) from error
    try:
        return _job_of(folder, raw)
    except (UsageError, ValueError) as error:
        raise InputError(str(error), str(path)) from error


def _job_of(folder: Path, raw: dict[str, Any]) -> Job:
    site = _Table(raw.get("site"), "site")
    planes = [_Table(t, f"plane {i}") for i, t in enumerate(_tables(raw, "planes"), 1)]
    points = [_Table(t, f"point {i}") for i, t in enumerate(_tables(raw, "points"), 1)]
    sectors = [_Table(t, f"obstruction {i}") for i, t in enumerate(_tables(raw, "obstructions"), 1)]
    people = raw.get("people", {})
    return Job(
        folder=folder,
        name=site.text("name") or folder.resolve().name,
        site=Site(
            site.number("latitude_deg"),
            site.number("longitude_deg"),
            site.optional_number("elevation_m") or 0.0,
        ),
        timezone=known_timezone(site.text("timezone")),
        planes=tuple(
            Plane(
                t.text("name") or t.where,
                t.number("tilt_deg"),
                t.number("azimuth_deg"),
                size_kwp=t.optional_number("size_kwp"),
            )
            for t in planes
        ),
        points=tuple(
            Point(
                folder_name(t.text("name")),
                t.optional_number("sight_height_m"),
                t.optional_number("module_height_m"),
            )
            for t in points
        ),
        obstructions=tuple(
            NamedSector(
                t.text("name") or t.where,
                t.one_of("kind", OBSTRUCTION_KINDS, "other"),
                t.text("point"),
                t.optional_number("from_azimuth_deg"),
                t.optional_number("to_azimuth_deg"),
                t.optional_number("distance_m"),
            )
            for t in sectors
        ),
        people={str(k): str(v) for k, v in people.items()} if isinstance(people, dict) else {},
        rules=raw.get("rules", {}) if isinstance(raw.get("rules"), dict) else {},
        edits=tuple(_tables(raw, "edits")),
    )


def _tables(raw: dict[str, Any], name: str) -> list[dict[str, Any]]:
    found = raw.get(name, [])
    if not isinstance(found, list) or not all(isinstance(t, dict) for t in found):
        raise ValueError(f"{name} must be tables, each headed [[{name}]]")
    return found


class _Table:
    def __init__(self, raw: Any, where: str) -> None:
        self._raw = raw if isinstance(raw, dict) else {}
        self.where = where

    def text(self, key: str) -> str:
        value = self._raw.get(key, "")
        if not isinstance(value, str):
            raise ValueError(f"{self.where}: {key} must be text in quotes")
        return value

    def optional_number(self, key: str) -> float | None:
        value = self._raw.get(key)
        if value is None:
            return None
        if isinstance(value, bool) or not isinstance(value, (int, float)):
            raise ValueError(f"{self.where}: {key} must be a number")
        if not math.isfinite(value):
            raise ValueError(f"{self.where}: {key} must be a finite number")
        return float(value)

    def number(self, key: str) -> float:
        value = self.optional_number(key)
        if value is None:
            raise ValueError(f"{self.where}: {key} is missing")
        return value

    def one_of(self, key: str, allowed: tuple[str, ...], default: str) -> str:
        value = self.text(key) or default
        if value not in allowed:
            raise ValueError(f"{self.where}: {key} {value!r} is none of {', '.join(allowed)}")
        return value


def known_timezone(name: str) -> str:
    """The name itself if the system knows the zone; empty stays empty.

    Raises
    ------
    UsageError
        There is no such zone.
    """
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
    """Make a job folder.

    Parameters
    ----------
    folder : Path
        New or empty of a job.
    site : Site
    name, timezone : str
    planes : tuple of Plane
    people : mapping

    Raises
    ------
    UsageError
        There is a job already, or the time zone is unknown.
    InputError
        The folder cannot be made.
    """
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
    table["elevation_m"] = site.elevation_m
    if known_timezone(timezone):
        table["timezone"] = timezone
    document["site"] = table
    if people:
        document["people"] = dict(people)
    if planes:
        document["planes"] = _plane_tables(planes)
    write_atomically(path, tomlkit.dumps(document))
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
    """Change ``job.toml`` in place, comments kept; one process at a time.

    Parameters
    ----------
    folder : Path
    change : callable
        Takes the tomlkit document and alters it.

    Raises
    ------
    InputError
        The file cannot be read or written, another process holds it for too long, or the
        change would leave it unreadable (then nothing is written).
    """
    import tomlkit
    from filelock import FileLock, Timeout

    path = folder / JOB_FILE
    read_job(folder)
    try:
        with FileLock(str(folder / ".job.lock"), timeout=_LOCK_WAIT_S):
            document = tomlkit.parse(path.read_text(encoding="utf-8"))
            change(document)
            text = tomlkit.dumps(document)
            try:
                _job_of(folder, tomllib.loads(text))
            except (UsageError, ValueError) as error:
                raise InputError(f"this change was not made: {error}", str(path)) from error
            write_atomically(path, text)
    except Timeout as error:
        raise InputError("another program holds this job", str(folder)) from error
    return read_job(folder)


def set_plane(folder: Path, plane: Plane, **extra: Any) -> Job:
    """Add a plane to the job, or replace the one of its name.

    Parameters
    ----------
    folder : Path
    plane : Plane
    **extra
        Further keys to store with it, such as its uncertainty.
    """

    def change(document: Any) -> None:
        import tomlkit

        (table,) = _plane_tables((plane,))
        for key, value in extra.items():
            table[key] = value
        tables = document.setdefault("planes", tomlkit.aot())
        for i, old in enumerate(tables):
            if old.get("name") == plane.name:
                tables[i] = table
                return
        tables.append(table)

    return edit_job(folder, change)
