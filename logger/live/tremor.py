"""How much the sight shakes."""

from __future__ import annotations

import numpy as np

from logger.arrays import Floats
from logger.geometry import unwrapped
from logger.orientation.sight_lines import SightLines

TREMOR_LIMIT_DEG = 1.0
"""Above this, RMS, the advice is to wait or to come down. [deg]"""

WINDOW_S = 2.5
_SMOOTHING_S = 0.7  # about one turn of a hand's tremor at 1.5 Hz
_LEAST_S = 1.5


def tremor_deg(sight: SightLines) -> float:
    """RMS of the fast part of the sight's motion over its last seconds; NaN where too short.

    Fast is what departs from the mean over 0.7 s. A hand shakes in both directions; the corner of
    a roof shows in one, or in one after the other. The smaller of the two therefore counts. [deg]
    """
    rows = sight.rows(sight.used)
    if not len(rows):
        return float("nan")
    rows = rows.rows(rows.t_s > rows.t_s[-1] - WINDOW_S)
    if len(rows) < 15 or rows.t_s[-1] - rows.t_s[0] < _LEAST_S:
        return float("nan")
    across = unwrapped(rows.azimuth_deg) * np.cos(np.radians(np.median(rows.elevation_deg)))
    return min(_fast(rows.t_s, across), _fast(rows.t_s, rows.elevation_deg))


def _fast(t_s: Floats, value: Floats) -> float:
    """RMS of the departure from the running mean, gauged so that a 1.5 Hz shake counts whole."""
    half = max(1, round(_SMOOTHING_S / 2 * (len(t_s) - 1) / (t_s[-1] - t_s[0])))
    sums = np.cumsum(np.concatenate([[0.0], value]))
    width = 2 * half + 1
    if len(value) <= width:
        return float("nan")
    mean = (sums[width:] - sums[:-width]) / width
    return float(np.sqrt(np.mean((value[half:-half] - mean) ** 2)))
