"""How far passes lie apart, and what that adds to the standard error of the fit.

Everything is a mean over a stretch of azimuth, in which tremor averages out and drift does not.
The limits of this file are common practice, no source.
"""

from __future__ import annotations

import numpy as np

from logger.arrays import Floats, Ints, floats
from logger.geometry import interpolate_azimuthal
from logger.horizon_fit.cells import CellMeans
from logger.horizon_fit.fit import Fit
from logger.horizon_fit.passes import CELLS, STEP_DEG, cell_of

STRETCH_DEG = 5.0  # Passes are held against each other over stretches of this
USUAL_DEG = 0.5  # Two passes, averaged over a stretch, differ by about this at most from tremor
# Passes that agree by chance better than this share of what is expected make it no smaller
LEAST_SCALE = 0.5
# Azimuth, times passes, that must be seen twice before the passes' scatter is judged
ENOUGH_DEG = 40.0
MEDIAN_SQUARE = 0.455  # Median of the square of a standard normal number


def agreement_of(means: CellMeans, fit: Fit) -> tuple[Floats, Floats, float]:
    """Hold the passes against each other and against the fit, cell by cell.

    How far the highest pass lies from the lowest [deg]; what that, and a fit that misses all
    passes, adds to the error [deg]; and by how much passes scatter more than expected.
    """
    width = round(STRETCH_DEG / STEP_DEG)
    predicted = interpolate_azimuthal(means.azimuth_deg, fit.node_deg, fit.elevation_deg)
    weight = 1.0 / (fit.random_deg**2 + means.slow_deg**2)
    cell = cell_of(means.azimuth_deg)
    numbers = np.unique(means.index)
    away, expected = (np.full((numbers.size, CELLS), np.nan) for _ in range(2))
    for k, index in enumerate(numbers):
        rows = means.index == index
        w, residual, slow, there = (
            over_stretch(floats(np.bincount(cell[rows], column[rows], CELLS)), width)
            for column in (
                weight,
                weight * (means.elevation_deg - predicted),
                weight * means.slow_deg,
                np.ones(len(means)),
            )
        )
        enough = there >= width / 2
        w, residual, slow = w[enough], residual[enough], slow[enough]
        away[k, enough] = residual / w
        expected[k, enough] = np.hypot(w**-0.5, slow / w)
    known = np.isfinite(away)
    count = known.sum(axis=0)
    high = np.where(known, away, -np.inf).max(axis=0, initial=-np.inf)
    low = np.where(known, away, np.inf).min(axis=0, initial=np.inf)
    apart = np.where(count > 1, high - low, 0.0)
    off = np.abs(np.where(known, away, 0.0).sum(axis=0)) / np.maximum(count, 1)
    differing = np.maximum(apart - USUAL_DEG, 0.0) / 2.0
    missed = np.maximum(off - USUAL_DEG / 2.0, 0.0)
    return floats(apart), floats(np.hypot(differing, missed)), _scale(away, expected, count)


def _scale(away: Floats, expected: Floats, count: Ints) -> float:
    """How much further passes lie from the skyline than their errors explain.

    Each pass pulls the skyline towards itself, which hides ``1 / n`` of the square.
    """
    again = np.isfinite(away) & (count > 1)
    if again.sum() * STEP_DEG < ENOUGH_DEG:
        return 1.0
    share = np.broadcast_to(1.0 - 1.0 / np.maximum(count, 1), away.shape)
    square = (away[again] / expected[again]) ** 2 / share[again]
    return float(max(LEAST_SCALE, np.sqrt(np.median(square) / MEDIAN_SQUARE)))


def over_stretch(column: Floats, width: int) -> Floats:
    """Sum over a stretch round each cell, round the circle."""
    around = np.concatenate([column[-(width // 2) :], column, column[: width - width // 2]])
    sums = np.r_[0.0, np.cumsum(around)]
    return floats(sums[width:] - sums[:-width])[: column.size]
