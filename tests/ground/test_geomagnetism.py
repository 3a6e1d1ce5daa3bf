"""Declination and dip agree with the published test values of the World Magnetic Model."""

import datetime as dt
from pathlib import Path

import numpy as np
import pygeomag
import pytest

from logger.errors import InputError
from logger.geomagnetism import (
    MagneticModel,
    built_in_model,
    decimal_year,
    geomagnetic_field,
    read_magnetic_model,
)
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
COEFFICIENTS = Path(pygeomag.__file__).parent / "wmm"
"""Coefficient files as NOAA NCEI publishes them (public domain), shipped by ``pygeomag``."""
HERE = Site(46.05, 14.51)


@pytest.mark.parametrize(("year", "height", "lat", "lon", "h", "f", "dip", "declination"), TABLE)
def test_published_values(year, height, lat, lon, h, f, dip, declination):
    site = Site(lat, lon - 360 if lon > 180 else lon)
    got = geomagnetic_field(site, year, height_km=height)
    assert got.declination_deg == pytest.approx(declination, abs=0.01)
    assert got.inclination_deg == pytest.approx(dip, abs=0.01)
    assert got.horizontal_ut * 1000 == pytest.approx(h, abs=0.1)
    assert got.field_ut * 1000 == pytest.approx(f, abs=0.1)
    # The report's error model: sqrt(0.26^2 + (5417 / H)^2) degrees, H in nT.
    assert got.standard_error_deg == pytest.approx((0.26**2 + (5417 / h) ** 2) ** 0.5, rel=1e-3)
    assert got.years_beyond == 0


def older(name):
    model = pygeomag.GeoMag(coefficients_file=f"wmm/WMM_{name}.COF")
    (epoch, _, _), rows = model._read_coefficients_data_from_file()
    return MagneticModel(name, epoch, tuple(rows))


def test_what_is_stated_beyond_a_models_years_covers_what_older_models_were_off_by():
    """Each carried on for 5, 10 and 15 years, against the model of that day."""
    i = np.arange(150) + 0.5
    latitudes, longitudes = np.degrees(np.arcsin(1 - i / 75)), (i * 222.5) % 360 - 180
    models = [older("2010"), older("2015v2"), older("2020"), built_in_model()]
    inside = []
    for k, model in enumerate(models):
        for later in models[k + 1 :]:
            for year in (later.epoch, later.epoch + 4.99):
                for latitude, longitude in zip(latitudes, longitudes, strict=True):
                    site = Site(float(latitude), float(longitude))
                    truth = geomagnetic_field(site, year, later)
                    got = geomagnetic_field(site, year, model)
                    if truth.compass_unreliable:
                        continue
                    off = (got.declination_deg - truth.declination_deg + 180) % 360 - 180
                    inside.append(abs(off) < 1.96 * got.standard_error_deg)
    assert 0.95 < np.mean(inside) < 1.0  # and no wider than that asks for, by a few times


@pytest.mark.parametrize(
    ("date", "beyond", "error"),
    [
        (dt.date(2025, 1, 1), 0.0, 0.36),
        (dt.date(2029, 12, 31), 0.0, 0.36),
        (dt.date(2030, 1, 2), 0.003, 0.36),
        (dt.date(2024, 1, 1), 1.0, 0.37),
        (dt.date(2040, 1, 1), 10.0, 0.64),
        (dt.date(1970, 1, 1), 55.0, 2.9),  # a computer without a clock
        (dt.date(1, 1, 1), 2024.0, 103.9),  # nothing is known of the direction: 180 / sqrt(3)
        (dt.date(9999, 12, 31), 7970.0, 103.9),
    ],
)
def test_outside_the_models_years_it_is_carried_on_with_a_growing_error(date, beyond, error):
    got = geomagnetic_field(HERE, date)
    assert got.years_beyond == pytest.approx(beyond, abs=0.01)
    assert got.standard_error_deg == pytest.approx(error, rel=0.05)
    assert np.isfinite(got.declination_deg)


def test_a_coefficient_file_as_published_is_read():
    got = read_magnetic_model(COEFFICIENTS / "WMM_2025.COF")
    assert (got.name, got.epoch, got.rows) == ("WMM2025", 2025.0, built_in_model().rows)
    assert len(got.sha256) == 64


@pytest.mark.parametrize(
    ("damage", "says"),
    [
        (lambda text: "", "first line"),
        (lambda text: "\x00" * 500, "first line"),
        (lambda text: text[:2000], "two whole numbers and four more|line of nines|nines"),
        (lambda text: text.replace("9999", "8888"), "line 92"),
        (lambda text: text.replace("  2  1    2951.1", "  2  1   -2951.1"), "degree 2, order 1"),
        (lambda text: text.replace("2951.1", "nan"), "degree 2, order 1"),
        (lambda text: text.replace("2951.1", "1e308"), "degree 2, order 1"),
        (lambda text: text.replace("2951.1", "2x51.1"), "line 5 does not hold"),
        (lambda text: text.replace("  2  1  ", "  3  1  ", 1), "90 lines of degree 1 to 12"),
        (lambda text: text.replace("-27.7", "270.7"), "degree 2, order 1: 270.7 nT a year"),
        (lambda text: "\n".join(text.splitlines()[:30] + text.splitlines()[31:]), "90 lines"),
        (lambda text: text.replace("2025.0", "2010.0", 1), "epoch 2010.0 is not 2025 or later"),
        (lambda text: text.replace("2025.0", "9999.0", 1), "epoch 9999.0"),
    ],
)
def test_a_damaged_coefficient_file_is_refused_in_one_sentence(tmp_path, damage, says):
    path = tmp_path / "WMM.COF"
    path.write_text(damage((COEFFICIENTS / "WMM_2025.COF").read_text()))
    with pytest.raises(InputError, match=says) as caught:
        read_magnetic_model(path)
    assert "is no magnetic model" in caught.value.what
    assert "NOAA NCEI" in caught.value.hint
    assert "\n" not in str(caught.value)


def test_a_site_of_2000_m_is_two_kilometres_up():
    day = dt.date(2026, 6, 1)
    assert geomagnetic_field(Site(46, 14, 2000.0), day) == geomagnetic_field(
        Site(46, 14), day, height_km=2.0
    )


def test_the_poles_themselves_have_a_field():
    for latitude in (-90, 90):
        assert geomagnetic_field(Site(latitude, 0), dt.date(2026, 6, 1)).field_ut > 50


def test_the_year_is_counted_in_days():
    assert decimal_year(dt.date(2026, 1, 1)) == 2026.0
    assert decimal_year(dt.date(2028, 7, 2)) == pytest.approx(2028.5, abs=1e-12)
    assert decimal_year(dt.date(9999, 12, 31)) == pytest.approx(9999 + 364 / 365)
