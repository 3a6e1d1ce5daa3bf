"""The spread of access over many drawn horizons, at the price of a few.

All that does not depend on the horizon is summed once into a table: for every sector of azimuth
(0.5 degrees) and every elevation (0.25 degrees) what a skyline up to there would take, by month, of
the beam, of all light from the sun's direction, of the solar window, and of the plane's view of the
sky. A drawn horizon
is then one row lookup a sector, with straight lines between elevations; a thousand horizons are one
product of a sparse matrix (which rows, how much) with the table. Each sector needs only be as
high as the drawn horizons there, and where the sun never stands only the sky is looked up. Tables
are summed in double and kept in single precision: their rows are far better than the draws, and
looking them up waits for the memory.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, TypeAlias

import numpy as np
from numpy.typing import NDArray

from logger.access.draws import GRID_DEG, DrawnHorizons, draw_horizons, sector_middles
from logger.access.plane import Plane
from logger.access.sky_view import sky_above
from logger.access.surroundings import Surroundings
from logger.arrays import Bools, Floats, Ints, floats
from logger.sun import SunYear

STEP_DEG = 0.25
"""Height of the table's cells. [deg]"""

_SECTORS = round(360.0 / GRID_DEG)
LEVELS = int(90 / STEP_DEG) + 1
FULL_REACH: Ints = np.full(_SECTORS, LEVELS)
"""Every sector up to the zenith."""

_MONTHS = 12

Singles: TypeAlias = NDArray[np.float32]


@dataclass(frozen=True, eq=False)
class BlockingTable:
    """What a skyline takes, by sector of azimuth and elevation, cumulated from level upwards."""

    # Blocks of twelve months each. A sector's rows stand together. Shape (sum of reach, 12 *
    # blocks).
    of_sun: Singles
    of_sky: Singles  # What is the same in every month. Shape (sum of reach, constants).
    # How many levels each sector has, at least two: no more than any drawn horizon needs. Shape
    # (sectors,).
    reach: Ints
    sunny: Bools  # Elsewhere ``of_sun`` is all zero. Shape (sectors,).


def blocking_table(
    sun: SunYear,
    direction: tuple[Ints, Ints],
    monthly: Sequence[Floats],
    constant: Sequence[Floats] = (),
    reach: Ints | None = None,
) -> BlockingTable:
    """Sum a year by direction."""
    reach = FULL_REACH if reach is None else reach
    sector, level = direction
    width = _MONTHS * len(monthly)
    ends = np.cumsum(reach)
    starts = ends - reach
    held = np.flatnonzero(level < reach[sector])
    place = (starts[sector[held]] + level[held]) * width + sun.month[held]
    flat = np.zeros(int(ends[-1]) * width)
    for b, values in enumerate(monthly):
        np.add.at(flat, place + b * _MONTHS, values[held])
    of_sun = flat.reshape(int(ends[-1]), width)
    sunny = np.zeros(_SECTORS, dtype=bool)
    sunny[sector[held]] = True
    for start, end in zip(starts[sunny].tolist(), ends[sunny].tolist(), strict=True):
        np.cumsum(of_sun[start:end], axis=0, out=of_sun[start:end])
    of_sky = np.stack(constant, axis=1) if constant else np.empty((int(ends[-1]), 0))
    return BlockingTable(of_sun.astype(np.float32), of_sky.astype(np.float32), reach, sunny)


def sky_by_cell(plane: Plane, reach: Ints | None = None) -> Floats:
    """View of the sky that a skyline takes from a plane. Shape (sum of reach,)."""
    reach = FULL_REACH if reach is None else reach
    starts = np.repeat(np.cumsum(reach) - reach, reach)
    level = (np.arange(len(starts)) - starts) * STEP_DEG
    middle = np.repeat(sector_middles(), reach)
    sky = sky_above(level, middle, plane.tilt_deg, plane.azimuth_deg)
    return floats((sky[starts] - sky) * np.radians(GRID_DEG))


def direction_cells(sun: SunYear) -> tuple[Ints, Ints]:
    """Sector and level of each row: its light is lost once the skyline reaches that level."""
    sector = np.minimum((sun.azimuth_deg / GRID_DEG).astype(np.int64), _SECTORS - 1)
    level = np.minimum(np.floor(sun.elevation_deg / STEP_DEG).astype(np.int64) + 1, LEVELS - 1)
    return sector, level


def reach_of(layers: Sequence[DrawnHorizons]) -> Ints:
    """How many levels drawn horizons reach into, sector by sector. Shape (sectors,)."""
    highest = np.max([layer.elevation_deg.max(axis=0) for layer in layers], axis=0)
    levels = (np.maximum(highest, 0.0) / STEP_DEG).astype(np.int64) + 2
    return np.asarray(np.minimum(levels, LEVELS))


@dataclass(frozen=True, eq=False)
class Lookup:
    """Where drawn horizons stand in any table, and by how much each row there counts."""

    # Months in which every layer lets as much through as in another are looked up together; one
    # matrix a layer
    states: tuple[tuple[Ints, tuple[_Matrix, ...]], ...]

    def losses(self, table: BlockingTable) -> Floats:
        """Sums over all sectors. Shape (n, blocks + constants, 12)."""
        blocks = table.of_sun.shape[1] // _MONTHS
        n = len(self.states[0][1][0].row)
        result = np.zeros((n, blocks + table.of_sky.shape[1], _MONTHS))
        for months, matrices in self.states:
            of_sun = table.of_sun
            if len(months) < _MONTHS:
                columns = np.concatenate([b * _MONTHS + months for b in range(blocks)])
                of_sun = np.ascontiguousarray(of_sun[:, columns])
            sun = np.zeros((n, of_sun.shape[1]))
            sky = np.zeros((n, table.of_sky.shape[1]))
            for matrix in matrices:
                sun += matrix.times(of_sun, table.sunny)
                sky += matrix.times(table.of_sky)
            result[:, :blocks, months] = sun.reshape(n, blocks, len(months))
            result[:, blocks:, months] = sky[:, :, None]
        return result


def look_up(layers: Sequence[DrawnHorizons], transmittance: Floats, reach: Ints) -> Lookup:
    """Find every drawn horizon's rows once, for the tables of all planes."""
    height = np.stack([layer.elevation_deg for layer in layers])
    order = np.argsort(height, axis=0, kind="stable") if len(layers) > 1 else None
    if order is not None:
        height = np.take_along_axis(height, order, axis=0)
    states, which = np.unique(transmittance, axis=1, return_inverse=True)
    found = []
    for s, tau in enumerate(states.T):
        if order is None:
            weights = [floats(1.0 - tau[0])]
        else:
            # A slice of height between two skylines loses what passes none of those above it.
            lost = 1.0 - np.cumprod(tau[order][::-1], axis=0)[::-1]
            weights = list(lost - np.concatenate([lost[1:], np.zeros((1, *lost.shape[1:]))]))
        matrices = tuple(_matrix(h, w, reach) for h, w in zip(height, weights, strict=True))
        found.append((np.flatnonzero(which == s), matrices))
    return Lookup(tuple(found))


@dataclass(frozen=True, eq=False)
class _Matrix:
    """For each draw two rows of a table a sector, and what they count."""

    row: NDArray[np.int32]  # Shape (n, sectors, 2)
    value: Singles  # Shape (n, sectors, 2)
    size: int  # Rows of the table

    def times(self, table: Singles, sectors: Bools | None = None) -> Any:
        """Sums of a table's rows over all sectors, or over some. Shape (n, columns)."""
        from scipy.sparse import csr_matrix

        row, value = self.row, self.value
        if sectors is not None:
            row, value = row[:, sectors], value[:, sectors]
        n = len(row)
        pointer = np.arange(n + 1, dtype=np.int32) * (2 * row.shape[1])
        return csr_matrix((value.ravel(), row.ravel(), pointer), shape=(n, self.size)) @ table


def _matrix(height_deg: Floats, weight: Floats, reach: Ints) -> _Matrix:
    n, sectors = height_deg.shape
    at = np.clip(height_deg, 0.0, 90.0) / STEP_DEG
    level = np.minimum(at.astype(np.int32), LEVELS - 2)
    upper = at - level
    row = np.empty((n, sectors, 2), dtype=np.int32)
    row[:, :, 0] = level + (np.cumsum(reach) - reach).astype(np.int32)
    row[:, :, 1] = row[:, :, 0] + 1
    value = np.empty((n, sectors, 2), dtype=np.float32)
    value[:, :, 0] = 1.0 - upper
    value[:, :, 1] = upper
    value *= (weight if weight.ndim == 0 else weight[:, :, None]).astype(np.float32)
    return _Matrix(row, value, int(reach.sum()))


def draw_layers(
    surroundings: Surroundings, n: int, rng: np.random.Generator, unmeasured_deg: float
) -> tuple[DrawnHorizons, ...]:
    """Draw every layer; measured layers of one survey share their heading and level error."""
    turn, lift = rng.standard_normal(n), rng.standard_normal(n)
    drawn = []
    for layer in surroundings.layers:
        sure = 1.0 if layer.measured else 0.0
        profile = layer.profile
        drawn.append(
            draw_horizons(
                profile,
                n,
                rng,
                unmeasured_deg,
                turn * profile.heading_error_deg * sure,
                lift * profile.level_error_deg * sure,
            )
        )
    return tuple(drawn)
