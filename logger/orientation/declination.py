"""The declination and the field to expect, from the World Magnetic Model or from the user."""

from __future__ import annotations

import datetime as dt
import math

from logger.errors import UsageError
from logger.geomagnetism import geomagnetic_field
from logger.orientation.corrections import Declination, FieldReference
from logger.site import Site

GIVEN_STANDARD_ERROR_DEG = 0.5
"""Of a declination that the user gives: half of the degree that charts are read to (common
practice, no source). [deg]"""


def declination_at(site: Site, date: dt.date) -> Declination:
    """Declination of the World Magnetic Model, with the model's published standard error.

    Parameters
    ----------
    site : Site
    date : datetime.date

    Raises
    ------
    UsageError
        The date is outside the years of the model.
    """
    field = geomagnetic_field(site, date)
    return Declination(
        field.declination_deg, field.standard_error_deg, f"{field.model} for {date.isoformat()}"
    )


def declination_given(
    value_deg: float, standard_error_deg: float = GIVEN_STANDARD_ERROR_DEG
) -> Declination:
    """A declination that the user gives in place of the model's."""
    if not (math.isfinite(value_deg) and -180.0 <= value_deg <= 180.0):
        raise UsageError(f"declination {value_deg:g} is outside -180 to 180 degrees")
    return Declination(float(value_deg), standard_error_deg, "given by the user")


def field_expected_at(site: Site, date: dt.date) -> FieldReference:
    """Strength and dip of the World Magnetic Model."""
    field = geomagnetic_field(site, date)
    return FieldReference(field.field_ut, field.inclination_deg, f"{field.model} for {date}")
