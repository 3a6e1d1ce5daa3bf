"""Access against a plain pvlib script that reads the horizon at every minute of a year.

The script is benchmarks/access_reference.py; fifty sites are compared by
``python benchmarks/access.py --agreement``.
"""

import sys
from pathlib import Path

import numpy as np
import pytest

from logger.access import Plane, assess
from logger.horizon import HorizonProfile
from logger.site import Site

sys.path.insert(0, str(Path(__file__).parents[2] / "benchmarks"))
import access_reference as reference


def skyline():
    azimuth = np.arange(360.0)
    hills = np.abs(6 * np.cos(np.radians(2 * azimuth + 40)) + 5 * np.sin(np.radians(5 * azimuth)))
    hills[140:165] = 31
    return hills


@pytest.fixture(scope="module", params=[(52.0, 5.0, 10.0), (-33.9, 151.2, 60.0)])
def case(request):
    latitude, longitude, elevation = request.param
    facing = 170.0 if latitude > 0 else 20.0
    case = reference.Case(latitude, longitude, elevation, 35.0, facing, skyline())
    return case, reference.sun_and_sky(case)


def ours(case):
    result = assess(
        HorizonProfile(np.arange(360.0), case.horizon_deg),
        Site(case.latitude_deg, case.longitude_deg, case.altitude_m),
        [Plane("plane", case.tilt_deg, case.azimuth_deg)],
    )
    return result.planes[0]


def test_solar_access_with_disc_circumsolar_and_sky(case):
    solar, beam = reference.solar_access(*case)
    plane = ours(case[0])
    assert plane.beam_access.value == pytest.approx(beam, abs=1e-6)
    # The script's view of the sky is a sum over cells of half a degree.
    assert plane.solar_access.value == pytest.approx(solar, abs=3e-4)
