"""The fused fit: one periodic skyline through all passes.

The skyline h is a function on nodes of azimuth with straight lines between them, and two nodes
of one azimuth at every vertical edge. It minimises

    sum_i w_i ((y_i - h(x_i)) / s_i)^2 + sum_k v_k (second difference of h at k)^2

over the mean directions (x_i, y_i) of each pass between neighbouring nodes. The weights w_i
lessen outliers; the weights v_k are found anew in every round from the second difference itself,
so that a bend that the passes show costs little and noise between bends costs much: fine where
the path moved, coarse where it is smooth. Nothing is penalised across an edge. The limits of this
file are common practice, no source.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.linalg import solveh_banded

from logger.arrays import Floats, Ints, floats
from logger.geometry import interpolate_azimuthal
from logger.horizon_fit.cells import CellMeans
from logger.horizon_fit.passes import CELLS, STEP_DEG, cell_of

OVERLAP_DEG = 30.0  # How far the circle is continued beyond north on both sides to close it
ROUNDS = 12  # Of reweighting
BEND_DEG = 0.04  # Second difference at one node that is typical of noise rather than of a bend
# Between two edges nearer than this the top is held to slopes of about that [deg], [deg/deg]
NARROW_DEG, NARROW_SLOPE = 2.5, 0.2
SLOPE_OVER_DEG = 0.5  # Slopes are taken over this to both sides
# What random errors may be raised by, to smooth more, or lowered, to smooth less
CAUTIONS = (0.5, 0.7, 1.0, 1.4, 2.0, 2.8, 4.0)
ENOUGH_DEG = 40.0  # Azimuth, times passes, that must be seen twice to choose between these
# Replicates of the errors that tell the standard error, and waves round the circle that slow
# errors are made of
REPLICATES, WAVES = 48, 12


@dataclass(frozen=True, eq=False)
class Fit:
    """A fitted skyline; two nodes of one azimuth are a vertical edge."""

    node_deg: Floats  # [deg] Shape (K,)
    elevation_deg: Floats  # [deg] Shape (K,)
    standard_error_deg: Floats  # Of tremor and attitude, as expected. [deg] Shape (K,)
    correlation_deg: float  # Azimuth over which errors are alike. [deg]
    random_deg: Floats  # Of each mean, on the fitted slope. [deg] Shape (M,)


@dataclass(frozen=True, eq=False)
class _Around:
    """The circle laid out flat, continued at both ends, with what the fit needs of it."""

    node: Floats
    inner: slice  # The nodes of the circle itself
    row: Ints  # Of the cell means, each where the circle shows it
    left: Ints  # Node to the left of each row
    share: Floats  # How far the row is on the way to the next node
    bend: Floats  # Second difference in terms of three nodes. Shape (total - 2, 3)
    scale: Floats  # Weight of the stiffness there; 0 across edges


def _laid_out(means: CellMeans, nodes_deg: Floats) -> _Around:
    before = nodes_deg[nodes_deg >= 360.0 - OVERLAP_DEG] - 360.0
    after = nodes_deg[nodes_deg <= OVERLAP_DEG] + 360.0
    node = np.concatenate([before, nodes_deg, after])
    x = np.concatenate([means.azimuth_deg + turn for turn in (-360.0, 0.0, 360.0)])
    inside = (x >= node[0]) & (x <= node[-1])
    row = np.tile(np.arange(len(means)), 3)[inside]
    x = x[inside]
    left = np.clip(np.searchsorted(node, x, side="right") - 1, 0, node.size - 2)
    width = np.diff(node)
    share = np.clip((x - node[left]) / np.maximum(width[left], 1e-12), 0.0, 1.0)
    one, two = width[:-1], width[1:]
    whole = (one > 0) & (two > 0)
    one, two = np.where(whole, one, 1.0), np.where(whole, two, 1.0)
    bend = STEP_DEG * np.stack([1 / one, -(1 / one + 1 / two), 1 / two], axis=1)
    inner = slice(before.size, before.size + nodes_deg.size)
    return _Around(floats(node), inner, row, left, floats(share), floats(bend), whole.astype(float))


def fit_skyline(means: CellMeans, nodes_deg: Floats, caution: float = 1.0) -> Fit:
    """Fit a periodic skyline to cell means, their random errors raised by the caution."""
    around = _laid_out(means, nodes_deg)
    value, weight, bands, lean = _smoothed(means, around, caution)
    random = max(1.0, caution) * means.random_deg * lean
    noise = _noise_replicates(means, random, lean)[around.row] * weight[:, None]
    found = solveh_banded(bands, _right_side(around, noise), check_finite=False)[around.inner]
    return Fit(
        nodes_deg,
        value[around.inner],
        floats(np.sqrt((found**2).mean(axis=1))),
        _correlation_length(found, nodes_deg),
        random,
    )


def _smoothed(
    means: CellMeans, around: _Around, caution: float
) -> tuple[Floats, Floats, Floats, Floats]:
    """The skyline at all nodes, the rows' weights and the normal matrix that it comes from.

    Last, what the slope of the skyline makes of an error of a mean. Shape (M,)
    """
    row, left, share = around.row, around.left, around.share
    y = means.elevation_deg[row]
    bend = np.full(around.node.size - 2, BEND_DEG)
    robust, lean = np.ones(row.size), np.ones(len(means))
    for turn in range(ROUNDS):
        random = means.random_deg * lean
        error = np.hypot(random, means.slow_deg)[row]
        weight = robust / np.hypot(caution * random, means.slow_deg)[row] ** 2
        bands = _normal_matrix(around, weight, bend)
        right = _right_side(around, (weight * y)[:, None])
        value = solveh_banded(bands, right, check_finite=False)[:, 0]
        away = (y - (1 - share) * value[left] - share * value[left + 1]) / error
        robust = 1.0 / np.maximum(1.0, np.abs(away) / 2.0)
        # Second differences follow a heavy-tailed law: each one's own size sets its scale.
        three = np.stack([value[:-2], value[1:-1], value[2:]], axis=1)
        bend = np.hypot((around.bend * three).sum(axis=1), BEND_DEG / 4.0)
        if turn >= 2:
            # On a slope the error across counts as well.
            nodes, inner = around.node[around.inner], value[around.inner]
            lean = np.hypot(1.0, slope_at(means.azimuth_deg, nodes, inner, SLOPE_OVER_DEG))
    return value, weight, bands, lean


def caution_of(means: CellMeans, nodes_deg: Floats) -> float:
    """The caution with which passes foretell each other best; 1 where they cannot be held so.

    The tremor's errors are alike for longer than they are taken to be, by how much nobody knows;
    and a smooth ridge bears more smoothing than a forest. Every second pass is fitted alone and
    held against the others, there and back, so that what both show counts as skyline and what one
    alone shows as tremor.
    """
    best = 1.0, np.inf
    odd = means.index % 2 == 1
    for caution in CAUTIONS:
        missed = count = 0.0
        for told in (odd, ~odd):
            one, other = means.rows(told), means.rows(~told)
            told_in = np.isin(np.arange(CELLS), cell_of(one.azimuth_deg))
            near = told_in[cell_of(other.azimuth_deg)]
            around = _laid_out(one, nodes_deg)
            value = _smoothed(one, around, caution)[0][around.inner]
            foretold = interpolate_azimuthal(other.azimuth_deg, nodes_deg, value)
            error = np.hypot(other.random_deg, other.slow_deg)
            away = np.abs((other.elevation_deg - foretold) / error)[near]
            missed += float(np.where(away < 2.0, away**2, 4.0 * away - 4.0).sum())
            count += away.size
        if count * STEP_DEG >= ENOUGH_DEG and missed / count < best[1]:
            best = caution, missed / count
    return best[0]


def slope_at(
    azimuth_deg: Floats, node_deg: Floats, value_deg: Floats, half_deg: Floats | float
) -> Floats:
    """Slope of a skyline over a stretch to both sides, round the circle. Shape (M,). [deg/deg]."""
    ahead = interpolate_azimuthal(azimuth_deg + half_deg, node_deg, value_deg)
    behind = interpolate_azimuthal(azimuth_deg - half_deg, node_deg, value_deg)
    return floats((ahead - behind) / (2.0 * half_deg))


def _normal_matrix(around: _Around, weight: Floats, bend: Floats) -> Floats:
    """Upper bands, as for ``solveh_banded``, of the penalised fit. Shape (3, total)."""
    left, share, total = around.left, around.share, around.node.size
    bands = np.zeros((3, total))
    bands[2] += np.bincount(left, weight * (1 - share) ** 2, total)
    bands[2] += np.bincount(left + 1, weight * share**2, total)
    bands[1] += np.bincount(left + 1, weight * share * (1 - share), total)
    v, c = around.scale / bend**2, around.bend
    for k in range(3):
        bands[2, k : total - 2 + k] += v * c[:, k] ** 2
    bands[1, 1:-1] += v * c[:, 0] * c[:, 1]
    bands[1, 2:] += v * c[:, 1] * c[:, 2]
    bands[0, 2:] += v * c[:, 0] * c[:, 2]
    # Narrow pieces between edges, whose slope no pass can show, are held near level.
    edge = np.flatnonzero(np.diff(around.node) == 0)
    for a, b in zip(edge[:-1] + 1, edge[1:], strict=True):
        if b > a and around.node[b] - around.node[a] < NARROW_DEG:
            pull = 1.0 / (NARROW_SLOPE * np.diff(around.node[a : b + 1])) ** 2 / (b - a)
            bands[2, a:b] += pull
            bands[2, a + 1 : b + 1] += pull
            bands[1, a + 1 : b + 1] -= pull
    # A whisper of a pull to level keeps the equations definite where nothing was measured.
    bands[2] += 1e-9 + 1e-12 * bands[2].max()
    return bands


def _right_side(around: _Around, each: Floats) -> Floats:
    """What weighted values at the rows, a column a case, come to at the nodes."""
    rhs = np.zeros((around.node.size, each.shape[1]))
    np.add.at(rhs, around.left, each * (1 - around.share)[:, None])
    np.add.at(rhs, around.left + 1, each * around.share[:, None])
    return rhs


def _noise_replicates(means: CellMeans, random: Floats, lean: Floats) -> Floats:
    """Replicates of the means' errors: white, and slow along each pass. Shape (M, R). [deg].

    Always the same replicates, so that the same recording gives the same result.
    """
    rng = np.random.default_rng(20260321)
    noise = rng.standard_normal((random.size, REPLICATES)) * random[:, None]
    k = np.arange(1, WAVES + 1)
    # What a gyro carries on is alike in all passes of one sweep.
    for sweep in np.unique(means.sweep):
        rows = means.sweep == sweep
        angle = np.radians(means.azimuth_deg[rows])[:, None] * k
        size = rng.standard_normal((2, k.size, REPLICATES)) / np.sqrt(k.size)
        slow = np.cos(angle) @ size[0] + np.sin(angle) @ size[1]
        alike = np.where(means.held[rows], random[rows], 0.0)
        noise[rows] *= ~means.held[rows, None]
        across = means.slow_deg[rows] * lean[rows]
        noise[rows] += np.hypot(across, alike)[:, None] * slow
    return floats(noise)


def _correlation_length(replicates: Floats, nodes_deg: Floats) -> float:
    """Azimuth at which replicates' autocorrelation has fallen to 1/e. [deg]."""
    step = 0.5
    grid = np.arange(0.0, 360.0, step)
    near = np.minimum(np.searchsorted(nodes_deg, grid), nodes_deg.size - 1)
    scaled = replicates[near] / np.maximum(replicates[near].std(axis=1, keepdims=True), 1e-12)
    power = np.abs(np.fft.rfft(scaled, axis=0)) ** 2
    auto = np.fft.irfft(power.mean(axis=1), scaled.shape[0])
    below = np.flatnonzero(auto < np.exp(-1.0) * auto[0])
    return float(below[0] * step) if below.size else 180.0
