"""The spread of access over many drawn horizons, at the price of a few.

All that does not depend on the horizon is summed once into a table: for every sector of azimuth
(0.5 degrees) and every elevation (0.25 degrees) what a skyline up to there would take, by month, of
the beam, of all light from the sun's direction, of the solar window, and of the plane's view of the
sky. A drawn horizon
is then one row lookup a sector, with straight lines between elevations; a thousand horizons are one
product of a sparse matrix (which rows, how much) with the table.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from logger.access.settings import Plane
from logger.access.sky_view import sky_above
from logger.access.surroundings import Surroundings
from logger.columns import Floats, Ints, floats
from logger.draws import GRID_DEG, DrawnHorizons, draw_horizons, sector_middles
from logger.sun import SunYear

STEP_DEG = 0.25
"""Height of the table's cells. [deg]"""

_SECTORS = round(360.0 / GRID_DEG)
_LEVELS = int(90 / STEP_DEG) + 1
_MONTHS = 12


@dataclass(frozen=True, eq=False)
class BlockingTable:
    """What a skyline takes, by sector of azimuth and elevation, cumulated from level upwards.

    Parameters
    ----------
    rows : array, shape (sectors * levels, 12 * blocks + constants)
        Blocks of twelve months each, then what is the same in every month.
    blocks, constants : int
    """

    rows: Floats
    blocks: int
    constants: int


def blocking_table(
    sun: SunYear, cell: Ints, monthly: Sequence[Floats], constant: Sequence[Floats] = ()
) -> BlockingTable:
    """Sum a year by direction.

    Parameters
    ----------
    sun : SunYear
    cell : int array, shape (N,)
        `direction_cells` of the sun.
    monthly : sequence of array, shape (N,)
        Amounts that come from the sun's direction; one block each.
    constant : sequence of array, shape (sectors, levels)
        Cumulated already.
    """
    size = _SECTORS * _LEVELS
    blocks, constants = len(monthly), len(constant)
    width = _MONTHS * blocks + constants
    flat = np.zeros(size * width)
    place = cell * width + sun.month
    for b, values in enumerate(monthly):
        np.add.at(flat, place + b * _MONTHS, values)
    table = flat.reshape(_SECTORS, _LEVELS, width)
    np.cumsum(table, axis=1, out=table)
    for c, values in enumerate(constant):
        table[:, :, blocks * _MONTHS + c] = values
    return BlockingTable(table.reshape(size, -1), blocks, constants)


def sky_by_cell(plane: Plane) -> Floats:
    """View of the sky that a skyline takes from a plane. Shape (sectors, levels)."""
    level = np.arange(_LEVELS) * STEP_DEG
    middle = sector_middles()[:, None]
    sky = sky_above(level, middle, plane.tilt_deg, plane.azimuth_deg)
    return floats((sky[:, :1] - sky) * np.radians(GRID_DEG))


def direction_cells(sun: SunYear) -> Ints:
    """The cell of each row: its light is lost once the skyline reaches the cell's upper edge."""
    sector = np.minimum((sun.azimuth_deg / GRID_DEG).astype(np.int64), _SECTORS - 1)
    level = np.minimum(np.floor(sun.elevation_deg / STEP_DEG).astype(np.int64) + 1, _LEVELS - 1)
    return sector * _LEVELS + level


def drawn_losses(
    table: BlockingTable, layers: Sequence[DrawnHorizons], transmittance: Floats
) -> Floats:
    """Look every drawn horizon up.

    Parameters
    ----------
    table : BlockingTable
    layers : sequence of DrawnHorizons
        Of one length n; the same draw of every layer belongs together.
    transmittance : array, shape (L, 12)

    Returns
    -------
    array, shape (n, blocks + constants, 12)
    """
    n = len(layers[0])
    height = np.stack([layer.elevation_deg for layer in layers])
    order = np.argsort(height, axis=0, kind="stable") if len(layers) > 1 else None
    if order is not None:
        height = np.take_along_axis(height, order, axis=0)
    width = table.blocks + table.constants
    result = np.zeros((n, width, _MONTHS))
    # Months in which every layer lets as much through as in another are looked up together.
    states, which = np.unique(transmittance, axis=1, return_inverse=True)
    for s, tau in enumerate(states.T):
        months = np.flatnonzero(which == s)
        columns = np.concatenate(
            [b * _MONTHS + months for b in range(table.blocks)]
            + [[table.blocks * _MONTHS + c] for c in range(table.constants)]
        ).astype(np.int64)
        if order is None:
            weights = [floats(1.0 - tau[0])]
        else:
            # A slice of height between two skylines loses what passes none of those above it.
            lost = 1.0 - np.cumprod(tau[order][::-1], axis=0)[::-1]
            weights = list(lost - np.concatenate([lost[1:], np.zeros((1, *lost.shape[1:]))]))
        rows = table.rows
        if len(months) < _MONTHS:
            rows = np.ascontiguousarray(rows[:, columns])
        total = np.zeros((n, rows.shape[1]))
        for h, w in zip(height, weights, strict=True):
            total += _lookup(rows, h, w)
        m = len(months)
        for b in range(table.blocks):
            result[:, b, months] = total[:, b * m : (b + 1) * m]
        for c in range(table.constants):
            result[:, table.blocks + c, months] = total[:, table.blocks * m + c, None]
    return result


def _lookup(rows: Floats, height_deg: Floats, weight: Floats) -> Floats:
    """Sum over sectors of the table at each draw's heights, times a weight. Shape (n, columns)."""
    from scipy.sparse import csr_matrix

    n, sectors = height_deg.shape
    at = np.clip(height_deg, 0.0, 90.0) / STEP_DEG
    level = np.minimum(at.astype(np.int32), _LEVELS - 2)
    upper = at - level
    index = np.empty((n, sectors, 2), dtype=np.int32)
    index[:, :, 0] = level + np.arange(sectors, dtype=np.int32) * _LEVELS
    index[:, :, 1] = index[:, :, 0] + 1
    value = np.empty((n, sectors, 2))
    value[:, :, 0] = 1.0 - upper
    value[:, :, 1] = upper
    if weight.ndim == 0:
        value *= weight
    else:
        value *= weight[:, :, None]
    pointer = np.arange(0, n * sectors * 2 + 1, sectors * 2, dtype=np.int32)
    matrix: Any = csr_matrix((value.ravel(), index.ravel(), pointer), shape=(n, len(rows)))
    return floats(matrix @ rows)


def draw_layers(
    surroundings: Surroundings, n: int, rng: np.random.Generator, unmeasured_deg: float
) -> tuple[DrawnHorizons, ...]:
    """Draw every layer; measured layers of one survey share their heading and level error.

    Parameters
    ----------
    surroundings : Surroundings
    n : int
    rng : numpy.random.Generator
    unmeasured_deg : float
        0 takes unmeasured sectors as open, 90 as blocked. [deg]
    """
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
