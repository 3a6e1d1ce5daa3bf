"""Hours of light from twelve monthly means of daily global horizontal irradiation.

As in Duffie and Beckman, Solar Engineering of Thermal Processes, sections 2.12 and 2.13. With
``H`` the month's mean daily irradiation and ``K_T = H / H_0`` its clearness, the diffuse part
``H_d`` follows from Erbs and others (1982, Solar Energy 28:293-302), each hour's share of ``H``
from Collares-Pereira and Rabl (1979, Solar Energy 22:155-164) and each hour's share of ``H_d`` from
Liu and Jordan (1960, Solar Energy 4(3):1-19).
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import ArrayLike

from logger.access.sky import MONTHLY_MEANS
from logger.access.weather import MONTH_DAYS, Weather
from logger.arrays import Floats, floats
from logger.errors import UsageError
from logger.site import Site

SOLAR_CONSTANT_WM2 = 1366.1
"""As in pvlib's extraterrestrial irradiance. [W/m2]"""
LOWEST_SUN = 0.05
"""Sine of the sun's height below which an hour has no beam."""


def diffuse_fraction(clearness: ArrayLike, sunset_deg: ArrayLike) -> Floats:
    """Diffuse share of a month's irradiation, ``H_d / H`` (Erbs and others 1982).

    Given for a clearness of 0.3 to 0.8; beyond, the value at the nearer end is taken.
    """
    k = np.clip(clearness, 0.3, 0.8)
    winter = 1.391 - 3.560 * k + 4.189 * k**2 - 2.137 * k**3
    other = 1.311 - 3.022 * k + 3.427 * k**2 - 1.821 * k**3
    return floats(np.where(np.asarray(sunset_deg) <= 81.4, winter, other))


def sunset_hour_angle(latitude_deg: ArrayLike, declination_deg: ArrayLike) -> Floats:
    """``cos w_s = -tan(latitude) tan(declination)``; 0 without sun, 180 in the polar day. [deg]"""
    cosine = -np.tan(np.radians(latitude_deg)) * np.tan(np.radians(declination_deg))
    return floats(np.degrees(np.arccos(np.clip(cosine, -1.0, 1.0))))


def diffuse_share_of_hour(hour_angle_deg: ArrayLike, sunset_deg: ArrayLike) -> Floats:
    """``r_d``, an hour's diffuse irradiation over the day's (Liu and Jordan 1960)."""
    w, ws = np.radians(hour_angle_deg), np.radians(sunset_deg)
    whole = np.sin(ws) - ws * np.cos(ws)
    share = np.divide(
        np.pi / 24.0 * (np.cos(w) - np.cos(ws)),
        whole,
        out=np.zeros(np.broadcast(w, ws).shape),
        where=whole > 1e-9,
    )
    return floats(np.maximum(share, 0.0))


def global_share_of_hour(hour_angle_deg: ArrayLike, sunset_deg: ArrayLike) -> Floats:
    """``r_t``, an hour's irradiation over the day's (Collares-Pereira and Rabl 1979)."""
    lead = np.radians(np.subtract(sunset_deg, 60.0))
    a, b = 0.409 + 0.5016 * np.sin(lead), 0.6609 - 0.4767 * np.sin(lead)
    shape = a + b * np.cos(np.radians(hour_angle_deg))
    return floats(shape * diffuse_share_of_hour(hour_angle_deg, sunset_deg))


def declination(day_of_year: ArrayLike) -> Floats:
    """Spencer's series, as in pvlib. [deg]"""
    import pvlib

    return floats(np.degrees(pvlib.solarposition.declination_spencer71(np.asarray(day_of_year))))


def extraterrestrial_kwh_m2(day_of_year: ArrayLike, latitude_deg: float) -> Floats:
    """Daily irradiation of a level area outside the air, ``H_0``. [kWh/m2]

    (Duffie and Beckman, equation 1.10.3, with pvlib's distance of the sun.)
    """
    import pvlib

    day = np.asarray(day_of_year)
    power = floats(pvlib.irradiance.get_extra_radiation(day, SOLAR_CONSTANT_WM2))
    lat, d = np.radians(latitude_deg), np.radians(declination(day))
    ws = np.radians(sunset_hour_angle(latitude_deg, declination(day)))
    level = np.cos(lat) * np.cos(d) * np.sin(ws) + ws * np.sin(lat) * np.sin(d)
    return floats(24.0 / np.pi * power * np.maximum(level, 0.0) / 1000.0)


def monthly_means(site: Site, ghi_kwh_m2_day: Sequence[float]) -> Weather:
    """A year of hours from twelve monthly means of daily irradiation, January first. [kWh/m2]

    Means that cannot be, such as more than the sun sends outside the air, are refused.
    """
    import pvlib

    means = floats(ghi_kwh_m2_day)
    if means.shape != (12,) or not np.isfinite(means).all() or (means < 0).any():
        raise UsageError("monthly means must be twelve numbers, none below 0, in kWh/m² a day")
    month = np.repeat(np.arange(12), MONTH_DAYS)
    day = np.arange(1, 366)
    offered = extraterrestrial_kwh_m2(day, site.latitude_deg)
    mean_offered = np.bincount(month, offered) / MONTH_DAYS
    clearness = np.divide(means, mean_offered, out=np.zeros(12), where=mean_offered > 1e-6)
    wrong = np.flatnonzero((means > mean_offered) & (means > 0.005))
    if wrong.size:
        m = int(wrong[0])
        raise UsageError(
            f"the mean of month {m + 1}, {means[m]:g} kWh/m² a day, is more than the "
            f"{mean_offered[m]:.2f} that the sun sends outside the air",
            hint="give daily means in kWh/m² on the horizontal, January first",
        )
    sunset = sunset_hour_angle(site.latitude_deg, declination(day))
    day_total = clearness[month] * offered
    diffuse = (
        day_total * diffuse_fraction(clearness, np.bincount(month, sunset) / MONTH_DAYS)[month]
    )
    # Hours of local mean solar time; the sun runs before or behind it.
    ahead_min = floats(pvlib.solarposition.equation_of_time_spencer71(day))
    hour_angle = (np.arange(24) - 11.5) * 15.0 + ahead_min[:, None] / 4.0
    global_share = global_share_of_hour(hour_angle, sunset[:, None])
    # Half a minute of rounding in the sum of 24 middles.
    global_share /= np.maximum(global_share.sum(axis=1, keepdims=True), 1e-9)
    ghi = global_share * day_total[:, None]
    dhi = np.minimum(diffuse_share_of_hour(hour_angle, sunset[:, None]) * diffuse[:, None], ghi)
    lat, d = np.radians(site.latitude_deg), np.radians(declination(day))[:, None]
    height = np.sin(lat) * np.sin(d) + np.cos(lat) * np.cos(d) * np.cos(np.radians(hour_angle))
    dni = np.where(height > LOWEST_SUN, (ghi - dhi) / np.maximum(height, LOWEST_SUN), 0.0)
    dhi = np.where(height > LOWEST_SUN, dhi, ghi)
    return Weather(
        1000.0 * ghi.ravel(),
        1000.0 * dni.ravel(),
        1000.0 * dhi.ravel(),
        utc_offset_min=round(4.0 * site.longitude_deg),
        source="monthly means of daily global horizontal irradiation",
        kind=MONTHLY_MEANS,
        place=site,
    )
