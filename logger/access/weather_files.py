"""Files of typical years, recognised by their content and read through pvlib.

Interval conventions: a row of a TMY2 or TMY3 file bears the end of its hour, a row of an EPW file
the number of its hour of the day, 1 for midnight to one o'clock; all count local standard time. A
row of PVGIS bears the start of its hour in UTC, though its satellite looked at some minute within
it, an hour of NASA POWER its start in UTC; a row of NSRDB's CSV the middle of its hour in local
standard time.
"""

from __future__ import annotations

import datetime as dt
import hashlib
import io
import json
import math
import re
import statistics
import warnings
from collections.abc import Callable, Sequence
from dataclasses import asdict, dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np

from logger.access.monthly_means import monthly_means
from logger.access.weather import MINUTES_A_YEAR, Weather, minute_of_year
from logger.arrays import Floats, Ints, floats
from logger.errors import InputError, LoggerError
from logger.files import read_within
from logger.site import Site

# What pvlib and pandas let out on a damaged file
LEAKED = (ArithmeticError, AttributeError, LookupError, NameError, TypeError, ValueError)
LARGEST_FILE = 64 * 2**20
"""A typical year takes about two million. [bytes]"""

HIGHEST_WM2 = 1500.0
"""Above any irradiance on the ground: the formats' mark for a missing value (9999). [W/m2]"""
LOWEST_WM2 = -50.0
"""Below any error of an instrument at night: another mark for a missing value (-9900). [W/m2]"""

PVGIS_LATE_H = 0.17
"""From a PVGIS stamp to the instant of its values, where the file does not say: as its satellite
data have it over Europe (from memory). [h]"""


@dataclass(frozen=True)
class _Format:
    """One kind of file."""

    name: str
    first_lines: str  # Pattern of its first lines
    read: Callable[[str, Path], tuple[Any, dict[str, Any]]]
    ends_of_hours: bool = False  # Whether rows bear the end of their interval


def read_weather(path: str | Path) -> Weather:
    """Read a typical year, or twelve monthly means; the content tells what it is.

    EPW, TMY3, TMY2, the CSV of PVGIS or of NSRDB, years of NASA POWER as JSON, `monthly_file`.

    Parameters
    ----------
    path : str or Path

    Raises
    ------
    InputError
        The file cannot be read, is of no known format, or does not hold a year in order.
    """
    path = Path(path)
    content = read_within(path, LARGEST_FILE, "typical year")
    # Station names come in any encoding; figures are ASCII.
    text = content.decode("utf-8-sig", errors="replace")
    head = "\n".join(text[:20_000].splitlines()[:3])
    sha256 = hashlib.sha256(content).hexdigest()
    kind = next((f for f in FORMATS if re.match(f.first_lines, head)), None)
    is_monthly = head.startswith(MONTHLY)
    if kind is None and not is_monthly:
        names = ", ".join(dict.fromkeys(f.name for f in FORMATS))
        raise InputError(f"is no weather of a known format ({names})", str(path))
    try:
        with warnings.catch_warnings():
            # What pandas finds odd about a column is judged by its values, later.
            warnings.simplefilter("ignore")
            if kind is None:
                return _read_monthly(text, path, sha256)
            table, about = kind.read(text, path)
        return _weather(kind, table, about, path, sha256)
    except InputError:
        raise
    except (*LEAKED, LoggerError) as e:
        where = f"{path}, line {line}" if (line := _odd_line(text)) else str(path)
        reason = (str(e).strip().splitlines() or ["damaged"])[0]
        reason = "".join(c for c in reason if c.isprintable())[:160]
        name = f"{kind.name} file" if kind else "file of monthly means"
        raise InputError(f"is no sound {name}: {reason}", where) from e


def _read_epw(text: str, path: Path) -> tuple[Any, dict[str, Any]]:
    import pvlib

    # A buffer, never the name: the readers take some names for addresses to fetch.
    table, about = pvlib.iotools.read_epw(io.StringIO(text))
    return table, {**about, "name": about.get("city", "")}


def _read_tmy3(text: str, path: Path) -> tuple[Any, dict[str, Any]]:
    import pvlib

    table, about = pvlib.iotools.read_tmy3(io.StringIO(text), map_variables=True)
    return table, {**about, "name": about.get("Name", "")}


def _read_tmy2(text: str, path: Path) -> tuple[Any, dict[str, Any]]:
    import pvlib

    table, about = pvlib.iotools.read_tmy2(str(path))
    names = {"GHI": "ghi", "DNI": "dni", "DHI": "dhi"}
    table = table.rename(columns=names)
    table["temp_air"], table["wind_speed"] = table["DryBulb"] / 10.0, table["Wspd"] / 10.0
    return table, {**about, "name": str(about.get("City", "")).title()}


def _read_pvgis(text: str, path: Path) -> tuple[Any, dict[str, Any]]:
    import pvlib

    buffer = io.BytesIO(text.encode())
    table, about = pvlib.iotools.read_pvgis_tmy(buffer, pvgis_format="csv")
    place = about["inputs"]
    # Values hold for an instant this long after the stamp: the middle of their hour.
    late_min = 60.0 * float(place.get("irradiance time offset", PVGIS_LATE_H))
    return table, {
        "latitude": place["latitude"],
        "longitude": place["longitude"],
        "altitude": place["elevation"],
        "TZ": (30.0 - late_min) / 60.0,
        "name": "PVGIS",
    }


def _read_nsrdb(text: str, path: Path) -> tuple[Any, dict[str, Any]]:
    import pvlib

    table, about = pvlib.iotools.read_nsrdb_psm4(io.StringIO(text), map_variables=True)
    return table, {**about, "TZ": about["Time Zone"], "name": "NSRDB"}


def _read_power(text: str, path: Path) -> tuple[Any, dict[str, Any]]:
    """The mean of whole years of NASA POWER, hour by hour of UTC."""
    import pandas as pd
    from pvlib.iotools import nasa_power

    said = json.loads(text)
    about, (longitude, latitude, altitude) = said["header"], said["geometry"]["coordinates"]
    if about.get("time_standard", "UTC") != "UTC":
        raise ValueError(f"its times are {about['time_standard']}, not UTC")
    table = pd.DataFrame(said["properties"]["parameter"]).rename(columns=nasa_power.VARIABLE_MAP)
    table = table.astype(float).replace(float(about["fill_value"]), np.nan)
    hour = pd.to_datetime(table.index.to_series(), format="%Y%m%d%H").dt
    first, last = int(hour.year.min()), int(hour.year.max())
    common = ~((hour.month == 2) & (hour.day == 29))
    if int(common.sum()) != 8760 * (last - first + 1):
        raise ValueError(f"holds {int(common.sum())} hours, not the years {first} to {last}")
    mean = (
        table[common].groupby([part[common] for part in (hour.month, hour.day, hour.hour)]).mean()
    )
    if len(mean) != 8760:
        raise ValueError(f"holds {len(mean)} hours of a year, not 8760")
    mean.index = pd.date_range("2001-01-01", periods=8760, freq="h")
    return mean, {
        "latitude": latitude, "longitude": longitude, "altitude": altitude, "TZ": 0.0,
        "source": f"mean of the years {first} to {last} of NASA POWER, {path.name}",
    }  # fmt: skip


MONTHLY = "# monthly means of daily global horizontal irradiation [kWh/m2]"
"""First line of a file of twelve monthly means."""


def monthly_file(site: Site, ghi_kwh_m2_day: Sequence[float]) -> str:
    """Twelve monthly means and their place, as `read_weather` reads them."""
    monthly_means(site, ghi_kwh_m2_day)  # refuses what cannot be
    place = [f"# {name}: {value}" for name, value in asdict(site).items()]
    rows = [f"{month},{value:g}" for month, value in enumerate(ghi_kwh_m2_day, 1)]
    return "\n".join([MONTHLY, *place, "month,ghi_kwh_m2_day", *rows]) + "\n"


def _read_monthly(text: str, path: Path, sha256: str) -> Weather:
    lines = [line.strip() for line in text.splitlines() if line.strip()]
    place = dict(line[1:].split(":") for line in lines[1:] if line.startswith("#"))
    rows = [line.split(",") for line in lines if line[0].isdigit()]
    if [int(month) for month, _ in rows] != list(range(1, 13)):
        raise ValueError("its rows are not the months 1 to 12")
    site = Site(**{name.strip(): float(value) for name, value in place.items()})
    weather = monthly_means(site, [float(value) for _, value in rows])
    return replace(weather, source=f"{weather.source}, {path.name}", sha256=sha256)


FORMATS = (
    _Format("EPW", r"LOCATION,", _read_epw),
    _Format("TMY3", r"[^\n]*\nDate \(MM/DD/YYYY\)", _read_tmy3, ends_of_hours=True),
    _Format("TMY2", r"\s?\d{5} .{22} ..\s+-?\d+ [NS] ", _read_tmy2),
    _Format("PVGIS CSV", r"Latitude \(decimal degrees\):", _read_pvgis),
    _Format("NSRDB CSV", r"Source,Location ID,", _read_nsrdb),
    _Format("NASA POWER JSON", r'\s*\{\s*"type":\s*"Feature"', _read_power),
)


def _weather(kind: _Format, table: Any, about: dict[str, Any], path: Path, sha256: str) -> Weather:
    where = str(path)
    leap_day = (table.index.month == 2) & (table.index.day == 29)
    if len(table) % 8784 == 0 and len(table):
        # A leap year: the typical year has no 29 February.
        late = np.roll(leap_day, len(table) // 8784) if kind.ends_of_hours else leap_day
        table = table[~late]
    rows = len(table)
    if rows == 0 or rows % 8760 or 1440 % (rows // 365):
        raise InputError(f"holds {rows} rows, not a whole year", where)
    step_min = MINUTES_A_YEAR // rows
    out_of_order = np.flatnonzero(
        _start_minute(table.index, step_min, kind.ends_of_hours) != np.arange(rows) * step_min
    )
    if out_of_order.size:
        found = table.index[int(out_of_order[0])]
        raise InputError(
            f"row {int(out_of_order[0]) + 1} of {rows} bears the time {found:%d %b %H:%M}: rows "
            "must run from 1 January to 31 December, none missing and none twice",
            where,
        )
    if not math.isfinite(float(about["TZ"])) or abs(float(about["TZ"])) > 14:
        raise InputError(f"its time zone is {about['TZ']}", where)
    for wanted in ("ghi", "dni", "dhi", "temp_air", "wind_speed"):
        if wanted not in table:
            raise InputError(f"it has no column of the {kind.name} format for {wanted}", where)
    columns = {name: _irradiance(table[name]) for name in ("ghi", "dni", "dhi")}
    unknown = int(np.count_nonzero(~np.isfinite(sum(columns.values()))))
    if unknown == rows:
        raise InputError("holds no irradiance", where)
    notes = (
        [f"{unknown} rows of the weather have no irradiance and are left out"] if unknown else []
    )
    name = "".join(c for c in str(about.get("name")).strip().strip('"') if c.isprintable())[:60]
    source = f"typical year {path.name} ({', '.join(dict.fromkeys((kind.name, name)))})"
    return Weather(
        columns["ghi"],
        columns["dni"],
        columns["dhi"],
        step_min=step_min,
        utc_offset_min=round(float(about["TZ"]) * 60),
        temperature_c=_filled(table["temp_air"], -80.0, 70.0),
        wind_ms=_filled(table["wind_speed"], 0.0, 60.0),
        source=about.get("source", source),
        sha256=sha256,
        notes=tuple(notes),
        place=Site(float(about["latitude"]), float(about["longitude"]), float(about["altitude"])),
    )


def _start_minute(index: Any, step_min: int, ends: bool) -> Ints:
    """Minute of the common year at which each row's interval starts."""
    minute = minute_of_year(index)
    start = (minute - step_min if ends else minute) // step_min * step_min
    return np.asarray(start % MINUTES_A_YEAR, dtype=np.int64)


def _irradiance(column: Any) -> Floats:
    """Readings as numbers; the formats' marks for missing become NaN."""
    values = np.array(column, dtype=float)
    values[(values >= HIGHEST_WM2) | (values < LOWEST_WM2)] = np.nan
    return floats(np.maximum(values, 0.0))  # np.maximum keeps NaN


def _filled(column: Any, low: float, high: float) -> Floats | None:
    """Readings with missing ones taken from the nearest hours; None if all are missing."""
    values = np.array(column, dtype=float)
    good = np.isfinite(values) & (values >= low) & (values <= high)
    if not good.any():
        return None
    at = np.arange(len(values))
    return floats(np.interp(at, at[good], values[good]))


def _odd_line(text: str) -> int | None:
    """The first line of data, from 1, that is not like the others; None for none."""
    rows = [row.split(",") for row in text.splitlines()]
    width = statistics.mode(len(row) for row in rows) if rows else 0
    alike = [row for row in rows if len(row) == width]
    likeness = [statistics.mode(map(_look, cells)) for cells in zip(*alike, strict=True)]
    kept = [i for i, look in enumerate(likeness) if look in ("number", "date", "0:0")]
    if not kept:
        return None

    def odd_cells(row: list[str]) -> int:
        return sum(i >= len(row) or _look(row[i]) not in ("", likeness[i]) for i in kept)

    # The heading is over where two lines in a row are mostly like the data.
    sound = [odd_cells(row) <= len(kept) // 2 for row in rows]
    last = max(i for i, is_sound in enumerate(sound) if is_sound)
    first = next((i for i in range(last) if sound[i] and sound[i + 1]), last)
    data = range(first, last + 1)
    return next((i + 1 for i in data if len(rows[i]) != width or odd_cells(rows[i])), None)


def _look(cell: str) -> str:
    """What kind of thing a cell holds."""
    cell = cell.strip()
    if not cell:
        return ""
    if re.fullmatch(r"\d+/\d+/\d+", cell):
        try:
            dt.datetime.strptime(cell, "%m/%d/%Y")
        except ValueError:
            return "no date"
        return "date"
    try:
        float(cell)
    except ValueError:
        return re.sub(r"\d+", "0", cell) if re.fullmatch(r"\d+:\d+", cell) else "word"
    return "number"
