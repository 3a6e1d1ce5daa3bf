"""The fused fit: one periodic skyline through all passes.

The skyline h is a function on nodes of azimuth with straight lines between them, and two nodes
of one azimuth at every vertical edge. It minimises

    sum_i w_i ((y_i - h(x_i)) / s_i)^2 + sum_k v_k (second difference of h at k)^2

over the mean directions (x_i, y_i) of each pass between neighbouring nodes. The weights w_i
lessen outliers; the weights v_k are found anew in every round from the second difference itself,
so that a bend that the passes show costs little and noise between bends costs much: fine where
the path moved, coarse where it is smooth. Nothing is penalised across an edge.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, fields

import numpy as np

from logger.arrays import Bools, Floats, Ints, floats
from logger.geometry import angle_between, interpolate_azimuthal, wrap360
from logger.horizon_fit.edges import Climb, Edge
from logger.horizon_fit.passes import Leg
from logger.horizon_fit.settings import HorizonSettings

_BESIDE_DEG = 1e-6  # how far beside an edge a row is put that belongs to one of its sides


@dataclass(frozen=True, eq=False)
class CellMeans:
    """Mean direction of each pass between neighbouring nodes; a row a pass and interval."""

    leg: Ints  # Shape (M,)
    azimuth_deg: Floats  # 0 to 360. [deg] Shape (M,).
    elevation_deg: Floats  # [deg] Shape (M,)
    seconds: Floats  # Time spent. [s] Shape (M,).
    noise_deg: Floats  # Random error of one row along either axis, 1 sigma. [deg] Shape (M,).
    slow_deg: Floats  # What stays alike along the pass. [deg] Shape (M,).
    recording: Ints  # Shape (M,)
    held: Bools  # From a line through held vertices, along which errors are alike. Shape (M,).


@dataclass(frozen=True, eq=False)
class Fit:
    """A fitted skyline; two nodes of one azimuth are a vertical edge."""

    node_deg: Floats  # [deg] Shape (K,)
    elevation_deg: Floats  # [deg] Shape (K,)
    standard_error_deg: Floats  # [deg] Shape (K,)
    correlation_deg: float  # [deg]
    scatter: float  # By how much the passes differ more than expected; the standard errors hold it


def nodes_for(edges: Sequence[Edge], step_deg: float) -> Floats:
    """The grid, every edge twice, and no grid node so near an edge that it would be idle."""
    grid = np.arange(round(360.0 / step_deg)) * step_deg
    at = floats([e.azimuth_deg for e in edges])
    if at.size:
        near = np.abs(angle_between(grid[:, None], at)).min(axis=1)
        grid = grid[near > 0.3 * step_deg]
    return floats(np.sort(np.r_[grid, at, at], kind="stable"))


def placed(
    index: int, leg: Leg, edges: Sequence[Edge], settings: HorizonSettings
) -> tuple[Floats, Bools]:
    """Where along the skyline each row of a leg belongs, and which rows tell of it.

    Rows before a climb belong to one side of its edge and rows after it to the other, wherever
    tremor put them; the leg's offset at an edge is taken out near it, and dies away in time as
    the tremor changes. Rows of the climb itself tell nothing of either side.
    """
    x = np.array(leg.path_deg)
    telling = np.ones(len(leg), dtype=bool)
    own: list[tuple[Climb, float]] = []
    for edge in edges:
        climb = next((c for c in edge.climbs if c.leg == index), None)
        if climb is None:
            near = np.abs(angle_between(x, edge.azimuth_deg))
            telling &= near > settings.edge_width_deg
            # On a noisy leg the climb itself is scattered further.
            low = min(c.low_deg for c in edge.climbs) + 1.0
            high = max(c.high_deg for c in edge.climbs) - 1.0
            between = (leg.elevation_deg > low) & (leg.elevation_deg < high)
            telling &= ~(between & (near < 4.0 * (leg.noise_deg - settings.sight_noise_deg)))
        else:
            turn = float(angle_between(edge.azimuth_deg, climb.path_deg))
            own.append((climb, climb.path_deg + turn))
            telling[climb.first : climb.last + 1] = False
    if own:
        shift, share = np.zeros(len(leg)), np.zeros(len(leg))
        for climb, at in own:
            start, end = leg.t_s[climb.first], leg.t_s[climb.last]
            away = np.maximum(np.maximum(start - leg.t_s, leg.t_s - end), 0.0)
            pull = np.exp(-((away / settings.noise_time_s) ** 2))
            shift += pull * (at - climb.path_deg)
            share += pull
        x += shift / np.maximum(share, 1.0)
        for climb, at in own:
            reach = slice(
                int(np.searchsorted(leg.t_s, leg.t_s[climb.first] - 3.0)),
                int(np.searchsorted(leg.t_s, leg.t_s[climb.last] + 3.0)),
            )
            rows = np.arange(len(leg))[reach]
            near = np.abs(x[reach] - at) < 3.0
            earlier, later = rows[near & (rows < climb.first)], rows[near & (rows > climb.last)]
            below, above = (earlier, later) if leg.clockwise else (later, earlier)
            x[below] = np.minimum(x[below], at - _BESIDE_DEG)
            x[above] = np.maximum(x[above], at + _BESIDE_DEG)
    return floats(wrap360(x)), telling


def cell_means(
    index: int, leg: Leg, edges: Sequence[Edge], nodes_deg: Floats, settings: HorizonSettings
) -> CellMeans:
    """Average one leg's rows between neighbouring nodes."""
    azimuth, telling = placed(index, leg, edges, settings)
    n = nodes_deg.size
    cell = np.searchsorted(nodes_deg, azimuth[telling], side="right") % n
    seconds = leg.seconds[telling]
    time = np.bincount(cell, seconds, n)
    full = np.flatnonzero(time > 0)
    # The last and the first node enclose north: unwrap their cell round 0 before averaging.
    x = azimuth[telling]
    x = np.where((cell == 0) & (x > 180.0), x - 360.0, x)

    def mean(column: Floats) -> Floats:
        return floats(np.bincount(cell, seconds * column, n)[full] / time[full])

    return CellMeans(
        np.full(full.size, index).astype(np.int64),
        floats(wrap360(mean(x))),
        mean(leg.elevation_deg[telling]),
        floats(time[full]),
        mean(leg.noise_deg[telling]),
        floats(np.hypot(mean(leg.slow_deg[telling]), settings.pass_error_deg)),
        np.full(full.size, leg.recording).astype(np.int64),
        np.full(full.size, leg.held),
    )


def joined(parts: Sequence[CellMeans]) -> CellMeans:
    """Cell means of several legs in one table."""
    names = [f.name for f in fields(CellMeans)]
    return CellMeans(*(np.concatenate([getattr(p, name) for p in parts]) for name in names))


@dataclass(frozen=True, eq=False)
class _Around:
    """The circle laid out flat, continued at both ends, with what the fit needs of it."""

    node: Floats
    inner: slice
    row: Ints
    left: Ints
    share: Floats
    bend: Floats  # second difference in terms of three nodes, shape (total - 2, 3)
    scale: Floats  # weight of the stiffness there; 0 across edges


def _laid_out(means: CellMeans, nodes_deg: Floats, settings: HorizonSettings) -> _Around:
    overlap, step = settings.overlap_deg, settings.step_deg
    before = nodes_deg[nodes_deg >= 360.0 - overlap] - 360.0
    after = nodes_deg[nodes_deg <= overlap] + 360.0
    # A pair of nodes at the very ends must not be torn apart.
    node = np.concatenate([before, nodes_deg, after])
    x = np.concatenate([means.azimuth_deg + turn for turn in (-360.0, 0.0, 360.0)])
    inside = (x >= node[0]) & (x <= node[-1])
    row = np.tile(np.arange(means.azimuth_deg.size), 3)[inside]
    x = x[inside]
    left = np.clip(np.searchsorted(node, x, side="right") - 1, 0, node.size - 2)
    width = np.diff(node)
    share = np.clip((x - node[left]) / np.maximum(width[left], 1e-12), 0.0, 1.0)
    one, two = width[:-1], width[1:]
    whole = (one > 0) & (two > 0)
    one, two = np.where(whole, one, 1.0), np.where(whole, two, 1.0)
    bend = step * np.stack([1 / one, -(1 / one + 1 / two), 1 / two], axis=1)
    return _Around(
        floats(node),
        slice(before.size, before.size + nodes_deg.size),
        row,
        left,
        floats(share),
        floats(bend),
        whole.astype(float),
    )


def fit_skyline(
    means: CellMeans, nodes_deg: Floats, settings: HorizonSettings, replicates: int = 48
) -> Fit:
    """Fit a periodic skyline to cell means."""
    around = _laid_out(means, nodes_deg, settings)
    y, row, left, share = means.elevation_deg, around.row, around.left, around.share
    total = around.node.size
    ease = settings.bend_deg
    bend = np.full(total - 2, ease)
    value, robust = np.zeros(total), np.ones(row.size)
    slope = np.zeros(means.azimuth_deg.size)
    for turn in range(settings.rounds):
        random = _random_error(means, slope, settings)
        error = np.hypot(random, means.slow_deg)[row]
        bands, rhs = _normal_equations(around, y[row], robust / error**2, bend, settings)
        value = _solve(bands, rhs)
        away = (y[row] - (1 - share) * value[left] - share * value[left + 1]) / error
        robust = 1.0 / np.maximum(1.0, np.abs(away) / 2.0)
        # Second differences follow a heavy-tailed law: each one's own size sets its scale.
        size = np.abs((around.bend * _triples(value)).sum(axis=1))
        bend = np.hypot(size, ease / 4.0)
        if turn >= 2:
            slope = _slope_at(means, around, value)
    noise = _noise_replicates(means, random, slope, settings, replicates)
    found = _solve(bands, _right_side(around, noise[row] * (robust / error**2)[:, None]))
    found = found[around.inner]
    across = _across_error(nodes_deg, value[around.inner], means, settings)
    shown = np.hypot(random, means.slow_deg)
    scale = scatter(means, shown, around, value, settings)
    return Fit(
        nodes_deg,
        value[around.inner],
        floats(np.hypot(scale * np.sqrt((found**2).mean(axis=1)), across)),
        _correlation_length(found, nodes_deg),
        scale,
    )


def _across_error(
    nodes_deg: Floats, elevation_deg: Floats, means: CellMeans, settings: HorizonSettings
) -> Floats:
    """What an error of the azimuth makes of the elevation at slopes and edges. [deg]."""
    n = round(360.0 / settings.stretch_deg)
    stretch = np.minimum((means.azimuth_deg / settings.stretch_deg).astype(np.int64), n - 1)
    # Each pass errs on its own, so their mean errs less.
    pairs = np.unique(np.column_stack([means.leg, stretch]), axis=0)
    passes = np.maximum(np.bincount(pairs[:, 1], minlength=n), 1)
    size = settings.across_noise_deg / np.sqrt(passes)
    cosine = np.maximum(np.cos(np.radians(elevation_deg)), 0.05)
    reach = size[np.minimum((nodes_deg / settings.stretch_deg).astype(np.int64), n - 1)] / cosine
    after = interpolate_azimuthal(nodes_deg + reach, nodes_deg, elevation_deg)
    before = interpolate_azimuthal(nodes_deg - reach, nodes_deg, elevation_deg)
    return floats(np.abs(after - before) / 2.0)


def scatter(
    means: CellMeans, error: Floats, around: _Around, value: Floats, settings: HorizonSettings
) -> float:
    """How much further passes lie from the skyline than their errors explain; at least a half.

    Taken over stretches of five degrees, in which tremor averages out and drift does not, and
    where two passes or more can be held against each other. Each pulls the skyline towards
    itself, which hides ``1 / n`` of the square.
    """
    if means.azimuth_deg.size == 0:
        return 1.0
    predicted = np.interp(means.azimuth_deg, around.node, value)
    stretch = (means.azimuth_deg / settings.stretch_deg).astype(np.int64)
    key = means.leg * 1000 + stretch
    _, group = np.unique(key, return_inverse=True)
    weight = 1.0 / error**2
    size = np.bincount(group, weight)
    away = np.bincount(group, weight * (means.elevation_deg - predicted)) / size
    expected = np.hypot(size**-0.5, np.bincount(group, weight * means.slow_deg) / size)
    where = np.zeros(group.max() + 1, dtype=np.int64)
    where[group] = stretch
    passes = np.bincount(where)[where]
    again = passes > 1
    if again.sum() < 8:
        return 1.0
    square = (away / expected)[again] ** 2 / (1.0 - 1.0 / passes[again])
    # 0.455 is the median of the square of a standard normal number.
    return float(max(0.5, np.sqrt(np.median(square) / 0.455)))


def _triples(value: Floats) -> Floats:
    return np.stack([value[:-2], value[1:-1], value[2:]], axis=1)


def _random_error(means: CellMeans, slope: Floats, settings: HorizonSettings) -> Floats:
    """Error of each mean as if errors of neighbours were independent. Shape (M,). [deg].

    Noise is alike over `noise_time_s`, so a mean is worth its time in units of that. On a slope
    the error across counts as well.
    """
    lean = np.sqrt(1.0 + slope**2)
    return floats(means.noise_deg * lean * np.sqrt(settings.noise_time_s / means.seconds))


def _slope_at(means: CellMeans, around: _Around, value: Floats) -> Floats:
    """Slope of the fit about a degree round each mean, degrees up a degree across. Shape (M,)."""
    node, x, half = around.node, means.azimuth_deg, 0.5
    rise = np.interp(x + half, node, value) - np.interp(x - half, node, value)
    return floats(rise / (2.0 * half))


def _normal_equations(
    around: _Around, y: Floats, weight: Floats, bend: Floats, settings: HorizonSettings
) -> tuple[Floats, Floats]:
    """Upper bands (as for ``solveh_banded``) and right side of the penalised fit."""
    left, share, total = around.left, around.share, around.node.size
    bands = np.zeros((3, total))
    bands[2] += np.bincount(left, weight * (1 - share) ** 2, total)
    bands[2] += np.bincount(left + 1, weight * share**2, total)
    bands[1] += np.bincount(left + 1, weight * share * (1 - share), total)
    v, c = around.scale / bend**2, around.bend
    bands[2, :-2] += v * c[:, 0] ** 2
    bands[2, 1:-1] += v * c[:, 1] ** 2
    bands[2, 2:] += v * c[:, 2] ** 2
    bands[1, 1:-1] += v * c[:, 0] * c[:, 1]
    bands[1, 2:] += v * c[:, 1] * c[:, 2]
    bands[0, 2:] += v * c[:, 0] * c[:, 2]
    _add_levelling(bands, around, settings)
    # A whisper of a pull to level keeps the equations definite where nothing was measured.
    bands[2] += 1e-9 + 1e-12 * bands[2].max()
    rhs = np.bincount(left, weight * (1 - share) * y, total)
    return bands, floats(rhs + np.bincount(left + 1, weight * share * y, total))


def _add_levelling(bands: Floats, around: _Around, settings: HorizonSettings) -> None:
    """Hold narrow pieces between edges, whose slope no pass can show, near level."""
    edge = np.flatnonzero(np.diff(around.node) == 0)
    for a, b in zip(edge[:-1] + 1, edge[1:], strict=True):
        width = around.node[b] - around.node[a]
        if b > a and width < settings.narrow_deg:
            pull = 1.0 / (settings.narrow_slope * np.diff(around.node[a : b + 1])) ** 2 / (b - a)
            bands[2, a:b] += pull
            bands[2, a + 1 : b + 1] += pull
            bands[1, a + 1 : b + 1] -= pull


def _right_side(around: _Around, each: Floats) -> Floats:
    rhs = np.zeros((around.node.size, each.shape[1]))
    np.add.at(rhs, around.left, each * (1 - around.share)[:, None])
    np.add.at(rhs, around.left + 1, each * around.share[:, None])
    return rhs


def _solve(bands: Floats, rhs: Floats) -> Floats:
    from scipy.linalg import solveh_banded

    return floats(solveh_banded(bands, rhs, check_finite=False))


def _noise_replicates(
    means: CellMeans, random: Floats, slope: Floats, settings: HorizonSettings, count: int
) -> Floats:
    """Replicates of the means' errors: white, and slow along each leg. Shape (M, R). [deg].

    Always the same replicates, so that the same recording gives the same result.
    """
    rng = np.random.default_rng(20260321)
    noise = rng.standard_normal((random.size, count)) * random[:, None]
    k = np.arange(1, 13)
    # What a gyro carries on is alike in all passes of one recording.
    for recording in np.unique(means.recording):
        rows = means.recording == recording
        angle = np.radians(means.azimuth_deg[rows])[:, None] * k
        size = rng.standard_normal((2, k.size, count)) / np.sqrt(k.size)
        slow = np.cos(angle) @ size[0] + np.sin(angle) @ size[1]
        alike = np.where(means.held[rows], random[rows], 0.0)
        noise[rows] *= ~means.held[rows, None]
        across = means.slow_deg[rows] * np.sqrt(1.0 + slope[rows] ** 2)
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


def misfit(
    means: CellMeans, fit: Fit, middle_deg: Floats, settings: HorizonSettings
) -> tuple[Floats, Floats]:
    """How far passes lie apart, and how far all of them lie from the fit. Shape (C,) each.

    Both are means over `stretch_deg`, in which tremor averages out.
    """
    n = middle_deg.size
    width = max(1, round(settings.stretch_deg / settings.step_deg))
    kernel = np.fft.rfft(np.r_[np.ones(width), np.zeros(n - width)])
    high, low = np.full(n, -np.inf), np.full(n, np.inf)
    total, count = np.zeros(n), np.zeros(n)
    predicted = interpolate_azimuthal(means.azimuth_deg, fit.node_deg, fit.elevation_deg)
    for leg in np.unique(means.leg):
        rows = means.leg == leg
        cell = np.minimum((means.azimuth_deg[rows] / settings.step_deg).astype(np.int64), n - 1)
        away, there = np.zeros(n), np.zeros(n)
        away[cell] = means.elevation_deg[rows] - predicted[rows]
        there[cell] = 1.0
        away = np.fft.irfft(np.fft.rfft(away) * kernel, n)
        there = np.rint(np.fft.irfft(np.fft.rfft(there) * kernel, n))
        mean = np.roll(away / np.maximum(there, 1), -(width // 2))
        enough = np.roll(there >= width / 2, -(width // 2))
        high = np.where(enough, np.maximum(high, mean), high)
        low = np.where(enough, np.minimum(low, mean), low)
        total += np.where(enough, mean, 0.0)
        count += enough
    apart = np.where(high > low, high - low, 0.0)
    return floats(apart), floats(np.abs(total) / np.maximum(count, 1))
