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
    from scipy.signal import find_peaks, peak_widths

    azimuth = np.arange(0.0, 360.0, STEP_DEG)
    height = interpolate_azimuthal(azimuth, profile.azimuth_deg, profile.elevation_deg)
    # Round the circle from its lowest place, so that nothing that stands out is cut in two.
    start = int(np.argmin(height))
    height = np.maximum(np.append(np.roll(height, -start), height[start]), 0.0)
    tops, found = find_peaks(height, prominence=LEAST_RISE_DEG)
    alone = found["prominences"] >= LEAST_SHARE * height[tops]
    _, _, begin, end = peak_widths(height, tops[alone], rel_height=SIDE_SHARE)
    feet = [
        *(_foot(height, int(side), -1) for side in begin),
        *(_foot(height, int(np.ceil(side)), 1) for side in end),
    ]
    cuts = wrap360(azimuth[start] + STEP_DEG * floats(feet))
    cuts = np.unique(np.round(cuts, 1))
    apart = wrap360(cuts - np.roll(cuts, 1)) >= LEAST_WIDTH_DEG
    return floats(cuts[apart | (len(cuts) == 1)])


def _foot(height: Floats, at: int, step: int) -> int:
    """Walk down a side to where it levels off."""
    while 0 < at < len(height) - 1 and height[at] - height[at + step] > FOOT_SLOPE * STEP_DEG:
        at += step
    return at
