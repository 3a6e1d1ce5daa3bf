"""Invented ground around an invented place, as elevation tiles; nothing of it exists on Earth."""

from __future__ import annotations

from collections.abc import Callable
from typing import TypeAlias

import numpy as np

from logger.arrays import Floats, floats
from logger.site import METRES_A_DEGREE, Site

EARTH_M = 6_371_000.0

Ground: TypeAlias = Callable[[Floats, Floats], Floats]
"""Height above the sea by latitude and longitude. [m]"""


def crest_around(site: Site, line: Callable[[Floats], Floats], eye_m: float) -> Ground:
    """A level valley and one range of hills around it, whose crest is a scene's ground line.

    The line gives the crest's elevation by azimuth, both in degrees, as it is seen from an eye so
    many metres above the valley.
    """

    def height_m(latitude_deg: Floats, longitude_deg: Floats) -> Floats:
        north, east = metres_from(site, latitude_deg, longitude_deg)
        away, toward = np.hypot(north, east), np.arctan2(east, north)
        around = np.arange(0.0, 360.25, 0.25)
        elevation = np.radians(np.interp(np.degrees(toward) % 360.0, around, line(around)))
        crest = 8000.0 + 1500.0 * np.sin(3 * toward)
        rise = np.cos(np.pi / 2 * np.clip((away - crest) / 4000.0, -1.0, 1.0)) ** 2
        # Where the eye sees that line: the Earth falls away by d² / 2R, less what the ray bends.
        seen = eye_m + away * np.tan(elevation) + 0.87 * away**2 / (2 * EARTH_M)
        return floats(site.altitude_m + rise * seen)

    return height_m


def metres_from(site: Site, latitude_deg: Floats, longitude_deg: Floats) -> tuple[Floats, Floats]:
    """Metres north and east."""
    east = METRES_A_DEGREE * np.cos(np.radians(site.latitude_deg))
    north = METRES_A_DEGREE * (latitude_deg - site.latitude_deg)
    return north, east * (longitude_deg - site.longitude_deg)


def hgt_tile(ground: Ground, south_deg: int, west_deg: int) -> bytes:
    """An ``.hgt`` tile by its south-west corner: whole metres, rows from the north."""
    steps = np.linspace(0.0, 1.0, 1201)
    height = ground(south_deg + 1.0 - steps[:, None], west_deg + steps)
    return np.rint(height).astype(">i2").tobytes()
