"""Suns of a few minutes that can be reckoned by hand."""

import numpy as np

from logger.horizon import HorizonProfile
from logger.site import Site
from logger.sun import SunYear

WALL = HorizonProfile([100, 100, 200, 200], [0, 20, 20, 0])


def sun_at(azimuth_deg, elevation_deg, *, month=0, solar_hour=12.0, site=None):
    azimuth, elevation, months, hours = np.broadcast_arrays(
        *np.atleast_1d(azimuth_deg, elevation_deg, month, solar_hour)
    )
    n = len(azimuth)
    return SunYear(
        site or Site(45.0, 15.0), 2026, np.arange(n), np.array(months, dtype=np.int64),
        np.array(azimuth, dtype=float), np.array(elevation, dtype=float),
        np.array(hours, dtype=float), np.zeros((3, n)),
    )  # fmt: skip
