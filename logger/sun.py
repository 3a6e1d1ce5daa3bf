"""Where the sun is. Times are UTC (numpy ``datetime64``); light comes from the apparent sun.

Two ways to the same place. `sun_track` runs the full solar position algorithm at each instant
asked for. `sun_year` needs half a million instants: it runs the algorithm every six hours, lays
splines through declination, equation of time and parallax, all of which vary slowly, and does the
spherical trigonometry of every minute itself. The two agree to 0.00001 degrees (a test holds it).
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
_MINUTES_A_DAY = 1440
_MINUTES_A_NODE = 360
_CHUNK_DAYS = 16
_DELTA_T_S = 67.0  # pvlib's default; a second of it moves the sun by 0.00001 degrees


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

    The hour angle is ``H = 15 (UTC - 12 h) + longitude + E`` with E the equation of time in
    degrees; with the sun's unit vector ``(cos d cos H, cos d sin H, sin d)`` in the frame of
    meridian, west and pole, less the observer's own place in units of the sun's distance
    (parallax), elevation and azimuth follow by one rotation through the latitude; refraction is
    NREL/TP-560-34302's, for the standard pressure of the site's elevation and 12 degC as in pvlib.

    Parameters
    ----------
    site : Site
    year : int
        `FIRST_YEAR` to `LAST_YEAR`.

    Raises
    ------
    UsageError
        The year is outside those.
    """
    if not FIRST_YEAR <= year <= LAST_YEAR:
        raise UsageError(f"year {year} is outside {FIRST_YEAR} to {LAST_YEAR}")
    first, last = local_mean_minutes(site, year)
    start = first - first % _MINUTES_A_DAY
    days = -(-(last - start) // _MINUTES_A_DAY)
    motion = _motion(start, days)
    # Half a month at a time keeps every column in the processor's cache.
    a_chunk = _CHUNK_DAYS * (_MINUTES_A_DAY // _MINUTES_A_NODE)
    chunks = [
        _risen(
            start + node * _MINUTES_A_NODE,
            [_between_nodes(m[node : node + a_chunk]) for m in motion],
            site,
        )
        for node in range(0, len(motion[0]), a_chunk)
    ]
    minute, azimuth, elevation, hour, vectors = (
        np.concatenate(column, axis=-1) for column in zip(*chunks, strict=True)
    )
    within = slice(*np.searchsorted(minute, (first, last)))
    minute = minute[within]
    months = np.array([math.ceil(m - 4.0 * site.longitude_deg - 1e-9) for m in _months(year)])
    bounds = np.append(np.searchsorted(minute, months), len(minute))
    return SunYear(
        site,
        year,
        minute,
        np.repeat(np.arange(12), np.diff(bounds)),
        azimuth[within],
        elevation[within],
        hour[within],
        vectors[:, within],
    )


def _risen(
    start: int, motion: list[Floats], site: Site
) -> tuple[Ints, Floats, Floats, Floats, Floats]:
    """Minute, azimuth, apparent elevation, solar hour and vector while the sun is up.

    The motion is given at every minute from the start, which is a UTC midnight.
    """
    equation_deg, sin_d, cos_d, parallax = motion
    clock = np.tile(np.arange(_MINUTES_A_DAY) * 0.25, len(sin_d) // _MINUTES_A_DAY)
    hour_angle = clock + (equation_deg + (site.longitude_deg - 180.0))
    x, z = _observer(site)
    latitude = math.radians(site.latitude_deg)
    sin_l, cos_l = math.sin(latitude), math.cos(latitude)
    meridian = cos_d * np.cos(np.radians(hour_angle))
    up = sin_l * sin_d + cos_l * meridian - parallax * (sin_l * z + cos_l * x)
    # A degree and a half below the horizon no refraction lifts the sun over it.
    near = np.flatnonzero(up > math.sin(math.radians(-1.5)))
    hour_angle, parallax, up = hour_angle[near], parallax[near], up[near]
    west = cos_d[near] * np.sin(np.radians(hour_angle))
    north = cos_l * (sin_d[near] - parallax * z) - sin_l * (meridian[near] - parallax * x)
    across = np.sqrt(west * west + north * north)
    elevation = _apparent(np.degrees(np.arctan2(up, across)), site)
    risen = np.flatnonzero(elevation > 0.0)
    elevation, west, north = elevation[risen], west[risen], north[risen]
    lifted = np.radians(elevation)
    level = np.cos(lifted) / across[risen]
    vectors = np.stack([-west * level, north * level, np.sin(lifted)])
    hour = np.mod(hour_angle[risen] + 180.0, 360.0) / 15.0
    return start + near[risen], azimuth_of(-west, north), elevation, hour, vectors


def _utc_minute(date: dt.date) -> int:
    return (date - dt.date(1970, 1, 1)).days * _MINUTES_A_DAY


def _months(year: int) -> list[int]:
    return [_utc_minute(dt.date(year, m, 1)) for m in range(1, 13)]


def _motion(start_minute: int, days: int) -> list[Floats]:
    """Splines of what moves slowly, one cubic a row from each node to the next.

    Equation of time [deg], sine and cosine of declination, parallax [rad]; each of shape
    (4 * days, 4), highest power first, of the share of the interval that has passed.
    """
    import pvlib
    from scipy.interpolate import CubicSpline

    # Two days more on either side, so that the splines' own ends do not matter.
    a_day, padding = _MINUTES_A_DAY // _MINUTES_A_NODE, 2
    node = np.arange(-padding * a_day, (days + padding) * a_day + 1)
    unix_s = (start_minute + node * _MINUTES_A_NODE) * 60.0
    nowhere = (0.0, 0.0, 0.0, 1013.25, 12.0, _DELTA_T_S, 0.5667, 1)
    sidereal, ascension, declination = pvlib.spa.solar_position_numpy(unix_s, *nowhere, sst=True)
    (distance_au,) = pvlib.spa.solar_position_numpy(unix_s, *nowhere, esd=True)
    # Greenwich hour angle less that of a clock sun: the equation of time, a few degrees.
    e_deg = np.mod(sidereal - ascension - (unix_s / 240.0 - 180.0) + 180.0, 360.0) - 180.0
    slow = np.stack(
        [
            e_deg,
            np.sin(np.radians(declination)),
            np.cos(np.radians(declination)),
            np.radians(8.794 / 3600.0) / distance_au,
        ],
        axis=1,
    )
    coefficients = CubicSpline(node, slow).c[:, padding * a_day : -padding * a_day]
    return [floats(coefficients[:, :, k].T) for k in range(4)]


def _between_nodes(cubic: Floats) -> Floats:
    """Values of cubics at every minute. Shape (360 * rows,)."""
    u = np.arange(_MINUTES_A_NODE) / _MINUTES_A_NODE
    a, b, c, d = cubic.T[:, :, None]
    return floats((((a * u + b) * u + c) * u + d).ravel())


def _observer(site: Site) -> tuple[float, float]:
    """The site from the Earth's centre, in equatorial radii: towards meridian and pole."""
    import pvlib

    u = pvlib.spa.uterm(site.latitude_deg)
    x = pvlib.spa.xterm(u, site.latitude_deg, site.altitude_m)
    z = pvlib.spa.yterm(u, site.latitude_deg, site.altitude_m)
    return float(x), float(z)


def _apparent(elevation_deg: Floats, site: Site) -> Floats:
    """True elevations lifted by refraction. [deg]"""
    import pvlib

    pressure_hpa = pvlib.atmosphere.alt2pres(site.altitude_m) / 100.0
    lift = pvlib.spa.atmospheric_refraction_correction(pressure_hpa, 12.0, elevation_deg, 0.5667)
    return floats(elevation_deg + lift)
