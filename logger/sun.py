"""Where the sun is. Times are UTC (numpy ``datetime64``); light comes from the apparent sun."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import ArrayLike

from logger.columns import Floats, Times, freeze_columns
from logger.site import Site

DISC_RADIUS_DEG = 0.2665
"""Mean angular radius of the sun's disc as seen from the Earth. [deg]"""


@dataclass(frozen=True, eq=False)
class SunTrack:
    """Directions to the sun.

    Parameters
    ----------
    azimuth_deg : array, shape (N,)
        Clockwise from true north. [deg]
    elevation_deg : array, shape (N,)
        Apparent: refraction included. [deg]
    """

    azimuth_deg: Floats
    elevation_deg: Floats

    def __post_init__(self) -> None:
        freeze_columns(self, ("azimuth_deg", "elevation_deg"))


def sun_track(times: ArrayLike | Times, site: Site) -> SunTrack:
    """Apparent direction of the sun by pvlib's solar position algorithm (NREL/TP-560-34302).

    Parameters
    ----------
    times : array_like of datetime64, shape (N,)
        UTC.
    site : Site
    """
    import pandas as pd
    import pvlib

    index: Any = pd.DatetimeIndex(np.asarray(times, dtype="datetime64[ns]"), tz="UTC")
    found = pvlib.solarposition.get_solarposition(
        index, site.latitude_deg, site.longitude_deg, altitude=site.elevation_m
    )
    return SunTrack(found["azimuth"].to_numpy(), found["apparent_elevation"].to_numpy())
