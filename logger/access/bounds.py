"""The spread of access over many drawn horizons, at the price of a few.

All that does not depend on the horizon is summed once into a table: for every sector of azimuth
(0.5 degrees) and every elevation (0.25 degrees) what a skyline up to there would take, by month, of
the beam, of all light from the sun's direction, and of the plane's view of the sky. A drawn horizon
is then one row lookup a sector, with straight lines between elevations; a thousand horizons are one
product of a sparse matrix (which rows, how much) with the table.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from logger.access.irradiance import KWH_A_MINUTE, PlaneLight
from logger.access.settings import Plane
from logger.access.sky_view import sky_above
from logger.access.surroundings import Surroundings
from logger.columns import Floats, Ints, floats
from logger.draws import GRID_DEG, DrawnHorizons, draw_horizons, sector_middles
from logger.sun import SunYear

STEP_DEG = 0.25
_LEVELS = int(90 / STEP_DEG) + 1
BEAM, SUNWARD = slice(0, 12), slice(12, 24)
SKY = 24


@dataclass(frozen=True, eq=False)
class BlockingTable:
    """What a skyline takes, by sector of azimuth and elevation.

    Parameters
    ----------
    rows : array, shape (A * levels, 25)
        Twelve months of beam, twelve of beam and circumsolar [kWh/m2], the view of the sky;
        cumulated from level upwards.
    """

    rows: Floats


def blocking_table(plane: Plane, sun: SunYear, cell: Ints, light: PlaneLight) -> BlockingTable:
    """Sum a plane's year by direction.

    Parameters
    ----------
    plane : Plane
    sun : SunYear
    cell : int array, shape (N,)
        `direction_cells` of the sun.
    light : PlaneLight
    """
    sectors = round(360.0 / GRID_DEG)
    size = sectors * _LEVELS
    table = np.zeros((sectors, _LEVELS, 25))
    starts = np.searchsorted(sun.month, np.arange(13))  # rows are in order of time
    both = light.beam_wm2 + light.circumsolar_wm2
    for m in range(12):
        rows = slice(starts[m], starts[m + 1])
        for column, values in ((m, light.beam_wm2), (12 + m, both)):
            table[:, :, column] = np.bincount(cell[rows], values[rows], minlength=size).reshape(
                sectors, _LEVELS
            )
    table[:, :, :24] *= KWH_A_MINUTE
    np.cumsum(table, axis=1, out=table)
    level = np.arange(_LEVELS) * STEP_DEG
    middle = sector_middles()[:, None]
    sky = sky_above(level, middle, plane.tilt_deg, plane.azimuth_deg)
    table[:, :, SKY] = (sky[:, :1] - sky) * np.radians(GRID_DEG)
    return BlockingTable(table.reshape(size, 25))


def direction_cells(sun: SunYear) -> Ints:
    """The cell of each row: its light is lost once the skyline reaches the cell's upper edge."""
    sector = np.minimum((sun.azimuth_deg / GRID_DEG).astype(np.int64), round(360 / GRID_DEG) - 1)
    level = np.minimum(np.floor(sun.elevation_deg / STEP_DEG).astype(np.int64) + 1, _LEVELS - 1)
    return sector * _LEVELS + level


@dataclass(frozen=True, eq=False)
class DrawnLoss:
    """Losses of every drawn horizon.

    Parameters
    ----------
    beam_kwh_m2, sunward_kwh_m2 : array, shape (n, 12)
        [kWh/m2]
    sky_view : array, shape (n, 12)
        Loss of the plane's sky view factor.
    """

    beam_kwh_m2: Floats
    sunward_kwh_m2: Floats
    sky_view: Floats


def drawn_losses(
    table: BlockingTable, layers: tuple[DrawnHorizons, ...], transmittance: Floats
) -> DrawnLoss:
    """Look every drawn horizon up.

    Parameters
    ----------
    table : BlockingTable
    layers : tuple of DrawnHorizons
        Of one length n; the same draw of every layer belongs together.
    transmittance : array, shape (L, 12)
    """
    n = len(layers[0])
    height = np.stack([layer.elevation_deg for layer in layers])
    order = np.argsort(height, axis=0, kind="stable") if len(layers) > 1 else None
    if order is not None:
        height = np.take_along_axis(height, order, axis=0)
    beam, sunward, sky = np.zeros((n, 12)), np.zeros((n, 12)), np.zeros((n, 12))
    # Months in which every layer lets as much through as in another are looked up together.
    states, which = np.unique(transmittance, axis=1, return_inverse=True)
    for s, tau in enumerate(states.T):
        months = np.flatnonzero(which == s)
        columns = np.concatenate([months, months + 12, [SKY]])
        weights = []
        if order is None:
            weights.append(floats(1.0 - tau[0]))
        else:
            # A slice of height between two skylines loses what passes none of those above it.
            lost = 1.0 - np.cumprod(tau[order][::-1], axis=0)[::-1]
            weights += list(lost - np.concatenate([lost[1:], np.zeros((1, *lost.shape[1:]))]))
        rows = table.rows if len(months) == 12 else np.ascontiguousarray(table.rows[:, columns])
        total = np.zeros((n, rows.shape[1]))
        for h, w in zip(height, weights, strict=True):
            total += _lookup(rows, h, w)
        m = len(months)
        beam[:, months], sunward[:, months] = total[:, :m], total[:, m : 2 * m]
        sky[:, months] = total[:, -1:]
    return DrawnLoss(beam, sunward, sky)


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
    surroundings: Surroundings, n: int, seed: int, unmeasured_deg: float
) -> tuple[DrawnHorizons, ...]:
    """Draw every layer; measured layers of one survey share their heading and level error.

    Parameters
    ----------
    surroundings : Surroundings
    n, seed : int
    unmeasured_deg : float
        0 takes unmeasured sectors as open, 90 as blocked. [deg]
    """
    rng = np.random.default_rng(seed)
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
