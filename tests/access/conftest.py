"""One site's year, made once: the horizon is what the tests vary."""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pandas as pd
import pvlib
import pytest

from logger.access import Plane, SiteYear, Weather, read_weather
from logger.horizon import HorizonProfile, Obstruction
from logger.settings import Settings
from logger.site import Site

NOTHING_DRAWN = Settings(draws=0)
ROOF = Plane("roof", 35, 180)
PLANES = [ROOF, Plane("gable", 80, 230)]
# Typical years that pvlib ships: Greensboro, North Carolina; Sand Point, Alaska.
CAROLINA = Path(pvlib.__file__).parent / "data" / "723170TYA.CSV"
ALASKA = CAROLINA.with_name("703165TY.csv")


def roof(year, horizon):
    """The first plane under a horizon."""
    return year.assess(horizon).planes[0]


def clear_weather(site):
    """Every minute of a cloudless year, by pvlib's own models."""
    times = pd.date_range("2026-01-01", "2026-12-31 23:59", freq="min", tz="UTC")
    place = pvlib.location.Location(site.latitude_deg, site.longitude_deg, altitude=site.altitude_m)
    sky = place.get_clearsky(times)
    columns = (sky[name].to_numpy() for name in ("ghi", "dni", "dhi"))
    return Weather(*columns, step_min=1, source="clear sky", place=site)


@pytest.fixture(scope="session")
def site():
    return Site(46.05, 14.51, 310.0)


@pytest.fixture(scope="session")
def clear(site):
    return clear_weather(site)


@pytest.fixture(scope="session")
def carolina():
    return read_weather(CAROLINA)


@pytest.fixture(scope="session")
def year(site, clear):
    """Two planes, one towards the equator, one steep to the south-west; the sky is known."""
    return SiteYear(site, PLANES, weather=clear)


@pytest.fixture(scope="session")
def unknown(site):
    """The same planes under a sky that nobody knows."""
    return SiteYear(site, PLANES)


@pytest.fixture(scope="session")
def street():
    """A tall spruce to the south-east, a house to the south-west, low hills all round."""
    azimuth = np.arange(360.0)
    elevation = 4 + 2 * np.sin(np.radians(3 * azimuth))
    elevation[120:151], elevation[200:241] = 28, 24
    spruce = Obstruction("spruce", 119.5, 150.5, "evergreen", 15.0)
    house = Obstruction("house", 199.5, 240.5, "building", 12.0)
    return HorizonProfile(azimuth, elevation, obstructions=(spruce, house))


@pytest.fixture(scope="session")
def unsure(street):
    """The street with the errors of a survey."""
    errors = {"heading_error_deg": 2.0, "level_error_deg": 0.3}
    return replace(street, standard_error_deg=np.full(360, 0.5), **errors)


@pytest.fixture(scope="session")
def leafy(street):
    """The street with a lime in place of the spruce."""
    lime = Obstruction("lime", 119.5, 150.5, "deciduous", 15.0)
    return replace(street, obstructions=(lime, street.obstructions[1]))
