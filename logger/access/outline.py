"""Where the skyline itself tells one thing that stands there from the next, when nobody named it.

Common practice, no source: what rises above the skyline on both its sides by two degrees, and by
half of its own elevation, is a thing of its own.
"""

from __future__ import annotations

import numpy as np

from logger.arrays import Floats, floats
from logger.geometry import interpolate_azimuthal, wrap360
from logger.horizon import HorizonProfile

STEP_DEG = 0.5
LEAST_RISE_DEG = 2.0
LEAST_SHARE = 0.5
LEAST_WIDTH_DEG = 2.0
SIDE_SHARE = 0.5  # Its sides are where the skyline has fallen by this share of its rise
FOOT_SLOPE = 0.3  # They end where the skyline falls less than this, degrees a degree


def outline_cuts(profile: HorizonProfile) -> Floats:
    """Azimuths at which something begins or ends that stands out of a complete skyline. [deg]"""
    azimuth = np.arange(0.0, 360.0, STEP_DEG)
    height = interpolate_azimuthal(azimuth, profile.azimuth_deg, profile.elevation_deg)
    # Round the circle from its lowest place, so that nothing that stands out is cut in two.
    start = int(np.argmin(height))
    height = np.maximum(np.append(np.roll(height, -start), height[start]), 0.0)
    feet: list[int] = []
    for top in 1 + np.flatnonzero((np.diff(height[:-1]) > 0) & (np.diff(height[1:]) <= 0)):
        sides = _side(height[top::-1]), _side(height[top:])
        rise = height[top] - max(side.min() for side in sides)
        if rise >= max(LEAST_RISE_DEG, LEAST_SHARE * height[top]):
            before, after = (_foot(side, height[top] - SIDE_SHARE * rise) for side in sides)
            feet += [int(top) - before, int(top) + after]
    cuts = wrap360(azimuth[start] + STEP_DEG * floats(feet))
    cuts = np.unique(np.round(cuts, 1))
    apart = wrap360(cuts - np.roll(cuts, 1)) >= LEAST_WIDTH_DEG
    return floats(cuts[apart | (len(cuts) == 1)])


def _side(away: Floats) -> Floats:
    """The skyline from a top onwards, as far as nothing is higher."""
    higher = np.flatnonzero(away > away[0])
    return away[: higher[0]] if len(higher) else away


def _foot(side: Floats, level_deg: float) -> int:
    """Steps from a top down past a level, to where the skyline levels off."""
    at = int(np.argmax(side <= level_deg))
    flat = np.flatnonzero(side[at:-1] - side[at + 1 :] <= FOOT_SLOPE * STEP_DEG)
    return at + int(flat[0]) if len(flat) else len(side) - 1
