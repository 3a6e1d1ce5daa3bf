"""Where the sun is. Times are UTC (numpy ``datetime64``); light comes from the apparent sun.

`sun_track` runs the full solar position algorithm at each instant asked for. `sun_year` needs half
a million: it runs the algorithm twice an hour and lays cubics between. The two agree to
0.00002 degrees, a tenth of what the algorithm itself may err (a test holds it).
"""

from __future__ import annotations

import datetime as dt
import math
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import ArrayLike

from logger.arrays import Floats, Ints, Times, floats, freeze_columns, lock_columns
from logger.errors import UsageError
from logger.geometry import azimuth_of
from logger.site import Site

DISC_RADIUS_DEG = 0.2665  # Mean angular radius of the sun's disc as seen from the Earth
# Years that `sun_year` takes; beyond them the difference of the Earth's clock from dynamical
# time is too ill known for a fixed value. [years]
FIRST_YEAR, LAST_YEAR = 1900, 2100
NODE_MIN = 30  # A cubic between directions so far apart errs by 0.00002 degrees. [min]
DELTA_T_S = 67.0  # pvlib's default; a second of it moves the sun by 0.00001 degrees


@dataclass(frozen=True, eq=False)
class SunTrack:
    """Directions to the sun."""

    azimuth_deg: Floats  # Clockwise from true north. [deg] Shape (N,).
    elevation_deg: Floats  # Apparent: refraction included. [deg] Shape (N,).

    def __post_init__(self) -> None:
        freeze_columns(self, ("azimuth_deg", "elevation_deg"))


def sun_track(times: ArrayLike | Times, site: Site) -> SunTrack:
    """Apparent direction of the sun by pvlib's solar position algorithm (NREL/TP-560-34302)."""
    import pandas as pd
    import pvlib

    index: Any = pd.DatetimeIndex(np.asarray(times, dtype="datetime64[ns]"), tz="UTC")
    found = pvlib.solarposition.get_solarposition(
        index, site.latitude_deg, site.longitude_deg, altitude=site.altitude_m
    )
    return SunTrack(found["azimuth"].to_numpy(), found["apparent_elevation"].to_numpy())


@dataclass(frozen=True, eq=False)
class SunYear:
    """The sun at every whole minute (UTC) of a local mean solar year while its centre is up."""

    site: Site
    year: int
    minute: Ints  # Minutes since 1970-01-01 00:00 UTC, rising. [min] Shape (N,).
    month: Ints  # 0 to 11, of local mean solar time. Shape (N,).
    # Of the apparent (refracted) sun; every elevation is above 0. [deg] Shape (N,).
    azimuth_deg: Floats
    elevation_deg: Floats
    solar_hour: Floats  # Apparent solar time, 12 when the sun crosses the meridian, 0 to 24. [h]
    vectors: Floats  # Unit vectors to the apparent sun: east, north, up. Shape (3, N).

    def __post_init__(self) -> None:
        lock_columns(
            self, ("minute", "month", "azimuth_deg", "elevation_deg", "solar_hour", "vectors")
        )

    def __len__(self) -> int:
        return len(self.minute)

    @property
    def times(self) -> Times:
        """UTC instants. Shape (N,)."""
        return np.asarray(self.minute.astype("datetime64[m]"))


def local_mean_minutes(site: Site, year: int) -> tuple[int, int]:
    """First minute (UTC, since 1970) of a local mean solar year and of the next one."""
    # Local mean solar time runs ahead of UTC by 4 minutes for each degree of longitude.
    ahead = 4.0 * site.longitude_deg
    first, last = (
        math.ceil(_utc_minute(dt.date(y, 1, 1)) - ahead - 1e-9) for y in (year, year + 1)
    )
    return first, last


def sun_year(site: Site, year: int) -> SunYear:
    """The sun's track through a year at one minute.

    Refraction is NREL/TP-560-34302's, for the standard pressure of the site's altitude and 12 degC
    as in pvlib; apparent solar time is UTC + longitude / 15 h + the equation of time.
    """
    if not FIRST_YEAR <= year <= LAST_YEAR:
        raise UsageError(f"year {year} is outside {FIRST_YEAR} to {LAST_YEAR}")
    first, last = local_mean_minutes(site, year)
    minute = np.arange(first, last)
    east, north, up, equation_min = _between_nodes(minute, site)
    # A degree and a half below the horizon no refraction lifts the sun over it.
    near = np.flatnonzero(up > math.sin(math.radians(-1.5)))
    across = np.hypot(east[near], north[near])
    elevation = _apparent(np.degrees(np.arctan2(up[near], across)), site)
    risen = elevation > 0.0
    rows, elevation = near[risen], elevation[risen]
    lifted = np.radians(elevation)
    level = np.cos(lifted) / across[risen]
    vectors = np.stack([east[rows] * level, north[rows] * level, np.sin(lifted)])
    months = np.array([math.ceil(m - 4.0 * site.longitude_deg - 1e-9) for m in _months(year)])
    bounds = np.append(np.searchsorted(minute[rows], months), len(rows))
    return SunYear(
        site,
        year,
        minute[rows],
        np.repeat(np.arange(12), np.diff(bounds)),
        azimuth_of(*vectors[:2]),
        elevation,
        np.mod((minute[rows] + equation_min[rows]) / 60.0 + site.longitude_deg / 15.0, 24.0),
        vectors,
    )


def _utc_minute(date: dt.date) -> int:
    return (date - dt.date(1970, 1, 1)).days * 1440


def _months(year: int) -> list[int]:
    return [_utc_minute(dt.date(year, m, 1)) for m in range(1, 13)]


def _between_nodes(minute: Ints, site: Site) -> list[Floats]:
    """The sun's true direction (east, north, up) and the equation of time [min] at minutes."""
    import pvlib
    from scipy.interpolate import CubicSpline

    beyond = 10 * NODE_MIN  # so that the splines' own ends do not matter
    node = np.arange(minute[0] - beyond, minute[-1] + beyond, NODE_MIN)
    place = site.latitude_deg, site.longitude_deg, site.altitude_m
    # Refraction comes later: the air's pressure and temperature do not matter here.
    found = pvlib.spa.solar_position_numpy(node * 60.0, *place, 1013.25, 12.0, DELTA_T_S, 0.5667, 1)
    elevation, azimuth, equation_min = np.radians(found[3]), np.radians(found[4]), found[5]
    flat = np.cos(elevation)
    columns = [flat * np.sin(azimuth), flat * np.cos(azimuth), np.sin(elevation), equation_min]
    return [floats(CubicSpline(node, column)(minute)) for column in columns]


def _apparent(elevation_deg: Floats, site: Site) -> Floats:
    """True elevations lifted by refraction. [deg]"""
    import pvlib

    pressure_hpa = pvlib.atmosphere.alt2pres(site.altitude_m) / 100.0
    lift = pvlib.spa.atmospheric_refraction_correction(pressure_hpa, 12.0, elevation_deg, 0.5667)
    return floats(elevation_deg + lift)
