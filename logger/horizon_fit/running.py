"""The horizon so far, quickly: what a screen shows while the sweep goes on."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from logger.arrays import Bools, Floats, floats, freeze_columns
from logger.geometry import wrap360
from logger.horizon_fit.coverage import Coverage, sun_crosses
from logger.horizon_fit.passes import Pass, cells_crossed, legs_of, traced
from logger.horizon_fit.settings import HorizonSettings


@dataclass(frozen=True, eq=False)
class RunningHorizon:
    """What has been seen so far."""

    azimuth_deg: Floats  # Middle of each cell. [deg] Shape (K,).
    elevation_deg: Floats  # Mean of all passes; NaN where none went. [deg] Shape (K,).
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
    """Coverage, disagreement and a plain mean of all passes so far."""
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
    heights: list[tuple[Floats, Floats]] = []
    for leg in legs_of([traced(one, settings) for one in passes], fine):
        crossed = cells_crossed(leg, fine)
        if not crossed.any():
            continue
        seen += crossed * (2 if leg.held else 1)
        cell = np.floor(wrap360(leg.path_deg) / cell_deg).astype(np.int64) % n
        # Rows count by the azimuth they bring: a climb on the spot brings none.
        weight = np.abs(np.gradient(leg.path_deg)) + 1e-6
        rows = np.bincount(cell, weight, n)
        sums = np.bincount(cell, weight * leg.elevation_deg, n)
        total += np.where(rows > 0, sums / np.maximum(rows, 1e-12), 0.0)
        count += rows > 0
        low, high = np.full(n, np.inf), np.full(n, -np.inf)
        np.minimum.at(low, cell, leg.elevation_deg)
        np.maximum.at(high, cell, leg.elevation_deg)
        heights.append((low, high))
    reach = max(1, round(settings.edge_match_deg / cell_deg))
    disagreeing = (seen > 1) & _differ(heights, reach, settings.disagreement_limit_deg, n)
    coverage = Coverage(middle, seen, disagreeing, sun_crosses(middle, settings.latitude_deg))
    elevation = np.where(count > 0, total / np.maximum(count, 1), np.nan)
    return RunningHorizon(middle, elevation, coverage)


def _differ(
    heights: Sequence[tuple[Floats, Floats]], reach: int, limit_deg: float, cells: int
) -> Bools:
    """Cells where one pass went higher or lower than another did anywhere near.

    Near is a few cells to both sides: edges that tremor displaced are no disagreement.
    """
    found = np.zeros(cells, dtype=bool)
    turns = range(-reach, reach + 1)
    for k, (low, high) in enumerate(heights):
        lowest = np.min([np.roll(low, turn) for turn in turns], axis=0)
        highest = np.max([np.roll(high, turn) for turn in turns], axis=0)
        here = np.isfinite(low)
        for m, (other_low, other_high) in enumerate(heights):
            both = here & np.isfinite(other_low)
            if m != k:
                found |= both & (other_high > highest + limit_deg)
                found |= both & (other_low < lowest - limit_deg)
    return found
