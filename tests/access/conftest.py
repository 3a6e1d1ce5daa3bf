"""One site's year, made once: the horizon is what the tests vary."""

import numpy as np
import pytest

from logger.access import Plane, SiteYear
from logger.horizon import HorizonProfile, Obstruction
from logger.site import Site


@pytest.fixture(scope="session")
def site():
    return Site(46.05, 14.51, 310.0)


@pytest.fixture(scope="session")
def year(site):
    """Two planes: one towards the equator, one steep to the south-west."""
    return SiteYear(site, [Plane("roof", 35, 180), Plane("gable", 80, 230)])


@pytest.fixture(scope="session")
def street():
    """A lime tree to the south-east, a house to the south-west, low hills all round."""
    azimuth = np.arange(360.0)
    elevation = 4 + 2 * np.sin(np.radians(3 * azimuth))
    elevation[(azimuth >= 120) & (azimuth <= 150)] = 28
    elevation[(azimuth >= 200) & (azimuth <= 240)] = 24
    return HorizonProfile(
        azimuth,
        elevation,
        obstructions=(
            Obstruction("lime tree", 119.5, 150.5, "deciduous", 15.0),
            Obstruction("house", 199.5, 240.5, "building", 12.0),
        ),
    )
