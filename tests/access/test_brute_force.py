"""Access against a plain pvlib script that reads the horizon at every minute of a year.

The script is benchmarks/access_reference.py; fifty sites are compared by
``python benchmarks/access.py --agreement``.
"""

import sys
from pathlib import Path

import numpy as np
import pytest

from logger.access import Plane, SiteYear
from logger.horizon import HorizonProfile
from logger.settings import Settings
from logger.site import Site

sys.path.insert(0, str(Path(__file__).parents[2] / "benchmarks"))
import access_reference as reference


def skyline():
    azimuth = np.arange(360.0)
    hills = np.abs(6 * np.cos(np.radians(2 * azimuth + 40)) + 5 * np.sin(np.radians(5 * azimuth)))
    hills[140:165] = 31
    return hills


def test_solar_and_beam_access_of_every_month_in_the_south():
    latitude, longitude, altitude, facing = -33.9, 151.2, 60.0, 20.0
    case = reference.Case(latitude, longitude, altitude, 35.0, facing, skyline())
    times, sun, sky = reference.sun_and_sky(case)
    solar, beam = reference.solar_access(case, (times, sun, sky))
    plane = (
        SiteYear(
            Site(latitude, longitude, altitude),
            [Plane("plane", 35.0, facing)],
            Settings(draws=0),
            reference.as_weather(times, sky),
        )
        .assess(HorizonProfile(np.arange(360.0), case.horizon_deg))
        .planes[0]
    )
    assert plane.beam_access.value == pytest.approx(beam, abs=1e-6)
    # The script's view of the sky is a sum over cells of half a degree.
    assert plane.solar_access.value == pytest.approx(solar, abs=3e-4)
