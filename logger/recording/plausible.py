"""What no hand does: a value that jumps away and straight back was damaged on the line.

The bare XOR of standard sentences lets about one in twenty double errors through; sentences with
a CRC need none of this.
"""

from __future__ import annotations

import numpy as np

from logger.arrays import Bools, Floats
from logger.geometry import angle_between

FASTEST_DEG_S = 60.0
"""Faster there and back within two samples is no sweep (common practice, no source). [deg/s]"""
LEAST_JUMP_DEG = 5.0
"""Smaller jumps are noise, and too small to matter. [deg]"""


def jumps_and_back(t_s: Floats, angle_deg: Floats) -> Bools:
    """Values that differ much from both neighbours while these agree with each other.

    The first and the last value are never judged. A steady turn, however fast, is none.
    """
    odd = np.zeros(len(angle_deg), dtype=bool)
    if len(angle_deg) < 3:
        return odd
    every_s = float(t_s[-1] - t_s[0]) / (len(t_s) - 1)
    limit = max(LEAST_JUMP_DEG, FASTEST_DEG_S * every_s)
    before = np.abs(angle_between(angle_deg[1:-1], angle_deg[:-2]))
    after = np.abs(angle_between(angle_deg[2:], angle_deg[1:-1]))
    across = np.abs(angle_between(angle_deg[2:], angle_deg[:-2]))
    jump = np.minimum(before, after)
    odd[1:-1] = (jump > limit) & (across < jump / 2)
    return odd
