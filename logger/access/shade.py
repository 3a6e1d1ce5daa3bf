"""Hours of shade: how much of the sun's time a skyline takes, by month and hour of the day."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from logger.access.irradiance import HOURS, MONTHS
from logger.access.leaf import middle_leaf
from logger.access.losses import share_of
from logger.access.surroundings import without_crowns
from logger.arrays import Floats, floats, freeze_columns
from logger.horizon import HorizonProfile
from logger.site import Site
from logger.sun import SunYear

EVERY = 4  # Minutes of the sun that are counted


@dataclass(frozen=True, eq=False)
class ShadeMap:
    """Shares of the time that the sun's centre is above the level horizon, by month and hour."""

    hour: Floats  # Edges of the cells in apparent solar time. [h] Shape (H + 1,).
    # Share of the sun's time in which its centre is behind the measured skyline, a crown counting
    # for as much as it takes in that month; NaN where the sun is never up. Shape (12, H).
    shaded: Floats
    # Share in which it stands over azimuths that were not measured; NaN likewise. Shape (12,
    # H).
    unmeasured: Floats

    def __post_init__(self) -> None:
        cells = freeze_columns(self, ("hour",)) - 1
        freeze_columns(self, ("shaded", "unmeasured"), length=MONTHS, width=cells)


def shade_map(profile: HorizonProfile, sun: SunYear, site: Site) -> ShadeMap:
    """Count the sun's minutes behind a skyline."""
    azimuth, elevation = sun.azimuth_deg[::EVERY], sun.elevation_deg[::EVERY]
    month, hour = sun.month[::EVERY], np.minimum(sun.solar_hour[::EVERY].astype(int), HOURS - 1)
    cell = month * HOURS + hour
    known = profile.measured_at(azimuth)
    solid = elevation < without_crowns(profile).elevation_at(azimuth)
    through = middle_leaf(site, profile.leaf_seen).monthly()[0][month]
    in_crown = 1.0 - through
    behind = np.where(solid, 1.0, np.where(elevation < profile.elevation_at(azimuth), in_crown, 0))

    def count(weight: Floats | None = None) -> Floats:
        counted = np.bincount(cell, weight, minlength=MONTHS * HOURS)
        return np.asarray(counted.reshape(MONTHS, HOURS), dtype=np.float64)

    up = count()
    shares = (share_of(count(which), up) for which in (known * behind, (~known).astype(float)))
    return ShadeMap(floats(np.arange(HOURS + 1)), *shares)
