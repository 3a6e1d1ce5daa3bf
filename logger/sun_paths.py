"""The sun's tracks over a year and its hour lines, in apparent solar time: what charts draw.

Apparent solar time is 12 when the true sun crosses the meridian. At longitude L east and with
the equation of time E, it is UTC + L/15 h + E.
"""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass
from functools import lru_cache
from typing import Any

import numpy as np

from logger.arrays import Floats, Times, floats, freeze_columns
from logger.geometry import wrap360
from logger.site import Site
from logger.sun import sun_track

# Months of the first half-year whose 21st day gets a track, from solstice to solstice
TRACK_MONTHS = (12, 1, 2, 3, 4, 5, 6)
_TRACK_STEP_H = 1 / 6
_HOUR_LINE_DAYS = 37


@dataclass(frozen=True, eq=False)
class DayTrack:
    """The sun's way across the sky on one date, and on the date that pairs with it."""

    # One for a solstice, else two: the sun runs (nearly) the same way on both
    dates: tuple[dt.date, ...]
    solar_hour: Floats  # Apparent solar time, 0 to 24. [h] Shape (N,).
    # Apparent direction on the first date. [deg] Shape (N,).
    azimuth_deg: Floats
    elevation_deg: Floats

    def __post_init__(self) -> None:
        freeze_columns(self, ("solar_hour", "azimuth_deg", "elevation_deg"))


@dataclass(frozen=True, eq=False)
class HourLine:
    """Where the sun stands at one hour over the year."""

    hour: float  # [h]
    # Apparent direction, from the December to the June solstice. [deg] Shape (N,).
    azimuth_deg: Floats
    elevation_deg: Floats

    def __post_init__(self) -> None:
        freeze_columns(self, ("azimuth_deg", "elevation_deg"))


@dataclass(frozen=True, eq=False)
class SunPaths:
    """Tracks and hour lines of a site."""

    site: Site
    year: int
    tracks: tuple[DayTrack, ...]  # From the December to the June solstice
    hour_lines: tuple[HourLine, ...]  # 0 to 23 h apparent solar time


def utc_of_solar_hour(dates: Times, solar_hour: Any, longitude_deg: float) -> Times:
    """UTC at which the apparent solar time of a date is a given hour."""
    hours = floats(solar_hour) - longitude_deg / 15 - _noon_sun(dates, longitude_deg)[0]
    day = np.asarray(dates, dtype="datetime64[D]").astype("datetime64[ms]")
    times: Times = day + np.round(hours * 3_600_000).astype("timedelta64[ms]")
    return times


@lru_cache(maxsize=16)
def sun_paths(site: Site, year: int = 2026) -> SunPaths:
    """Tracks of the solstices and of the 21st of the months between, and the hour lines."""
    solar_hour = np.arange(0, 24 + _TRACK_STEP_H / 2, _TRACK_STEP_H)
    if abs(site.latitude_deg) < 30:
        # The azimuth of a sun near the zenith swings round within minutes.
        solar_hour = np.union1d(solar_hour, np.arange(11.5, 12.5, 1 / 120))
    firsts = np.array([_first_date(year, m) for m in TRACK_MONTHS], dtype="datetime64[D]")
    # The sun's noon is sought once a date, not once a date and hour.
    track_times = list(utc_of_solar_hour(firsts, solar_hour[:, None], site.longitude_deg).T)
    start, end = (np.datetime64(_first_date(year, m), "D") for m in (12, 6))
    line_days: Times = start + np.round(
        np.linspace(0, (end - start).astype(int), _HOUR_LINE_DAYS)
    ).astype("timedelta64[D]")
    hours = np.arange(24.0)
    line_times = list(utc_of_solar_hour(line_days, hours[:, None], site.longitude_deg))
    parts = [*track_times, *line_times]
    sun = sun_track(np.concatenate(parts), site)
    ends = np.cumsum([len(p) for p in parts])[:-1]
    directions = list(
        zip(np.split(sun.azimuth_deg, ends), np.split(sun.elevation_deg, ends), strict=True)
    )
    n = len(track_times)
    partners = _partner_dates(firsts, year)
    return SunPaths(
        site=site,
        year=year,
        tracks=tuple(
            DayTrack(dates, solar_hour, wrap360(a), e)
            for dates, (a, e) in zip(partners, directions[:n], strict=True)
        ),
        hour_lines=tuple(
            HourLine(float(h), a, e) for h, (a, e) in zip(hours, directions[n:], strict=True)
        ),
    )


def _first_date(year: int, month: int) -> dt.date:
    """The 21st; December is the one before the year's start, so that tracks rise into June."""
    return dt.date(year - 1 if month == 12 else year, month, 21)


def _partner_dates(firsts: Times, year: int) -> list[tuple[dt.date, ...]]:
    """For each date of the first half-year, itself and the later date of the same declination."""
    later = np.datetime64(f"{year}-07-01", "D") + np.arange(165)
    declination = _noon_sun(np.concatenate([firsts, later]))[1]
    found: list[tuple[dt.date, ...]] = []
    for k, first in enumerate(firsts):
        date = first.astype(dt.date)
        if date.month in (6, 12):
            found.append((date.replace(year=year),))
        else:
            nearest = np.argmin(np.abs(declination[len(firsts) :] - declination[k]))
            found.append((date, later[nearest].astype(dt.date)))
    return found


def _noon_sun(dates: Times, longitude_deg: float = 0.0) -> tuple[Floats, Floats]:
    """Equation of time [h] and the sun's declination [deg] at mean noon of each date.

    Seen from the pole the sun's elevation is its declination (parallax, 0.002 degrees, aside).
    """
    import pandas as pd
    import pvlib

    noon = np.asarray(dates, dtype="datetime64[D]").astype("datetime64[s]") + np.timedelta64(
        round((12 - longitude_deg / 15) * 3600), "s"
    )
    found = pvlib.solarposition.get_solarposition(pd.DatetimeIndex(noon, tz="UTC"), 90.0, 0.0)
    return found["equation_of_time"].to_numpy() / 60, found["elevation"].to_numpy()
