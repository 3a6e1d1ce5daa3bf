"""The azimuths that the sun crosses, and whether a horizon is told closely enough there."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from logger.arrays import Bools, floats
from logger.checks import Check
from logger.horizon import HorizonProfile

OBLIQUITY_DEG = 23.44  # The sun's greatest declination
# A skyline told by points further apart is an outline drawn from memory (common practice, no
# source)
SPACING_LIMIT_DEG = 15.0


def sun_crosses(azimuth_deg: ArrayLike, latitude_deg: float) -> Bools:
    """Whether the sun stands above azimuths at some time of the year.

    With declination d: ``sin d = sin(lat) sin e + cos(lat) cos e cos A``, so an elevation e is
    reached at an azimuth when that d lies within the obliquity. Geometric, without refraction.
    """
    e, lat = np.radians(np.arange(0.0, 90.01, 0.25))[:, None], np.radians(latitude_deg)
    a = np.radians(np.atleast_1d(floats(azimuth_deg)))
    sin_d = np.sin(lat) * np.sin(e) + np.cos(lat) * np.cos(e) * np.cos(a)
    return np.asarray((np.abs(sin_d) <= np.sin(np.radians(OBLIQUITY_DEG))).any(axis=0))


def spacing_check(profile: HorizonProfile, latitude_deg: float) -> Check:
    """Whether a profile's nodes stand close enough to be a skyline, as far as the sun goes."""
    start, first = np.unique(profile.azimuth_deg, return_index=True)
    last = np.append(first[1:], len(profile)) - 1
    unknown = np.isin(start, profile.azimuth_deg[~profile.known])
    elevation = profile.elevation_deg
    is_open = (elevation[last] <= 0) & (np.roll(elevation[first], -1) <= 0)
    cells = np.arange(0.5, 360.0)
    crossed = sun_crosses(cells, latitude_deg)
    # The stretch that each degree lies in; the last one runs on through north.
    stretch = (np.searchsorted(start, cells) - 1) % len(start)
    told = unknown | np.roll(unknown, -1) | is_open
    width = np.bincount(stretch[crossed & ~told[stretch]], minlength=len(start))
    widest = int(np.argmax(width))
    passed = bool(width[widest] <= SPACING_LIMIT_DEG)
    why = f"{len(start)} azimuths, no gap that the sun crosses wider than {width[widest]}°"
    if not passed:
        following = start[(widest + 1) % len(start)]
        why = (
            f"{len(start)} azimuths and nothing between {start[widest]:.0f} and {following:.0f}°, "
            f"of which the sun crosses {width[widest]}°: a straight line is drawn there; give the "
            f"skyline every {SPACING_LIMIT_DEG:.0f}° or closer"
        )
    value = float(width[widest])
    return Check("horizon points close enough", passed, value, SPACING_LIMIT_DEG, "deg", why)
