"""The solar window: how much of the best hours is clear, and what blocks the rest."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from logger.access.blocking import SunBlocking
from logger.access.losses import share_of
from logger.access.surroundings import Layer
from logger.arrays import Bools, Floats, Ints, floats
from logger.errors import UsageError
from logger.sun import SunYear

MEAN_DAY_OF_MONTH = (17, 16, 16, 15, 15, 11, 17, 16, 15, 15, 14, 10)
"""Klein's day of each month whose sun stands for the month (Klein 1977, Solar Energy 19:325)."""


UNKNOWN_FROM = 0.02
"""Share of a month's window before skyline not measured from which nothing is said of it."""


@dataclass(frozen=True)
class Blocked:
    """A stretch of the window in which one obstruction hides the sun on some day of a month."""

    month: int  # 1 to 12
    # Apparent solar time. [h]
    from_solar_hour: float
    to_solar_hour: float
    obstruction: str
    share: float  # Of the sun's time in this stretch, over the month's days, that is lost to it
    # The same as clock times on the month's mean day, HH:MM
    from_clock: str
    to_clock: str

    def as_dict(self) -> dict[str, Any]:
        """The form of the result's ``blocked`` list."""
        return {name.removesuffix("_solar_hour"): value for name, value in vars(self).items()}


@dataclass(frozen=True, eq=False)
class WindowResult:
    """How clear the solar window is."""

    # Its ends in apparent solar time. [h]
    from_solar_hour: float
    to_solar_hour: float
    # Share of the sun's time in the window that it is in sight, a disc partly below the level
    # horizon counting for the part above; NaN in a month in which the sun is never up then; (12,).
    monthly_clear_fraction: Floats
    annual_clear_fraction: float
    blocked: tuple[Blocked, ...]
    clock: str  # Time zone of the clock times
    # Share of the sun's time in the window that it stands before skyline that was not measured
    # and not blocked below it; the clear fraction takes that as clear. NaN as there. Shape
    # (12,).
    monthly_unmeasured_fraction: Floats
    annual_unmeasured_fraction: float = 0.0

    def as_dict(self) -> dict[str, Any]:
        """The form of the result's ``window``; no number where too much was not measured."""
        unknown = self.monthly_unmeasured_fraction > UNKNOWN_FROM
        is_unknown = self.annual_unmeasured_fraction > UNKNOWN_FROM
        return {
            "from_solar_hour": self.from_solar_hour,
            "to_solar_hour": self.to_solar_hour,
            "monthly_clear_fraction": np.where(unknown, np.nan, self.monthly_clear_fraction),
            "annual_clear_fraction": np.nan if is_unknown else self.annual_clear_fraction,
            "monthly_unmeasured_fraction": self.monthly_unmeasured_fraction,
            "clock": self.clock,
            "blocked": [b.as_dict() for b in self.blocked],
        }


@dataclass(frozen=True, eq=False)
class SunInWindow:
    """The sun's minutes in the window; all but the horizon."""

    # [h]
    from_solar_hour: float
    to_solar_hour: float
    inside: Bools  # Rows of the sun in the window. Shape (N,).
    cell: Ints  # Of `offered`, its rows one after another; only inside the window. Shape (N,).
    offered: Floats  # The sun's minutes by month and minute of the window. Shape (12, minutes)
    clock: Clock

    @property
    def minutes(self) -> Floats:
        """By month. Shape (12,)."""
        return floats(self.offered.sum(axis=1))


def sun_in_window(
    sun: SunYear, disc: Floats, window_h: Sequence[float], timezone: str | None = None
) -> SunInWindow:
    """Find the sun's minutes in the window."""
    start, end = window_h
    hours = sun.solar_hour - start
    inside = (hours >= 0) & (sun.solar_hour < end)
    minutes = int(np.ceil((end - start) * 60.0 - 1e-9))
    cell = sun.month * minutes + np.minimum((hours * 60.0).astype(np.int64), minutes - 1)
    up = np.bincount(cell[inside], disc[inside], minlength=12 * minutes).reshape(12, minutes)
    clock = Clock(sun, timezone)
    return SunInWindow(start, end, inside, cell, floats(up), clock)


def solar_window(sun: SunInWindow, blocking: SunBlocking, layers: Sequence[Layer]) -> WindowResult:
    """Score the window minute by minute."""
    size = sun.offered.size
    seen = sun.inside[blocking.row]
    cell, taken = sun.cell[blocking.row[seen]], blocking.taken[:, seen]
    lost = np.bincount(cell, taken.sum(axis=0), minlength=size).reshape(sun.offered.shape)
    up = np.append(sun.minutes, sun.offered.sum())
    lost = np.append(lost.sum(axis=1), lost.sum())
    clear = share_of(up - lost, up)
    found: dict[str, Floats] = {}
    for k, layer in enumerate(layers):
        interval = blocking.interval[k, seen]
        for j in np.unique(interval[taken[k] > 0]):
            there = interval == j
            by_cell = np.bincount(cell[there], taken[k, there], minlength=size)
            for stretch, share in zip(layer.names.stretches, layer.names.share[j], strict=True):
                if share > 0:
                    now = floats(by_cell.reshape(sun.offered.shape) * share)
                    found[stretch.name] = found.get(stretch.name, 0.0) + now
    blocked = [
        stretch for name, lost_to in found.items() for stretch in _stretches(name, lost_to, sun)
    ]
    blocked.sort(key=lambda b: (b.month, b.from_solar_hour, b.obstruction))
    return WindowResult(
        sun.from_solar_hour,
        sun.to_solar_hour,
        floats(clear[:12]),
        float(clear[12]),
        tuple(blocked),
        sun.clock.zone,
        floats(np.where(up[:12] > 0, 0.0, np.nan)),
    )


def _stretches(name: str, lost: Floats, sun: SunInWindow) -> list[Blocked]:
    """When one obstruction hides the sun, month by month; lost minutes by cell."""
    hour = sun.from_solar_hour
    return [
        Blocked(
            month + 1,
            hour + start / 60.0,
            min(hour + end / 60.0, sun.to_solar_hour),
            name,
            float(lost[month, start:end].sum() / sun.offered[month, start:end].sum()),
            sun.clock.at(month, hour + start / 60.0),
            sun.clock.at(month, hour + end / 60.0),
        )
        for month in range(12)
        for start, end in _runs(lost[month] > 0)
    ]


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


class Clock:
    """Clock times of solar times on the mean day of each month."""

    def __init__(self, sun: SunYear, timezone: str | None = None) -> None:
        self.zone = timezone or "UTC"
        self._year = sun.year
        self._longitude_deg = sun.site.longitude_deg
        self._tz: Any = zone_of(timezone) if timezone else dt.UTC

    def at(self, month: int, solar_hour: float) -> str:
        """HH:MM."""
        day = MEAN_DAY_OF_MONTH[month]
        start = dt.datetime(self._year, month + 1, day, tzinfo=dt.UTC)
        hours = solar_hour - self._longitude_deg / 15.0
        hours -= equation_of_time_min(start.timetuple().tm_yday) / 60.0
        moment = start + dt.timedelta(minutes=round(hours * 60.0))
        return moment.astimezone(self._tz).strftime("%H:%M")


def zone_of(name: str) -> Any:
    """The time zone of an IANA name."""
    import zoneinfo

    try:
        return zoneinfo.ZoneInfo(name)
    except (zoneinfo.ZoneInfoNotFoundError, ValueError, OSError) as error:
        raise UsageError(
            f"no time zone {name!r} is known", hint="give an IANA name such as Europe/Ljubljana"
        ) from error


def equation_of_time_min(day_of_year: int) -> float:
    """Apparent less mean solar time, Spencer's series as in pvlib, good to half a minute. [min]"""
    import pvlib

    return float(pvlib.solarposition.equation_of_time_spencer71(day_of_year))
