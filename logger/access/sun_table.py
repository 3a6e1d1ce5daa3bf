"""What skylines take of the sun's light over a year, for a thousand skylines at once.

All light from the sun's direction is summed once into a table: for every sector of azimuth (0.5
degrees) in which the sun ever stands and every elevation (0.25 degrees) up to its highest there,
what a skyline up to there takes, by month. A skyline is then two rows of the table a sector, with
straight lines between elevations, and many skylines are one product of a sparse matrix with it.
Tables are kept in single precision: their rows are far better than the draws.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, TypeAlias

import numpy as np
from numpy.typing import NDArray

from logger.access.draws import GRID_DEG, SECTOR_MIDDLES, SECTORS
from logger.access.irradiance import HALVES, MONTHS
from logger.access.plane import Plane
from logger.access.sky_view import sky_above
from logger.arrays import Floats, Ints, floats
from logger.sun import SunYear

STEP_DEG = 0.25
"""Height of the table's cells. [deg]"""

Singles: TypeAlias = NDArray[np.float32]


@dataclass(frozen=True, eq=False)
class SunGrid:
    """Where the sun stands over the year, in the cells of a table."""

    sector: Ints  # Sectors in which it stands at all, rising. Shape (S,).
    levels: Ints  # Rows of each of them, from level upwards. Shape (S,).
    start: Ints  # First row of each of them. Shape (S,).
    cell: Ints  # Row and month of each minute, ``row * 12 + month``. Shape (N,).

    def table(self, amounts: Sequence[Floats]) -> Singles:
        """Sums of minutes below each level. Shape (rows, columns * 12)."""
        rows = int(self.levels.sum())
        sums = np.stack(
            [np.bincount(self.cell, a, minlength=rows * MONTHS) for a in amounts]
        ).reshape(len(amounts), rows, MONTHS)
        below = np.cumsum(sums, axis=1)
        # What came before a sector's first row belongs to the sectors before it.
        before = below[:, self.start] - sums[:, self.start]
        below -= np.repeat(before, self.levels, axis=1)
        return below.transpose(1, 0, 2).reshape(rows, -1).astype(np.float32)

    def lost(self, height_deg: Floats, table: Singles) -> Floats:
        """What skylines take: before noon and after. Shape (n, columns, 2, 12)."""
        from scipy.sparse import csr_matrix

        n = len(height_deg)
        # A level row and the next one up, shared between by where the skyline stands.
        at = np.clip(height_deg[:, self.sector] / STEP_DEG, 0.0, self.levels - 1.0)
        level = np.minimum(at.astype(np.int64), np.maximum(self.levels - 2, 0))
        upper = at - level
        row = np.stack([self.start + level, self.start + level + 1], axis=-1).astype(np.int32)
        value = np.stack([1.0 - upper, upper], axis=-1).astype(np.float32)
        # The sun stands east of the meridian before noon, wherever on Earth.
        noon = int(np.searchsorted(self.sector, SECTORS // HALVES))
        result = np.empty((HALVES, n, table.shape[1]), dtype=np.float32)
        for half, which in enumerate((slice(None, noon), slice(noon, None))):
            pointer = np.arange(n + 1, dtype=np.int32) * (2 * row[0, which].shape[0])
            of_half: Any = (value[:, which].ravel(), row[:, which].ravel(), pointer)
            result[half] = csr_matrix(of_half, shape=(n, len(table))) @ table
        return floats(result.reshape(HALVES, n, -1, MONTHS).transpose(1, 2, 0, 3))


def sun_grid(sun: SunYear) -> SunGrid:
    """Sort a year's minutes by the sun's direction."""
    sector = np.minimum((sun.azimuth_deg / GRID_DEG).astype(np.int64), SECTORS - 1)
    # A minute is lost once the skyline reaches the level above the sun's centre.
    level = np.floor(sun.elevation_deg / STEP_DEG).astype(np.int64) + 1
    levels = np.zeros(SECTORS, dtype=np.int64)
    np.maximum.at(levels, sector, level + 1)
    sunny = np.flatnonzero(levels)
    start = np.cumsum(levels) - levels
    return SunGrid(sunny, levels[sunny], start[sunny], (start[sector] + level) * MONTHS + sun.month)


def sky_table(plane: Plane) -> Floats:
    """View of the sky that a plane loses below each whole degree. Shape (SECTORS, 91)."""
    above = sky_above(
        np.arange(91.0), SECTOR_MIDDLES[:, None], plane.tilt_deg, plane.azimuth_deg
    ) * np.radians(GRID_DEG)
    return floats(above[:, :1] - above)


def sky_lost(height_deg: Floats, table: Floats) -> Floats:
    """View of the sky that skylines take. Shape (n,)."""
    at = np.clip(height_deg, 0.0, 90.0)
    level = np.minimum(at.astype(np.int64), 89)
    row = np.arange(SECTORS) * table.shape[1] + level
    low, high = table.ravel()[row], table.ravel()[row + 1]
    return floats((low + (high - low) * (at - level)).sum(axis=1))
