"""What each pass says between neighbouring nodes of the skyline: a mean direction.

Vertical edges are nodes twice, once for each side; the rows of a pass are put to the side they
were taken on before they are averaged.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from logger.arrays import Bools, Columns, Floats, Ints, floats, stacked
from logger.geometry import angle_between, wrap360
from logger.horizon_fit.edges import EDGE_WIDTH_DEG, PASS_ERROR_DEG, Climb, Edge
from logger.horizon_fit.passes import CELLS, NOISE_TIME_S, STEP_DEG, Pass

BESIDE_DEG = 1e-6  # How far beside an edge a row is put that belongs to one of its sides
# Rows within this of a climb belong to the one or the other side of its edge (common practice,
# no source). [s], [deg]
NEAR_S, NEAR_DEG = 3.0, 3.0


@dataclass(frozen=True, eq=False)
class CellMeans(Columns):
    """Mean direction of each pass between neighbouring nodes; a row a pass and interval."""

    index: Ints  # Of the pass. Shape (M,)
    azimuth_deg: Floats  # 0 to 360. [deg] Shape (M,)
    elevation_deg: Floats  # [deg] Shape (M,)
    # As if the errors of neighbours were independent: a mean is worth its time in units of the
    # time over which noise is alike. 1 sigma along either axis. [deg] Shape (M,)
    random_deg: Floats
    slow_deg: Floats  # What stays alike along the pass. [deg] Shape (M,)
    sweep: Ints  # Shape (M,)
    held: Bools  # From a line through held corners, along which errors are alike. Shape (M,)


def nodes_for(edges: Sequence[Edge]) -> Floats:
    """The grid, every edge twice, and no grid node so near an edge that it would be idle."""
    grid = np.arange(CELLS) * STEP_DEG
    at = floats([e.azimuth_deg for e in edges])
    if at.size:
        near = np.abs(angle_between(grid[:, None], at)).min(axis=1)
        grid = grid[near > 0.3 * STEP_DEG]
    return floats(np.sort(np.r_[grid, at, at], kind="stable"))


def cell_means(
    passes: Sequence[Pass], edges: Sequence[Edge], nodes_deg: Floats, tremor_deg: float
) -> CellMeans:
    """Average the rows of every pass between neighbouring nodes."""
    if not passes:
        none, number = floats([]), np.zeros(0, dtype=np.int64)
        return CellMeans(number, none, none, none, none, number, number.astype(bool))
    return stacked(
        [_means_of(i, one, edges, nodes_deg, tremor_deg) for i, one in enumerate(passes)]
    )


def _means_of(
    index: int, one: Pass, edges: Sequence[Edge], nodes_deg: Floats, tremor_deg: float
) -> CellMeans:
    azimuth, telling = placed(index, one, edges, tremor_deg)
    n = nodes_deg.size
    x, seconds = azimuth[telling], one.seconds[telling]
    cell = np.searchsorted(nodes_deg, x, side="right") % n
    time = np.bincount(cell, seconds, n)
    full = np.flatnonzero(time > 0)
    # The last and the first node enclose north: unwrap their cell round 0 before averaging.
    x = np.where((cell == 0) & (x > 180.0), x - 360.0, x)

    def mean(column: Floats) -> Floats:
        return floats(np.bincount(cell, seconds * column, n)[full] / time[full])

    return CellMeans(
        np.full(full.size, index),
        floats(wrap360(mean(x))),
        mean(one.elevation_deg[telling]),
        floats(mean(one.noise_deg[telling]) * np.sqrt(NOISE_TIME_S / time[full])),
        floats(np.hypot(mean(one.slow_deg[telling]), PASS_ERROR_DEG)),
        np.full(full.size, one.sweep),
        np.full(full.size, one.held),
    )


def placed(index: int, one: Pass, edges: Sequence[Edge], tremor_deg: float) -> tuple[Floats, Bools]:
    """Where along the skyline each row of a pass belongs, and which rows tell of it.

    Rows before a climb belong to one side of its edge and rows after it to the other, wherever
    tremor put them; the pass's offset at an edge is taken out near it, and dies away in time as
    the tremor changes. Rows of the climb itself tell nothing of either side.
    """
    x = np.array(one.path_deg)
    telling = np.ones(len(one), dtype=bool)
    own: list[tuple[Climb, float]] = []
    for edge in edges:
        climb = edge.climb_of(index)
        if climb is None:
            near = np.abs(angle_between(x, edge.azimuth_deg))
            # On a noisy pass the climb itself is scattered further.
            low = min(c.low_deg for c in edge.climbs) + 1.0
            high = max(c.high_deg for c in edge.climbs) - 1.0
            between = (one.elevation_deg > low) & (one.elevation_deg < high)
            noisy = between & (near < 4.0 * (one.noise_deg - tremor_deg))
            telling &= (near > EDGE_WIDTH_DEG) & ~noisy
        else:
            turn = float(angle_between(edge.azimuth_deg, climb.path_deg))
            own.append((climb, climb.path_deg + turn))
            telling[climb.first : climb.last + 1] = False
    if own:
        x += _offset(one, own)
        for climb, at in own:
            _put_beside(x, one, climb, at)
    return floats(wrap360(x)), telling


def _offset(one: Pass, own: Sequence[tuple[Climb, float]]) -> Floats:
    """What brings a pass to the edges it climbed, near them in time. Shape (N,). [deg]."""
    shift, share = np.zeros(len(one)), np.zeros(len(one))
    for climb, at in own:
        start, end = one.t_s[climb.first], one.t_s[climb.last]
        away = np.maximum(np.maximum(start - one.t_s, one.t_s - end), 0.0)
        pull = np.exp(-((away / NOISE_TIME_S) ** 2))
        shift += pull * (at - climb.path_deg)
        share += pull
    return floats(shift / np.maximum(share, 1.0))


def _put_beside(x: Floats, one: Pass, climb: Climb, at_deg: float) -> None:
    """Keep rows before a climb on their side of its edge, and rows after it on theirs."""
    times = [one.t_s[climb.first] - NEAR_S, one.t_s[climb.last] + NEAR_S]
    start, end = np.searchsorted(one.t_s, times).tolist()
    rows = np.arange(start, end)
    rows = rows[np.abs(x[rows] - at_deg) < NEAR_DEG]
    before, after = rows[rows < climb.first], rows[rows > climb.last]
    below, above = (before, after) if one.clockwise else (after, before)
    x[below] = np.minimum(x[below], at_deg - BESIDE_DEG)
    x[above] = np.maximum(x[above], at_deg + BESIDE_DEG)
