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
from functools import cached_property
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
class Levels:
    """Rows of a table: some sectors, each with levels from level ground upwards."""

    sector: Ints  # Rising. Shape (S,).
    levels: Ints  # Of each of them. Shape (S,).
    step_deg: float  # Between levels

    @cached_property
    def start(self) -> Ints:
        """First row of each sector. Shape (S,)."""
        return np.cumsum(self.levels) - self.levels

    def below(self, height_deg: Floats, which: slice = slice(None)) -> Any:
        """Skylines as a sparse matrix, whose product with a table is what lies below them."""
        from scipy.sparse import csr_matrix

        levels, start = self.levels[which], self.start[which]
        # A level row and the next one up, shared between by where the skyline stands.
        at = np.take(height_deg, self.sector[which], axis=1) / self.step_deg
        np.clip(at, 0.0, levels - 1.0, out=at)
        row = np.minimum(at.astype(np.int32), np.maximum(levels - 2, 0).astype(np.int32))
        upper = (at - row).astype(np.float32)
        row += start.astype(np.int32)
        n, rows = len(height_deg), int(self.levels.sum())
        pointer = np.arange(n + 1, dtype=np.int32) * (2 * len(levels))
        data: Any = (
            np.stack([1.0 - upper, upper], axis=-1).ravel(),
            np.stack([row, row + 1], axis=-1).ravel(),
            pointer,
        )
        return csr_matrix(data, shape=(n, rows))


SKY_LEVELS = Levels(np.arange(SECTORS), np.full(SECTORS, 91), 1.0)
"""The whole sky, degree by degree."""


@dataclass(frozen=True, eq=False)
class SunGrid:
    """Where the sun stands over the year, in the cells of a table."""

    rows: Levels  # Of the sectors in which it stands at all
    cell: Ints  # Row and month of each minute, ``row * 12 + month``. Shape (N,).

    def table(self, amounts: Sequence[Floats]) -> Singles:
        """Sums of minutes below each level. Shape (rows, columns * 12)."""
        levels, start = self.rows.levels, self.rows.start
        rows = int(levels.sum())
        table: Singles = np.empty((rows, len(amounts), MONTHS), dtype=np.float32)
        for k, amount in enumerate(amounts):
            sums = np.bincount(self.cell, amount, minlength=rows * MONTHS).reshape(rows, MONTHS)
            below = np.cumsum(sums, axis=0)
            # What came before a sector's first row belongs to the sectors before it.
            before = below[start] - sums[start]
            table[:, k] = below - np.repeat(before, levels, axis=0)
        return table.reshape(rows, -1)

    def halves(self, height_deg: Floats) -> tuple[Any, Any]:
        """Skylines before noon and after, when the sun stands east of the meridian and west."""
        noon = int(np.searchsorted(self.rows.sector, SECTORS // HALVES))
        east, west = slice(None, noon), slice(noon, None)
        return self.rows.below(height_deg, east), self.rows.below(height_deg, west)


def lost(skylines: tuple[Any, Any], table: Singles) -> Floats:
    """What skylines take: before noon and after. Shape (n, columns, 2, 12)."""
    halves = np.stack([half @ table for half in skylines])
    return floats(halves.reshape(HALVES, halves.shape[1], -1, MONTHS).transpose(1, 2, 0, 3))


def sun_grid(sun: SunYear) -> SunGrid:
    """Sort a year's minutes by the sun's direction."""
    sector = np.minimum((sun.azimuth_deg / GRID_DEG).astype(np.int64), SECTORS - 1)
    # A minute is lost once the skyline reaches the level above the sun's centre.
    level = np.floor(sun.elevation_deg / STEP_DEG).astype(np.int64) + 1
    levels = np.zeros(SECTORS, dtype=np.int64)
    np.maximum.at(levels, sector, level + 1)
    sunny = np.flatnonzero(levels)
    start = np.cumsum(levels) - levels
    cell = (start[sector] + level) * MONTHS + sun.month
    return SunGrid(Levels(sunny, levels[sunny], STEP_DEG), cell)


def sky_table(plane: Plane) -> Singles:
    """View of the sky that a plane loses below each of `SKY_LEVELS`. Shape (rows, 1)."""
    above = sky_above(
        np.arange(91.0), SECTOR_MIDDLES[:, None], plane.tilt_deg, plane.azimuth_deg
    ) * np.radians(GRID_DEG)
    lost_view: Singles = (above[:, :1] - above).reshape(-1, 1).astype(np.float32)
    return lost_view
