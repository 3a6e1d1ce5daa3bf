"""Every sample as a row of CSV, for a close look."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from logger.orientation.sight_lines import SightLines
from logger.report.tables import csv_text


def samples_csv(sights: Sequence[SightLines]) -> str:
    """One row a measuring instant, in the columns that the documentation fixes."""
    header = ("t_s", "azimuth_deg", "elevation_deg", "roll_deg", "used", "reason")
    rows = (
        [f"{t:.4f}", _cell(a, 4), _cell(e, 4), _cell(r, 3), str(int(used)), str(reason)]
        for sight in sights
        for t, a, e, r, used, reason in zip(
            sight.t_s,
            sight.azimuth_deg,
            sight.elevation_deg,
            sight.roll_deg,
            sight.used,
            sight.reason,
            strict=True,
        )
    )
    return csv_text(header, rows)


def _cell(value: float, decimals: int) -> str:
    return f"{value:.{decimals}f}" if np.isfinite(value) else ""
