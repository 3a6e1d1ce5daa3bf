"""The Earth's magnetic field at a site and date: World Magnetic Model through ``pygeomag``."""

from __future__ import annotations

import calendar
import datetime as dt
import hashlib
import math
from dataclasses import dataclass
from functools import cached_property, lru_cache
from pathlib import Path
from typing import Any

import numpy as np

from logger.errors import InputError
from logger.files import read_within
from logger.site import Site

YEARS = 5  # A model is made for so many, and carried on from there
# Further from its years than this a model says nothing: the date is taken as that far away
FURTHEST_YEARS = 100
# 1 sigma of the declination: ``sqrt(0.26^2 + (5417 / H)^2)`` degrees, H in nT, of which the
# second is 95 nT across the horizontal field (NOAA NCEI and BGS, WMM2025 technical report)
DECLINATION_ERROR_DEG, ACROSS_ERROR_NT = 0.26, 5417.0 * math.pi / 180
# What each year beyond a model's own adds to that. WMM2010, WMM2015v2 and WMM2020 carried on
# for 5, 10 and 15 years more are off by up to 135, 198 and 285 nT RMS over the globe against
# the models of those years (tests/ground/test_geomagnetism.py).
SECULAR_ERROR_NT = 20.0
ANY_DIRECTION_DEG = 180 / math.sqrt(3)  # Standard error of a direction of which nothing is known
ORDER = 12
LARGEST_FILE = 2**16
# How far a newer model's coefficient may be from the built-in one's carried on to its epoch,
# beside 10 nT more a year, and their changes from each other: 88 nT after 15 years and 12 nT a
# year is the most among the models since 2010
COEFFICIENT_NT, COEFFICIENT_NT_PER_YEAR = 100.0, 30.0
Row = tuple[int, int, float, float, float, float]


@dataclass(frozen=True)
class MagneticModel:
    """Coefficients of a World Magnetic Model."""

    name: str
    epoch: float  # The year from which it is valid
    rows: tuple[Row, ...]  # Degree, order, g, h [nT] and their changes [nT a year]
    sha256: str = ""  # Of the file it was read from; empty for the one built in

    @property
    def last_year(self) -> float:
        """It is valid up to here."""
        return self.epoch + YEARS

    @cached_property
    def calculator(self) -> Any:
        """What sums up the series."""
        from pygeomag import GeoMag

        return GeoMag(coefficients_data=((self.epoch, self.name, ""), self.rows))


@dataclass(frozen=True)
class GeomagneticField:
    """Main field at a place and time."""

    declination_deg: float  # From true to magnetic north, east positive. [deg]
    inclination_deg: float  # Dip below the horizontal, down positive. [deg]
    # Strength, total and horizontal. [uT]
    field_ut: float
    horizontal_ut: float
    standard_error_deg: float  # 1 sigma of the declination. [deg]
    # Components. [uT]
    north_ut: float
    east_ut: float
    down_ut: float
    model: str
    years_beyond: float = 0.0  # How far the date is outside the model's own years
    compass_unreliable: str = ""  # Empty, or why the model calls a compass unreliable here


def decimal_year(date: dt.date) -> float:
    """A date as a year with the fraction of it that has passed at that day's start."""
    days = 366 if calendar.isleap(date.year) else 365
    return date.year + (date.timetuple().tm_yday - 1) / days


def geomagnetic_field(
    site: Site,
    date: dt.date | float,
    model: MagneticModel | None = None,
    height_km: float | None = None,
) -> GeomagneticField:
    """The field at a day (or a decimal year), at the site's own height unless another is given.

    Mean sea level stands in for the model's ellipsoid height; the two differ by 100 m at most,
    which turns no declination by 0.001 degrees outside the polar blackout zones. Outside the
    model's years it is carried on, and its error grows.
    """
    model = model or built_in_model()
    year = decimal_year(date) if isinstance(date, dt.date) else date
    beyond = max(model.epoch - year, year - model.last_year, 0.0)
    year = min(max(year, model.epoch - FURTHEST_YEARS), model.last_year + FURTHEST_YEARS)
    altitude = site.altitude_m / 1000 if height_km is None else height_km
    # The model's equations divide by cos(latitude): step a metre off the very pole.
    latitude = max(-89.99999, min(89.99999, site.latitude_deg))
    got = model.calculator.calculate(
        latitude, site.longitude_deg, altitude, year, allow_date_outside_lifespan=True
    )
    unreliable = ""
    if got.in_blackout_zone:
        unreliable = "the horizontal field is below 2 µT: a compass does not work here"
    elif got.in_caution_zone:
        unreliable = "the horizontal field is below 6 µT: a compass is not to be relied on here"
    across = math.hypot(ACROSS_ERROR_NT, SECULAR_ERROR_NT * beyond) / max(float(got.h), 1e-9)
    error = math.hypot(DECLINATION_ERROR_DEG, math.degrees(across))
    return GeomagneticField(
        declination_deg=float(got.d),
        inclination_deg=float(got.i),
        field_ut=float(got.f) / 1000,
        horizontal_ut=float(got.h) / 1000,
        standard_error_deg=min(error, ANY_DIRECTION_DEG) if beyond else error,
        north_ut=float(got.x) / 1000,
        east_ut=float(got.y) / 1000,
        down_ut=float(got.z) / 1000,
        model=model.name,
        years_beyond=beyond,
        compass_unreliable=unreliable,
    )


@lru_cache(maxsize=1)
def built_in_model() -> MagneticModel:
    """WMM2025, valid from 2025 to 2029."""
    from pygeomag.wmm.wmm_2025 import WMM_2025

    (epoch, _, _), rows = WMM_2025
    return MagneticModel("WMM2025", float(epoch), tuple(rows))


def read_magnetic_model(path: Path) -> MagneticModel:
    """A newer model from a coefficient file as NOAA NCEI publishes it (``WMM.COF``).

    A first line of epoch, name and date, one line each of degree, order, g, h and their changes a
    year, and a line of nines. What cannot be a World Magnetic Model is refused.
    """
    content = read_within(path, LARGEST_FILE, "magnetic model")

    def refused(why: str) -> InputError:
        hint = "the file WMM.COF as NOAA NCEI publishes it, whole; or take the setting back"
        return InputError(f"is no magnetic model: {why}", str(path), hint)

    lines = content.decode("ascii", errors="replace").splitlines()
    try:
        epoch_text, name, _ = lines[0].split()
        epoch = float(epoch_text)
    except (IndexError, ValueError) as error:
        raise refused("its first line does not hold epoch, name and date") from error
    built_in = built_in_model()
    if not built_in.epoch <= epoch <= built_in.epoch + FURTHEST_YEARS:
        raise refused(f"its epoch {epoch_text} is not {built_in.epoch:.0f} or later")
    rows: list[Row] = []
    for number, line in enumerate(lines[1:], start=2):
        if line.startswith("9999"):
            break
        try:
            n, m, *numbers = line.split()
            g, h, dg, dh = map(float, numbers)
            rows.append((int(n), int(m), g, h, dg, dh))
        except ValueError as error:
            raise refused(f"line {number} does not hold two whole numbers and four more") from error
    else:
        raise refused("its last line, of nines, is missing")
    wanted = [(n, m) for n in range(1, ORDER + 1) for m in range(n + 1)]
    if [row[:2] for row in rows] != wanted:
        raise refused(f"it does not hold the {len(wanted)} lines of degree 1 to {ORDER} in order")
    old, new = (np.array(each)[:, 2:] for each in (built_in.rows, rows))
    years = epoch - built_in.epoch
    expected = np.hstack([old[:, :2] + years * old[:, 2:], old[:, 2:]])
    near_nt = COEFFICIENT_NT + 10.0 * max(years - YEARS, 0.0)
    near = np.abs(new - expected) <= np.repeat([near_nt, COEFFICIENT_NT_PER_YEAR], 2)
    for row, column in np.argwhere(~near):
        unit, (n, m, *_) = "nT a year" if column > 1 else "nT", rows[row]
        told = f"{new[row, column]:g} {unit} where about {expected[row, column]:.0f} are expected"
        raise refused(f"degree {n}, order {m}: {told}")
    return MagneticModel(
        name.replace("-", ""), epoch, tuple(rows), hashlib.sha256(content).hexdigest()
    )
