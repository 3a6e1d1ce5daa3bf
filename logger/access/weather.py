"""Weather of a typical year or of a measured stretch, and the files it comes in.

Interval conventions: a row of a TMY3 file bears the end of its hour, a row of an EPW file the
number of its hour of the day, 1 for midnight to one o'clock; both count local standard time. Here
every row is a mean from its start over its step.
"""

from __future__ import annotations

import datetime as dt
import io
import math
import re
import warnings
from dataclasses import dataclass
from pathlib import Path
from statistics import mode
from typing import Any

import numpy as np

from logger.arrays import Floats, Ints, floats, freeze_columns
from logger.checks import Check
from logger.errors import InputError, LoggerError
from logger.files import read_within
from logger.site import Site, distance_km

LARGEST_FILE = 64 * 2**20
"""A typical year takes about two million. [bytes]"""

FAR_KM = 50.0
"""Weather from further away is not the site's (common practice, no source). [km]"""
HIGHER_M = 300.0
"""Nor is weather from so much higher or lower: air, cloud and fog are others (common practice, no
source). [m]"""

_YEAR_MIN = 365 * 1440


@dataclass(frozen=True, eq=False)
class Weather:
    """Mean irradiance over equal intervals."""

    # Global horizontal, direct normal, diffuse horizontal; NaN where unknown. [W/m2] Shape
    # (N,).
    ghi_wm2: Floats
    dni_wm2: Floats
    dhi_wm2: Floats
    step_min: int = 60  # Length of an interval, at least one minute. [min]
    # Start of the first interval, UTC; None for a typical year, which starts on 1 January at
    # 00:00 local standard time and repeats
    first: np.datetime64 | None = None
    utc_offset_min: int = 0  # Of that local standard time, east positive. [min]
    # [degC], [m/s] Shape (N,)
    temperature_c: Floats | None = None
    wind_ms: Floats | None = None
    source: str = "weather"  # In words
    notes: tuple[str, ...] = ()
    place: Site | None = None  # Where it was measured

    def __post_init__(self) -> None:
        names = ["ghi_wm2", "dni_wm2", "dhi_wm2"]
        names += [n for n in ("temperature_c", "wind_ms") if getattr(self, n) is not None]
        n = freeze_columns(self, names)
        if self.step_min < 1 or n == 0:
            raise ValueError("weather needs rows, each at least a minute long")
        if self.first is None and n * self.step_min != _YEAR_MIN:
            raise ValueError(f"a typical year of {n} rows of {self.step_min} min is no 365 days")

    def rows_at(self, minute: Ints) -> tuple[Ints, Ints]:
        """Which row holds at each minute (UTC, since 1970), and a number for its interval.

        A typical year gives 29 February the weather of the 28th. The row is -1 outside a measured
        stretch; rows with a value that is not known count as outside.
        """
        if self.first is not None:
            start = int(self.first.astype("datetime64[m]").astype(np.int64))
            row = (minute - start) // self.step_min
            inside = (row >= 0) & (row < len(self.dni_wm2))
            interval = row - (row[0] if len(row) else 0)
            row = np.where(inside, row, -1)
        else:
            local = minute + self.utc_offset_min
            row = _minute_of_common_year(local) // self.step_min
            count = local // self.step_min
            interval = count - (count[0] if len(count) else 0)
        known = np.isfinite(self.ghi_wm2 + self.dni_wm2 + self.dhi_wm2)
        return np.where((row >= 0) & known[np.maximum(row, 0)], row, -1), interval

    def checks(self, site: Site) -> tuple[Check, ...]:
        """Whether this is the weather of a site; none where its place is not known."""
        if self.place is None:
            return ()
        far_km = distance_km(self.place, site)
        higher_m = self.place.altitude_m - site.altitude_m
        words = "higher" if higher_m > 0 else "lower"
        near, level = far_km <= FAR_KM, abs(higher_m) <= HIGHER_M
        found = f"the weather's place is {far_km:.0f} km from the site"
        found_m = (
            f"the weather's place, at {self.place.altitude_m:.0f} m, is {abs(higher_m):.0f} m "
            f"{words} than the site"
        )
        return (
            Check(
                "weather from near the site",
                near,
                round(far_km, 1),
                FAR_KM,
                "km",
                found + ("" if near else "; take a nearer file, or see that the places are right"),
            ),
            Check(
                "weather from the site's height",
                level,
                round(abs(higher_m), 1),
                HIGHER_M,
                "m",
                found_m + ("" if level else "; take another file, or give the right --altitude"),
            ),
        )

    def beam_offered_kwh_m2(self, year: int) -> float:
        """Direct normal irradiation of all rows that fall into a year. [kWh/m2]"""
        dni = self.dni_wm2
        if self.first is not None:
            start = self.first.astype("datetime64[m]") + np.arange(len(dni)) * self.step_min
            dni = dni[start.astype("datetime64[Y]").astype(int) + 1970 == year]
        return float(np.nansum(dni)) * self.step_min / 60_000.0


def _minute_of_common_year(local_minute: Ints) -> Ints:
    day = (local_minute // 1440).astype("datetime64[D]")
    year = day.astype("datetime64[Y]")
    of_year = (day - year.astype("datetime64[D]")).astype(np.int64)
    leap = ((year + 1).astype("datetime64[D]") - year.astype("datetime64[D]")).astype(int) == 366
    of_year = np.where(leap & (of_year >= 59), of_year - 1, of_year)
    return np.asarray(of_year * 1440 + local_minute % 1440, dtype=np.int64)


def read_weather(path: str | Path) -> Weather:
    """Read a typical year from an EPW or TMY3 file, through pvlib.

    Parameters
    ----------
    path : str or Path

    Raises
    ------
    InputError
        The file cannot be read, is of neither format, or does not hold a year.
    """
    path = Path(path)
    where = str(path)
    # Station names come in any encoding; figures are ASCII.
    content = read_within(path, LARGEST_FILE, "typical year")
    text = content.decode("utf-8-sig", errors="replace")
    lines = text[:100_000].splitlines()
    if lines and lines[0].startswith("LOCATION,"):
        kind = "EPW"
    elif len(lines) > 1 and lines[1].startswith("Date (MM/DD/YYYY)"):
        kind = "TMY3"
    else:
        raise InputError(
            "is neither an EPW nor a TMY3 file", where, "give a typical year in one of these"
        )
    try:
        table, about = _read(kind, text)
        return _weather(kind, table, about, path)
    except InputError:
        raise
    except (
        *(ValueError, KeyError, IndexError, TypeError, AttributeError, OverflowError),
        LoggerError,
    ) as error:
        text = (str(error).strip().splitlines() or ["damaged"])[0]
        reason = "".join(c for c in text if c.isprintable())[:160]
        if line := _damaged_line(kind, content.decode("utf-8-sig", errors="replace")):
            where = f"{where}, line {line}"
        raise InputError(f"is no sound {kind} file: {reason}", where) from error


_HEADING_LINES = {"EPW": 8, "TMY3": 2}
_EPW_NUMBERS = (0, 1, 2, 3, 6, 13, 14, 15, 21)
"""Columns of an EPW row that are used and must be numbers."""
_TMY3_NUMBERS = ("GHI (W/m^2)", "DNI (W/m^2)", "DHI (W/m^2)", "Dry-bulb (C)", "Wspd (m/s)")
_HOUR = re.compile(r"\d\d?:\d\d")
"""Hours go from 1 to 24."""


def _damaged_line(kind: str, text: str) -> int | None:
    """The first line, from 1, with cells missing or no number where one must be; None for none."""
    rows = list(enumerate(text.splitlines(), 1))
    heading, rows = rows[: _HEADING_LINES[kind]], rows[_HEADING_LINES[kind] :]
    if not rows:
        return None
    if kind == "EPW":
        width, numbers = mode(row.count(",") + 1 for _, row in rows), list(_EPW_NUMBERS)
    else:
        names = heading[-1][1].split(",")
        width, numbers = len(names), [names.index(n) for n in _TMY3_NUMBERS if n in names]
    least = max([1, *numbers])
    for line, row in rows:
        cells = row.split(",")
        if (
            len(cells) != width
            or width <= least
            or not all(_is_number(cells[at]) for at in numbers)
        ):
            return line
        if kind == "TMY3" and not (_is_date(cells[0]) and _HOUR.fullmatch(cells[1].strip())):
            return line
    return None


def _is_date(cell: str) -> bool:
    try:
        dt.datetime.strptime(cell.strip(), "%m/%d/%Y")
    except ValueError:
        return False
    return True


def _is_number(cell: str) -> bool:
    try:
        float(cell)
    except ValueError:
        return not cell.strip()  # missing is no damage
    return True


def _read(kind: str, text: str) -> tuple[Any, dict[str, Any]]:
    import pvlib

    # A buffer, never the name: the readers take some names for addresses to fetch.
    buffer = io.StringIO(text)
    with warnings.catch_warnings():
        # What pandas finds odd about a column is judged by its values, later.
        warnings.simplefilter("ignore")
        if kind == "EPW":
            table, about = pvlib.iotools.read_epw(buffer)
        else:
            table, about = pvlib.iotools.read_tmy3(buffer, map_variables=True)
    return table, about


def _weather(kind: str, table: Any, about: dict[str, Any], path: Path) -> Weather:
    where = str(path)
    rows = len(table)
    if kind == "TMY3" and rows and table.index[0].hour != 1:
        raise InputError("its first row is not the hour that ends at 01:00", where)
    if kind == "EPW" and rows and (table["month"].iloc[0], table["day"].iloc[0]) != (1, 1):
        raise InputError("its first row is not of 1 January", where)
    a_day = rows // 366 if rows % 365 else rows // 365
    if rows % 8784 == 0 and rows:
        # A leap year: the typical year has no 29 February.
        table = table.drop(table.index[59 * a_day : 60 * a_day])
        rows = len(table)
    if rows == 0 or rows % 8760 or 1440 % (rows // 365):
        raise InputError(f"holds {rows} rows, not a whole year", where)
    if not math.isfinite(float(about["TZ"])) or abs(float(about["TZ"])) > 14:
        raise InputError(f"its time zone is {about['TZ']}", where)
    for wanted in ("ghi", "dni", "dhi", "temp_air", "wind_speed"):
        if wanted not in table:
            raise InputError(f"it has no column of the {kind} format for {wanted}", where)
    notes = []
    columns = {name: _irradiance(table[name]) for name in ("ghi", "dni", "dhi")}
    unknown = int(np.count_nonzero(~np.isfinite(sum(columns.values()))))
    if unknown == rows:
        raise InputError("holds no irradiance", where)
    if unknown:
        notes.append(f"{unknown} rows of the weather have no irradiance and are left out")
    place = Site(float(about["latitude"]), float(about["longitude"]), float(about["altitude"]))
    name = str(about.get("city", about.get("Name", ""))).strip().strip('"')
    name = "".join(c for c in name if c.isprintable())[:60]
    return Weather(
        columns["ghi"],
        columns["dni"],
        columns["dhi"],
        step_min=_YEAR_MIN // rows,
        utc_offset_min=round(float(about["TZ"]) * 60),
        temperature_c=_filled(table["temp_air"], -80.0, 70.0),
        wind_ms=_filled(table["wind_speed"], 0.0, 60.0),
        source=f"typical year {path.name} ({kind}{', ' + name if name else ''})",
        notes=tuple(notes),
        place=place,
    )


def _irradiance(column: Any) -> Floats:
    """Readings as numbers; the formats' marks for missing (9999, -9900) become NaN."""
    values = np.array(column, dtype=float)
    values[(values >= 1500.0) | (values < -50.0)] = np.nan
    return floats(np.maximum(values, 0.0))  # np.maximum keeps NaN


def _filled(column: Any, low: float, high: float) -> Floats | None:
    """Readings with missing ones taken from the nearest hours; None if all are missing."""
    values = np.array(column, dtype=float)
    good = np.isfinite(values) & (values >= low) & (values <= high)
    if not good.any():
        return None
    at = np.arange(len(values))
    return floats(np.interp(at, at[good], values[good]))
