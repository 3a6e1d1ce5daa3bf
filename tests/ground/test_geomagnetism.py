"""Declination and dip agree with the published test values of the World Magnetic Model."""

import datetime as dt

import pytest

from logger.errors import UsageError
from logger.geomagnetism import decimal_year, field_at_year, geomagnetic_field
from logger.site import Site

# World Magnetic Model 2025 technical report (NOAA NCEI and BGS), table of test values: decimal
# year, height km, latitude, longitude, H nT, F nT, inclination, declination.
TABLE = [
    (2025.0, 0, 80, 0, 6523.2, 55178.5, 83.21, 1.28),
    (2025.0, 0, 0, 120, 39677.9, 41064.3, -14.93, -0.16),
    (2025.0, 0, -80, 240, 16898.1, 54698.2, -72.00, 68.78),
    (2025.0, 100, 80, 0, 6216.7, 52964.9, 83.26, 0.85),
    (2025.0, 100, 0, 120, 37688.7, 39032.1, -15.08, -0.15),
    (2025.0, 100, -80, 240, 15917.1, 52035.0, -72.19, 68.21),
    (2027.5, 0, 80, 0, 6507.5, 55253.9, 83.24, 2.59),
    (2027.5, 0, 0, 120, 39702.0, 41036.9, -14.65, -0.24),
    (2027.5, 0, -80, 240, 16908.3, 54474.2, -71.92, 68.49),
    (2027.5, 100, 80, 0, 6201.1, 53034.3, 83.29, 2.16),
    (2027.5, 100, 0, 120, 37711.8, 39007.4, -14.81, -0.23),
    (2027.5, 100, -80, 240, 15927.0, 51825.7, -72.10, 67.93),
]


@pytest.mark.parametrize(("year", "height", "lat", "lon", "h", "f", "dip", "declination"), TABLE)
def test_published_values(year, height, lat, lon, h, f, dip, declination):
    site = Site(lat, lon - 360 if lon > 180 else lon)
    got = field_at_year(site, year, height_km=height)
    assert got.declination_deg == pytest.approx(declination, abs=0.01)
    assert got.inclination_deg == pytest.approx(dip, abs=0.01)
    assert got.horizontal_ut * 1000 == pytest.approx(h, abs=0.1)
    assert got.field_ut * 1000 == pytest.approx(f, abs=0.1)


def test_the_uncertainty_is_the_reports_error_model():
    # WMM2025 technical report: sqrt(0.26^2 + (5417 / H)^2) degrees, H in nT.
    got = field_at_year(Site(0, 120), 2025.0, height_km=0)
    assert got.standard_error_deg == pytest.approx((0.26**2 + (5417 / 39677.9) ** 2) ** 0.5, 1e-4)


def test_a_date_outside_the_model_says_which_years_it_has():
    with pytest.raises(UsageError, match="2025 to 2029"):
        geomagnetic_field(Site(46, 14), dt.date(2031, 1, 1))


def test_the_poles_themselves_have_a_field():
    for latitude in (-90, 90):
        assert geomagnetic_field(Site(latitude, 0), dt.date(2026, 6, 1)).field_ut > 50


def test_near_the_magnetic_pole_a_compass_is_called_unreliable():
    assert geomagnetic_field(Site(86, 140), dt.date(2026, 6, 1)).compass_unreliable
    assert not geomagnetic_field(Site(46, 14), dt.date(2026, 6, 1)).compass_unreliable


def test_the_year_is_counted_in_days():
    assert decimal_year(dt.date(2026, 1, 1)) == 2026.0
    assert decimal_year(dt.date(2028, 7, 2)) == pytest.approx(2028.5, abs=1e-12)
    assert decimal_year(dt.date(1, 1, 1)) == 1.0
    assert decimal_year(dt.date(9999, 12, 31)) == 9999 + 364 / 365
