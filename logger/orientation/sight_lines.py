"""True directions of the line of sight along a sweep, and how far to trust them."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass, replace

import numpy as np

from logger.arrays import Bools, Columns, Floats, Texts, freeze_columns


@dataclass(frozen=True, eq=False)
class SightLines(Columns):
    """One row a measuring instant, used or not."""

    t_s: Floats  # Seconds from the start of the recording, never decreasing. [s] Shape (N,).
    # Clockwise from true north, also on unused rows where it is known; else NaN. [deg] Shape
    # (N,).
    azimuth_deg: Floats
    elevation_deg: Floats  # Above the level plane. [deg] Shape (N,).
    roll_deg: Floats  # About the line of sight, right side down positive. [deg] Shape (N,).
    standard_error_deg: Floats  # Random error of one row's direction (noise, hand motion), 1 sigma
    used: Bools  # Shape (N,)
    reason: Texts  # Why a row is not used; empty where it is. Shape (N,).
    # Standard error that turns all rows together: declination, compass, bearing. [deg]
    heading_error_deg: float = 0.0
    # Standard error that lifts all rows together: level, accelerometer offset. [deg]
    level_error_deg: float = 0.0
    steps: tuple[str, ...] = ()  # The corrections applied, oldest first, in words

    def __post_init__(self) -> None:
        n = freeze_columns(
            self, ("t_s", "azimuth_deg", "elevation_deg", "roll_deg", "standard_error_deg")
        )
        freeze_columns(self, ("used",), dtype=np.bool_, length=n)
        freeze_columns(self, ("reason",), dtype=np.object_, length=n)
        if np.any(self.used & ~(np.isfinite(self.azimuth_deg) & np.isfinite(self.elevation_deg))):
            raise ValueError("SightLines: a used row has no direction")

    def without(self, which: Bools, reason: str) -> SightLines:
        """The same rows with those of a mask taken out of use; rows unused before keep theirs."""
        now = self.used & which
        reasons = self.reason.copy()
        reasons[now] = reason
        return replace(self, used=self.used & ~which, reason=reasons)

    def rejected(self) -> dict[str, int]:
        """How many rows are unused, by reason, most frequent first."""
        counts = Counter(self.reason[~self.used].tolist())
        return dict(sorted(counts.items(), key=lambda item: (-item[1], item[0])))
