"""The horizon so far, quickly: what a screen shows while the sweep goes on."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from logger.columns import Floats, floats, freeze_columns
from logger.horizon.coverage import Coverage, sun_crosses
from logger.horizon.passes import Pass, cells_crossed, legs_of, traced
from logger.horizon.settings import HorizonSettings


@dataclass(frozen=True, eq=False)
class RunningHorizon:
    """What has been seen so far.

    Parameters
    ----------
    azimuth_deg : array, shape (K,)
        Middle of each cell. [deg]
    elevation_deg : array, shape (K,)
        Mean of all passes; NaN where none went. [deg]
    coverage : Coverage
    """

    azimuth_deg: Floats
    elevation_deg: Floats
    coverage: Coverage

    def __post_init__(self) -> None:
        freeze_columns(self, ("azimuth_deg", "elevation_deg"))

    @property
    def guidance(self) -> str:
        """What is still to do; empty when nothing is."""
        return self.coverage.guidance()


def running_horizon(
    passes: Sequence[Pass], settings: HorizonSettings | None = None, cell_deg: float = 1.0
) -> RunningHorizon:
    """Coverage, disagreement and a plain mean of all passes so far.

    Parameters
    ----------
    passes : sequence of Pass
        All recordings of the point, the one going on included.
    settings : HorizonSettings, optional
    cell_deg : float
        Must divide 360. [deg]
    """
    settings = settings or HorizonSettings()
    fine = HorizonSettings(
        latitude_deg=settings.latitude_deg,
        step_deg=cell_deg,
        gap_deg=settings.gap_deg,
        gap_s=settings.gap_s,
        turn_deg=settings.turn_deg,
    )
    n = round(360.0 / cell_deg)
    middle = floats((np.arange(n) + 0.5) * cell_deg)
    seen = np.zeros(n, dtype=np.int64)
    total, count = np.zeros(n), np.zeros(n)
    high, low = np.full(n, -np.inf), np.full(n, np.inf)
    width = max(1, round(5.0 / cell_deg)) | 1
    for leg in legs_of([traced(one, settings) for one in passes], fine):
        crossed = cells_crossed(leg, fine)
        if not crossed.any():
            continue
        seen += crossed * (2 if leg.held else 1)
        cell = np.floor(np.mod(leg.path_deg, 360.0) / cell_deg).astype(np.int64) % n
        # Rows count by the azimuth they bring: a climb on the spot brings none.
        weight = np.abs(np.gradient(leg.path_deg)) + 1e-6
        rows = np.bincount(cell, weight, n)
        sums = np.bincount(cell, weight * leg.elevation_deg, n)
        mean = np.where(rows > 0, sums / np.maximum(rows, 1e-12), np.nan)
        total += np.where(rows > 0, mean, 0.0)
        count += rows > 0
        smooth = _mean_around(mean, width)
        high, low = np.fmax(high, smooth), np.fmin(low, smooth)
    disagreeing = (high - low > settings.disagreement_limit_deg) & (seen > 1)
    coverage = Coverage(middle, seen, disagreeing, sun_crosses(middle, settings.latitude_deg))
    elevation = np.where(count > 0, total / np.maximum(count, 1), np.nan)
    return RunningHorizon(middle, elevation, coverage)


def _mean_around(values: Floats, width: int) -> Floats:
    """Mean of the known values within a window round the circle; NaN where half are unknown."""
    known = np.isfinite(values)
    kernel = np.zeros(values.size)
    kernel[: width // 2 + 1] = 1.0
    kernel[values.size - width // 2 :] = 1.0
    spectrum = np.fft.rfft(kernel)
    total = np.fft.irfft(np.fft.rfft(np.where(known, values, 0.0)) * spectrum, values.size)
    count = np.rint(np.fft.irfft(np.fft.rfft(known.astype(float)) * spectrum, values.size))
    return floats(np.where(count > width / 2, total / np.maximum(count, 1), np.nan))
