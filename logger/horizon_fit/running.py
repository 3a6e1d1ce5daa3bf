"""The horizon so far, quickly: what a screen shows while the sweep goes on."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from logger.arrays import Floats, floats, freeze_columns
from logger.horizon_fit.coverage import Coverage
from logger.horizon_fit.passes import CELLS, SightedSweep
from logger.horizon_fit.result import horizon_from

EVERY = 4
"""Cells of the grid in one of the screen's."""


@dataclass(frozen=True, eq=False)
class RunningHorizon:
    """What has been seen so far."""

    azimuth_deg: Floats  # Middle of each cell. [deg] Shape (K,).
    elevation_deg: Floats  # NaN where none went. [deg] Shape (K,).
    coverage: Coverage

    def __post_init__(self) -> None:
        freeze_columns(self, ("azimuth_deg", "elevation_deg"))


def running_horizon(sweeps: Sequence[SightedSweep], latitude_deg: float) -> RunningHorizon:
    """The fused horizon so far, on the coarser grid of the screen."""
    result = horizon_from(sweeps, latitude_deg)
    fine = result.coverage
    middle = floats((np.arange(CELLS // EVERY) + 0.5) * 360.0 * EVERY / CELLS)
    coverage = Coverage(
        middle,
        fine.passes.reshape(-1, EVERY).max(axis=1),
        fine.disagreeing.reshape(-1, EVERY).max(axis=1),
        fine.sun_crossed.reshape(-1, EVERY).max(axis=1),
    )
    elevation = result.profile.elevation_at(middle, unmeasured_deg=np.nan)
    return RunningHorizon(middle, elevation, coverage)
