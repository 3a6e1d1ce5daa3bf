"""Recordings longer than any sweep: the fit over the recording, one stretch after another.

The fit holds about 3 kB a row, so that hours of a quick board would take gigabytes; and a gyro's
constants are constant for minutes, not for hours.
"""

from __future__ import annotations

from itertools import pairwise

import numpy as np

from logger.arrays import Bools, Floats, stacked
from logger.orientation.attitude import Attitude
from logger.orientation.fusion import SensorPrior, attitude_over_recording

MOST_ROWS = 40_000  # Of one fit: nearly seven minutes at 100 Hz, thirteen at 50 Hz
# Rows of its neighbours that a stretch is fitted with; many times the memory of its sensors
OVERLAP = 1_500


def attitude_in_stretches(
    t_s: Floats,
    rate_deg_s: Floats,
    force_g: Floats,
    field_ut: Floats,
    field_trusted: Bools,
    prior: SensorPrior | None = None,
) -> Attitude:
    """`attitude_over_recording`, in stretches of equal length where the recording is very long.

    Each stretch is fitted together with a part of its neighbours, which is then left out. Of what
    is one for a whole fit, that of the stretch that knows its level least stands for all.
    """
    n, parts = len(t_s), []
    for start, end in pairwise(np.linspace(0, n, -(-n // MOST_ROWS) + 1).astype(int).tolist()):
        first = max(start - OVERLAP, 0)
        rows = slice(first, min(end + OVERLAP, n))
        fit = attitude_over_recording(
            t_s[rows], rate_deg_s[rows], force_g[rows], field_ut[rows], field_trusted[rows], prior
        )
        parts.append(fit.rows(slice(start - first, end - first)))
    return stacked(parts, max(parts, key=lambda part: part.steady_level_error_deg or 0.0))
