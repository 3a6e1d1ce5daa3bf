"""The Earth's magnetic field at a site and date: World Magnetic Model through ``pygeomag``."""

from __future__ import annotations

import calendar
import datetime as dt
import math
from dataclasses import dataclass
from functools import lru_cache
from typing import Any

from logger.errors import UsageError
from logger.site import Site

MODEL = "WMM2025"
FIRST_YEAR, LAST_YEAR = 2025.0, 2030.0


@dataclass(frozen=True)
class GeomagneticField:
    """Main field at a place and time."""

    declination_deg: float  # From true to magnetic north, east positive. [deg]
    inclination_deg: float  # Dip below the horizontal, down positive. [deg]
    # Strength, total and horizontal. [uT]
    field_ut: float
    horizontal_ut: float
    # 1 sigma of the declination from the model's published error model. [deg]
    standard_error_deg: float
    # Components. [uT]
    north_ut: float
    east_ut: float
    down_ut: float
    model: str
    date: dt.date
    compass_unreliable: str = ""  # Empty, or why the model calls a compass unreliable here


def decimal_year(date: dt.date) -> float:
    """A date as a year with the fraction of it that has passed at that day's start."""
    return date.year + (date.timetuple().tm_yday - 1) / (365 + calendar.isleap(date.year))


def geomagnetic_field(site: Site, date: dt.date) -> GeomagneticField:
    """Evaluate the World Magnetic Model.

    Mean sea level stands in for the model's ellipsoid height; the two differ by 100 m at most,
    which turns no declination by 0.001 degrees outside the polar blackout zones. The standard
    error is the model report's: ``sqrt(0.26^2 + (5417 / H)^2)`` degrees with H in nT (NOAA NCEI
    and BGS, WMM2025 technical report).
    """
    return field_at_year(site, decimal_year(date), date)


def field_at_year(
    site: Site, year: float, date: dt.date | None = None, height_km: float | None = None
) -> GeomagneticField:
    """`geomagnetic_field` at a decimal year, and at a height above the site if given."""
    if not FIRST_YEAR <= year <= LAST_YEAR:
        raise UsageError(
            f"the date {date or year} is outside the years of {MODEL}, {FIRST_YEAR:.0f} to "
            f"{LAST_YEAR - 1:.0f}",
            hint="a date of those years; or, in replay, your own with --declination",
        )
    altitude = site.altitude_m / 1000 if height_km is None else height_km
    # The model's equations divide by cos(latitude): step a metre off the very pole.
    latitude = max(-89.99999, min(89.99999, site.latitude_deg))
    got = _model().calculate(glat=latitude, glon=site.longitude_deg, alt=altitude, time=year)
    unreliable = ""
    if got.in_blackout_zone:
        unreliable = "the horizontal field is below 2 µT: a compass does not work here"
    elif got.in_caution_zone:
        unreliable = "the horizontal field is below 6 µT: a compass is not to be relied on here"
    return GeomagneticField(
        declination_deg=float(got.d),
        inclination_deg=float(got.i),
        field_ut=float(got.f) / 1000,
        horizontal_ut=float(got.h) / 1000,
        standard_error_deg=math.hypot(0.26, 5417.0 / max(float(got.h), 1e-9)),
        north_ut=float(got.x) / 1000,
        east_ut=float(got.y) / 1000,
        down_ut=float(got.z) / 1000,
        model=MODEL,
        date=date or dt.date(int(year), 1, 1) + dt.timedelta(days=(year % 1) * 365.25),
        compass_unreliable=unreliable,
    )


@lru_cache(maxsize=1)
def _model() -> Any:
    from pygeomag import GeoMag

    return GeoMag(coefficients_file="wmm/WMM_2025.COF")
