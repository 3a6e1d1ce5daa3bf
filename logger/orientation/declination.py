"""The declination and the field to expect, from the World Magnetic Model or from the user."""

from __future__ import annotations

import datetime as dt

from logger.checks import NORMAL_95, Check
from logger.geomagnetism import GeomagneticField, MagneticModel, geomagnetic_field
from logger.orientation.corrections import Declination, FieldReference
from logger.site import Site

# Of a declination that the user gives: half of the degree that charts are read to (common
# practice, no source)
GIVEN_STANDARD_ERROR_DEG = 0.5
# Of a recording that bears no date: a fixed day keeps a replay the same for ever, and a year
# shifts declination by 0.1 to 0.2 degrees
UNDATED = dt.date(2026, 7, 1)


def declination_at(site: Site, date: dt.date, model: MagneticModel | None = None) -> Declination:
    """Declination of the magnetic model, with its published standard error.

    Outside the model's years the error grows, and `model_years_check` fails.

    Parameters
    ----------
    site : Site
    date : datetime.date
    model : MagneticModel, optional
        A newer one than that built in.

    Returns
    -------
    Declination
        ``value_deg`` east positive and ``standard_error_deg``. [deg]
    """
    field = geomagnetic_field(site, date, model)
    return Declination(
        field.declination_deg,
        field.standard_error_deg,
        f"{field.model} for {date.isoformat()}",
        field.years_beyond,
    )


def declination_given(value_deg: float) -> Declination:
    """A declination that the user gives in place of the model's."""
    return Declination(value_deg, GIVEN_STANDARD_ERROR_DEG, "given by the user")


def field_expected_at(
    site: Site, date: dt.date, model: MagneticModel | None = None
) -> FieldReference:
    """Strength and dip of the magnetic model."""
    field = geomagnetic_field(site, date, model)
    return FieldReference(field.field_ut, field.inclination_deg, f"{field.model} for {date}")


def model_years_check(given: Declination | GeomagneticField, source: str = "") -> Check:
    """Whether the date is one that the magnetic model was made for."""
    beyond = given.years_beyond
    source = given.source if isinstance(given, Declination) else source
    why = f"the declination is that of {source}"
    if beyond:
        long = f"{beyond:.0f} years" if beyond >= 1 else "less than a year"
        why += (
            f", {long} outside the model's own years: good to "
            f"{NORMAL_95 * given.standard_error_deg:.1f}° only (95 %); set the computer's clock, "
            "give the day (--date) or a newer model (setting magnetic_model)"
        )
    return Check("date within the magnetic model", not beyond, round(beyond, 2), 0.0, "years", why)
