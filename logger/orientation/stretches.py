"""Recordings longer than any sweep: the fit over the recording, one stretch after another.

The fit holds about 3 kB a row, so that hours of a quick board would take gigabytes; and a gyro's
constants are constant for minutes, not for hours.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import fields
from itertools import pairwise
from typing import Any

import numpy as np

from logger.arrays import Bools, Floats
from logger.orientation.attitude import Attitude
from logger.orientation.fusion import SensorPrior, attitude_over_recording

MOST_ROWS = 40_000
"""Of one fit: nearly seven minutes at 100 Hz, thirteen at 50 Hz."""
OVERLAP = 1_500
"""Rows of its neighbours that a stretch is fitted with; many times the memory of its sensors."""
COLUMNS = ("matrix", "level_error_deg", "heading_error_deg")


def attitude_in_stretches(
    t_s: Floats,
    rate_deg_s: Floats,
    force_g: Floats,
    field_ut: Floats,
    field_trusted: Bools,
    prior: SensorPrior | None = None,
) -> Attitude:
    """`attitude_over_recording`, in stretches of equal length where the recording is very long.

    Each stretch is fitted together with a part of its neighbours, which is then left out.
    """

    def fitted(rows: slice) -> Attitude:
        return attitude_over_recording(
            t_s[rows], rate_deg_s[rows], force_g[rows], field_ut[rows], field_trusted[rows], prior
        )

    n = len(t_s)
    if n <= MOST_ROWS:
        return fitted(slice(n))
    parts = []
    for start, end in pairwise(np.linspace(0, n, -(-n // MOST_ROWS) + 1).astype(int).tolist()):
        first = max(start - OVERLAP, 0)
        whole = fitted(slice(first, min(end + OVERLAP, n)))
        part = {f.name: getattr(whole, f.name) for f in fields(whole)}
        # Copies: a view would keep the whole.
        part |= {name: part[name][start - first : end - first].copy() for name in COLUMNS}
        parts.append(part)
    return _joined(parts)


def _joined(parts: Sequence[dict[str, Any]]) -> Attitude:
    """Rows one after another; of what is one for a whole fit, the mean."""
    whole: dict[str, Any] = {}
    for name in parts[0]:
        known = [part[name] for part in parts if part[name] is not None]
        if name in COLUMNS:
            whole[name] = np.concatenate(known)
        else:
            whole[name] = _plain(np.mean(known, axis=0).tolist()) if known else None
    return Attitude(**whole)


def _plain(value: Any) -> Any:
    return tuple(map(_plain, value)) if isinstance(value, list) else value
