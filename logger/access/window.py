"""The solar window: how much of the best hours is clear, and what blocks the rest."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass
from typing import Any

import numpy as np

from logger.access.blocking import SunBlocking
from logger.access.settings import AccessSettings, SolarWindow
from logger.access.surroundings import Names
from logger.columns import Bools, Floats
from logger.errors import UsageError
from logger.sun import SunYear

MEAN_DAY_OF_MONTH = (17, 16, 16, 15, 15, 11, 17, 16, 15, 15, 14, 10)
"""Klein's day of each month whose sun stands for the month (Klein 1977, Solar Energy 19:325)."""


@dataclass(frozen=True)
class Blocked:
    """A stretch of the window in which one obstruction hides the sun on some day of a month.

    Parameters
    ----------
    month : int
        1 to 12.
    from_solar_hour, to_solar_hour : float
        Apparent solar time. [h]
    obstruction : str
    share : float
        Of the sun's time in this stretch, over the month's days, that is lost to it.
    from_clock, to_clock : str
        The same as clock times on the month's mean day, HH:MM.
    """

    month: int
    from_solar_hour: float
    to_solar_hour: float
    obstruction: str
    share: float
    from_clock: str
    to_clock: str

    def as_dict(self) -> dict[str, Any]:
        """The form of the result's ``blocked`` list."""
        return {
            "month": self.month,
            "from": self.from_solar_hour,
            "to": self.to_solar_hour,
            "obstruction": self.obstruction,
            "share": self.share,
            "from_clock": self.from_clock,
            "to_clock": self.to_clock,
        }


@dataclass(frozen=True, eq=False)
class WindowResult:
    """How clear the solar window is.

    Parameters
    ----------
    window : SolarWindow
    monthly_clear_fraction : array, shape (12,)
        Share of the sun's time in the window that it is in sight; NaN in a month in which the
        sun is never up then.
    blocked : tuple of Blocked
    clock : str
        Time zone of the clock times.
    """

    window: SolarWindow
    monthly_clear_fraction: Floats
    blocked: tuple[Blocked, ...]
    clock: str


def in_window(sun: SunYear, window: SolarWindow) -> Bools:
    """Rows of the sun that lie in the window. Shape (N,)."""
    hour = sun.solar_hour
    return np.asarray((hour >= window.from_solar_hour) & (hour < window.to_solar_hour))


def solar_window(
    sun: SunYear,
    blocking: SunBlocking,
    names: tuple[Names, ...],
    settings: AccessSettings,
) -> WindowResult:
    """Score the window minute by minute, only while the sun's centre is up.

    Parameters
    ----------
    sun : SunYear
    blocking : SunBlocking
    names : tuple of Names
        One a layer.
    settings : AccessSettings
    """
    window = settings.window
    inside = in_window(sun, window)
    up = np.bincount(sun.month[inside], minlength=12).astype(float)
    seen = inside[blocking.row]
    row, taken = blocking.row[seen], blocking.taken[:, seen]
    interval = blocking.interval[:, seen]
    lost = np.bincount(sun.month[row], taken.sum(axis=0), minlength=12)
    clear = np.divide(up - lost, up, out=np.full(12, np.nan), where=up > 0)

    # Minutes of the solar day, by month and by who hides the sun.
    minutes = int(np.ceil((window.to_solar_hour - window.from_solar_hour) * 60.0 - 1e-9))

    def minute_of(which: Any) -> Any:
        hours = sun.solar_hour[which] - window.from_solar_hour
        return np.minimum((hours * 60.0).astype(int), minutes - 1)

    cell = sun.month[row] * minutes + minute_of(row)
    all_cells = sun.month[inside] * minutes + minute_of(inside)
    offered = np.bincount(all_cells, minlength=12 * minutes).reshape(12, minutes)
    found: dict[str, Floats] = {}
    for k, n in enumerate(names):
        for j in range(len(n.cut_deg)):
            there = np.flatnonzero((interval[k] == j) & (taken[k] > 0))
            if len(there) == 0:
                continue
            by_cell = np.bincount(cell[there], taken[k][there], minlength=12 * minutes)
            for name, share in zip(n.names, n.share[j], strict=True):
                if share > 0:
                    now = by_cell.reshape(12, minutes) * share
                    found[name] = found.get(name, 0.0) + now
    clock = _Clock(sun, settings)
    blocked = [
        Blocked(
            month + 1,
            window.from_solar_hour + start / 60.0,
            window.from_solar_hour + end / 60.0,
            name,
            float(lost_to[month, start:end].sum() / offered[month, start:end].sum()),
            clock.at(month, window.from_solar_hour + start / 60.0),
            clock.at(month, window.from_solar_hour + end / 60.0),
        )
        for name, lost_to in found.items()
        for month in range(12)
        for start, end in _runs(lost_to[month] > 0)
    ]
    blocked.sort(key=lambda b: (b.month, b.from_solar_hour, b.obstruction))
    return WindowResult(window, clear, tuple(blocked), clock.zone)


def _runs(mask: Any) -> list[tuple[int, int]]:
    """Stretches of True, joined over gaps of two cells or fewer: (start, end)."""
    at = np.flatnonzero(mask)
    if len(at) == 0:
        return []
    # A month has about thirty samples a minute cell, but the equation of time can skip one.
    breaks = np.flatnonzero(np.diff(at) > 3)
    starts = at[np.r_[0, breaks + 1]]
    ends = at[np.r_[breaks, len(at) - 1]] + 1
    return list(zip(starts.tolist(), ends.tolist(), strict=True))


class _Clock:
    """Clock times of solar times on the mean day of each month."""

    def __init__(self, sun: SunYear, settings: AccessSettings) -> None:
        self.zone = settings.timezone or "UTC"
        self._year = sun.year
        self._longitude_deg = sun.site.longitude_deg
        self._tz: Any = dt.UTC if settings.timezone is None else zone_of(settings.timezone)

    def at(self, month: int, solar_hour: float) -> str:
        day = MEAN_DAY_OF_MONTH[month]
        start = dt.datetime(self._year, month + 1, day, tzinfo=dt.UTC)
        hours = solar_hour - self._longitude_deg / 15.0
        hours -= equation_of_time_min(start.timetuple().tm_yday) / 60.0
        moment = start + dt.timedelta(minutes=round(hours * 60.0))
        return moment.astimezone(self._tz).strftime("%H:%M")


def zone_of(name: str) -> Any:
    """The time zone of an IANA name.

    Raises
    ------
    UsageError
        There is none.
    """
    import zoneinfo

    try:
        return zoneinfo.ZoneInfo(name)
    except (zoneinfo.ZoneInfoNotFoundError, ValueError, OSError) as error:
        raise UsageError(
            f"no time zone {name!r} is known", hint="give an IANA name such as Europe/Ljubljana"
        ) from error


def equation_of_time_min(day_of_year: int) -> float:
    """Apparent less mean solar time, Spencer's series as in pvlib, good to half a minute. [min]

    Parameters
    ----------
    day_of_year : int
        1 to 366.
    """
    import pvlib

    return float(pvlib.solarposition.equation_of_time_spencer71(day_of_year))
