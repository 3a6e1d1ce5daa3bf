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

from logger.angles import wrap360
from logger.columns import Floats, Ints, Times, floats, freeze_columns
from logger.errors import UsageError
from logger.site import Site

DISC_RADIUS_DEG = 0.2665
"""Mean angular radius of the sun's disc as seen from the Earth. [deg]"""

RISE_SET_ELEVATION_DEG = -0.8333
"""True elevation of the sun's centre at sunrise and sunset: 16' of disc and 34' of refraction
(NREL/TP-560-34302, equation A11, h0' = -0.8333). [deg]"""

FIRST_YEAR, LAST_YEAR = 1900, 2100
"""Years that `sun_year` takes; beyond them the difference of the Earth's clock from dynamical time
is too ill known for a fixed value. [years]"""

_MINUTES_A_DAY = 1440
_MINUTES_A_NODE = 360
_DELTA_T_S = 67.0  # pvlib's default; a second of it moves the sun by 0.00001 degrees


@dataclass(frozen=True, eq=False)
class SunTrack:
    """Directions to the sun.

    Parameters
    ----------
    azimuth_deg : array, shape (N,)
        Clockwise from true north. [deg]
    elevation_deg : array, shape (N,)
        Apparent: refraction included. [deg]
    """

    azimuth_deg: Floats
    elevation_deg: Floats

    def __post_init__(self) -> None:
        freeze_columns(self, ("azimuth_deg", "elevation_deg"))


def sun_track(times: ArrayLike | Times, site: Site) -> SunTrack:
    """Apparent direction of the sun by pvlib's solar position algorithm (NREL/TP-560-34302).

    Parameters
    ----------
    times : array_like of datetime64, shape (N,)
        UTC.
    site : Site
    """
    import pandas as pd
    import pvlib

    index: Any = pd.DatetimeIndex(np.asarray(times, dtype="datetime64[ns]"), tz="UTC")
    found = pvlib.solarposition.get_solarposition(
        index, site.latitude_deg, site.longitude_deg, altitude=site.elevation_m
    )
    return SunTrack(found["azimuth"].to_numpy(), found["apparent_elevation"].to_numpy())


@dataclass(frozen=True, eq=False)
class SunYear:
    """The sun at every whole minute (UTC) of a local mean solar year while its centre is up.

    Parameters
    ----------
    site : Site
    year : int
    minute : int array, shape (N,)
        Minutes since 1970-01-01 00:00 UTC, rising. [min]
    month : int array, shape (N,)
        0 to 11, of local mean solar time.
    azimuth_deg, elevation_deg : array, shape (N,)
        Of the apparent (refracted) sun; every elevation is above 0. [deg]
    solar_hour : array, shape (N,)
        Apparent solar time, 12 when the sun crosses the meridian, 0 to 24. [h]
    """

    site: Site
    year: int
    minute: Ints
    month: Ints
    azimuth_deg: Floats
    elevation_deg: Floats
    solar_hour: Floats

    def __post_init__(self) -> None:
        n = freeze_columns(self, ("azimuth_deg", "elevation_deg", "solar_hour"))
        freeze_columns(self, ("minute", "month"), dtype=np.int64, length=n)

    def __len__(self) -> int:
        return len(self.minute)

    @property
    def times(self) -> Times:
        """UTC instants. Shape (N,)."""
        return np.asarray(self.minute.astype("datetime64[m]"))


def local_mean_minutes(site: Site, year: int) -> tuple[int, int]:
    """First minute (UTC, since 1970) of a local mean solar year and of the next one.

    Parameters
    ----------
    site : Site
    year : int
    """
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
    e_deg, sin_d, cos_d, parallax = (
        values.ravel()[first - start : last - start] for values in _motion(start, days)
    )
    minute = np.arange(first, last)
    hour_angle = (minute % _MINUTES_A_DAY) * 0.25 + (site.longitude_deg - 180.0) + e_deg
    meridian, west, north = _horizontal(hour_angle, sin_d, cos_d, parallax, site)
    # A degree and a half below the horizon no refraction lifts the sun over it.
    near = np.flatnonzero(meridian > math.sin(math.radians(-1.5)))
    up, west, north = meridian[near], west[near], north[near]
    elevation = _apparent(np.degrees(np.arctan2(up, np.hypot(west, north))), site)
    risen = elevation > 0.0
    near = near[risen]
    azimuth = wrap360(np.degrees(np.arctan2(-west[risen], north[risen])))
    months = np.array([math.ceil(m - 4.0 * site.longitude_deg - 1e-9) for m in _months(year)])
    return SunYear(
        site,
        year,
        minute[near],
        np.searchsorted(months, minute[near], side="right") - 1,
        azimuth,
        elevation[risen],
        wrap360(hour_angle[near] + 180.0) / 15.0,
    )


@dataclass(frozen=True)
class SunDay:
    """When the sun rises, stands highest and sets on one day of local mean solar time.

    Parameters
    ----------
    rise, transit, set : numpy.datetime64 or None
        UTC to the second. `rise` and `set` are None on a day without them.
    kind : str
        "day and night", "polar day" or "polar night".
    """

    rise: np.datetime64 | None
    transit: np.datetime64
    set: np.datetime64 | None
    kind: str


def sun_day(site: Site, date: dt.date) -> SunDay:
    """Sunrise, transit and sunset: the sun's centre at `RISE_SET_ELEVATION_DEG`.

    Near the polar circles the sun may rise and set twice or only once on a date; the rise before
    and the set after transit are given.

    Parameters
    ----------
    site : Site
    date : datetime.date
        Of local mean solar time.
    """
    start = _utc_minute(date) - round(4.0 * site.longitude_deg)
    day = start - start % _MINUTES_A_DAY
    minute = np.arange(start, start + _MINUTES_A_DAY + 1)
    e_deg, sin_d, cos_d, parallax = (
        values.ravel()[minute - day] for values in _motion(day, 3, padding=2)
    )
    hour_angle = (minute % _MINUTES_A_DAY) * 0.25 + (site.longitude_deg - 180.0) + e_deg
    # Rise and set are defined for the Earth's centre: no parallax.
    up, west, north = _horizontal(hour_angle, sin_d, cos_d, np.zeros_like(parallax), site)
    above = np.degrees(np.arctan2(up, np.hypot(west, north))) - RISE_SET_ELEVATION_DEG
    turn = np.mod(hour_angle + 180.0, 360.0) - 180.0
    noon = _crossing(turn, int(np.flatnonzero((turn[:-1] < 0) & (turn[1:] >= 0))[0]))
    rises = [_crossing(above, i) for i in np.flatnonzero((above[:-1] < 0) & (above[1:] >= 0))]
    sets = [_crossing(above, i) for i in np.flatnonzero((above[:-1] >= 0) & (above[1:] < 0))]
    before, after = [r for r in rises if r <= noon], [s for s in sets if s >= noon]
    kind = "day and night"
    if not rises and not sets:
        kind = "polar day" if above[0] >= 0 else "polar night"

    def instant(m: float) -> np.datetime64:
        return np.datetime64(round((start + m) * 60.0), "s")

    return SunDay(
        instant(before[-1]) if before else None,
        instant(noon),
        instant(after[0]) if after else None,
        kind,
    )


def _crossing(values: Floats, i: Any) -> float:
    """Where the straight line from row i to i + 1 passes zero, in rows."""
    return float(i + values[i] / (values[i] - values[i + 1]))


def _utc_minute(date: dt.date) -> int:
    return (date - dt.date(1970, 1, 1)).days * _MINUTES_A_DAY


def _months(year: int) -> list[int]:
    return [_utc_minute(dt.date(year, m, 1)) for m in range(1, 13)]


def _motion(start_minute: int, days: int, padding: int = 2) -> list[Floats]:
    """Equation of time [deg], sin and cos of declination, parallax [rad] at every minute.

    Each has shape (4 * days, 360): one row a node interval of six hours.
    """
    import pvlib
    from scipy.interpolate import CubicSpline

    a_day = _MINUTES_A_DAY // _MINUTES_A_NODE
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
    u = np.arange(_MINUTES_A_NODE) / _MINUTES_A_NODE
    powers = np.stack([u**3, u**2, u, np.ones_like(u)])
    return [floats(coefficients[:, :, k].T @ powers) for k in range(4)]


def _horizontal(
    hour_angle_deg: Floats, sin_d: Floats, cos_d: Floats, parallax: Floats, site: Site
) -> tuple[Floats, Floats, Floats]:
    """The sun's direction as components up, west and north; the length is 1 but for parallax."""
    import pvlib

    h = np.radians(hour_angle_deg)
    latitude = site.latitude_deg
    u = pvlib.spa.uterm(latitude)
    x = cos_d * np.cos(h) - parallax * pvlib.spa.xterm(u, latitude, site.elevation_m)
    z = sin_d - parallax * pvlib.spa.yterm(u, latitude, site.elevation_m)
    sin_l, cos_l = math.sin(math.radians(latitude)), math.cos(math.radians(latitude))
    return sin_l * z + cos_l * x, cos_d * np.sin(h), cos_l * z - sin_l * x


def _apparent(elevation_deg: Floats, site: Site) -> Floats:
    """True elevations lifted by refraction. [deg]"""
    import pvlib

    pressure_hpa = pvlib.atmosphere.alt2pres(site.elevation_m) / 100.0
    lift = pvlib.spa.atmospheric_refraction_correction(pressure_hpa, 12.0, elevation_deg, 0.5667)
    return floats(elevation_deg + lift)
