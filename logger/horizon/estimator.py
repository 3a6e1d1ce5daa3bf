"""The fused fit: one periodic skyline through all passes.

The skyline h is a function on nodes of azimuth with straight lines between them. It minimises

    sum_i w_i rho((y_i - h(x_i)) / s_i) + sum_k v_k (second difference of h at k)^2

over the mean directions (x_i, y_i) of each pass in each cell. The weights v_k are found anew in
every round from the second difference itself, so that a bend that the passes show costs little
and noise between bends costs much: fine where the path moved, coarse where it is smooth.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from logger.columns import Bools, Floats, Ints, floats


@dataclass(frozen=True, eq=False)
class CellMeans:
    """Mean direction of each pass in each cell it crossed; a row a pass and cell.

    Parameters
    ----------
    leg : int array, shape (M,)
    azimuth_deg : array, shape (M,)
        0 to 360. [deg]
    elevation_deg : array, shape (M,)
        [deg]
    error_deg : array, shape (M,)
        1 sigma. [deg]
    """

    leg: Ints
    azimuth_deg: Floats
    elevation_deg: Floats
    error_deg: Floats


@dataclass(frozen=True, eq=False)
class Fit:
    """A fitted skyline.

    Parameters
    ----------
    node_deg : array, shape (K,)
        [deg]
    elevation_deg : array, shape (K,)
        [deg]
    standard_error_deg : array, shape (K,)
        [deg]
    correlation_deg : float
        [deg]
    """

    node_deg: Floats
    elevation_deg: Floats
    standard_error_deg: Floats
    correlation_deg: float


@dataclass(frozen=True)
class Smoothing:
    """How stiff the fitted skyline is.

    Parameters
    ----------
    bend_deg : float
        Typical second difference of one node that is a bend rather than noise. [deg]
    rounds : int
        Of reweighting.
    overlap_deg : float
        How far the circle is continued beyond north on both sides to close it. [deg]
    replicates : int
        Noise replicates behind the standard error.
    """

    bend_deg: float = 0.02
    rounds: int = 12
    overlap_deg: float = 30.0
    replicates: int = 48


def fit_skyline(
    means: CellMeans, step_deg: float, smoothing: Smoothing, correlation_deg: float = 1.5
) -> Fit:
    """Fit a periodic skyline to cell means.

    Parameters
    ----------
    means : CellMeans
    step_deg : float
        Spacing of the nodes. [deg]
    smoothing : Smoothing
    correlation_deg : float
        Azimuth over which one pass's noise is alike. [deg]
    """
    n = round(360.0 / step_deg)
    extra = round(smoothing.overlap_deg / step_deg)
    total = n + 2 * extra
    x = np.concatenate([means.azimuth_deg + turn for turn in (-360.0, 0.0, 360.0)])
    position = x / step_deg + extra
    inside = (position >= 0) & (position <= total - 1)
    position = position[inside]
    which = np.tile(np.arange(means.azimuth_deg.size), 3)[inside]
    y, s = means.elevation_deg[which], means.error_deg[which]

    left = np.minimum(np.floor(position).astype(np.int64), total - 2)
    share = position - left
    value = np.zeros(total)
    robust = np.ones(y.size)
    bend = np.full(total - 2, smoothing.bend_deg)
    for _ in range(smoothing.rounds):
        bands, rhs = _normal_equations(left, share, y, robust / s**2, bend, total)
        value = _solve(bands, rhs)
        residual = (y - (1 - share) * value[left] - share * value[left + 1]) / s
        robust = 1.0 / np.maximum(1.0, np.abs(residual) / 2.0)
        # Second differences follow a heavy-tailed law: each one's own size sets its scale.
        bend = np.hypot(np.diff(value, 2), smoothing.bend_deg / 4.0)
    spread, correlation = _replicated(
        means, left, share, which, robust, s, bands, total, extra, n, smoothing, correlation_deg
    )
    keep = slice(extra, extra + n)
    return Fit(floats(np.arange(n) * step_deg), value[keep], spread, correlation)


def _normal_equations(
    left: Ints, share: Floats, y: Floats, weight: Floats, bend: Floats, total: int
) -> tuple[Floats, Floats]:
    """Upper bands (as for ``solveh_banded``) and right side of the penalised fit."""
    bands = np.zeros((3, total))
    bands[2] += np.bincount(left, weight * (1 - share) ** 2, total)
    bands[2] += np.bincount(left + 1, weight * share**2, total)
    bands[1] += np.bincount(left + 1, weight * share * (1 - share), total)
    v = 1.0 / bend**2
    bands[2, :-2] += v
    bands[2, 1:-1] += 4 * v
    bands[2, 2:] += v
    bands[1, 1:-1] -= 2 * v
    bands[1, 2:] -= 2 * v
    bands[0, 2:] += v
    # A whisper of a pull to level keeps the equations definite where nothing was measured.
    bands[2] += 1e-9
    rhs = floats(np.bincount(left, weight * (1 - share) * y, total))
    rhs += np.bincount(left + 1, weight * share * y, total)
    return bands, rhs


def _solve(bands: Floats, rhs: Floats) -> Floats:
    from scipy.linalg import solveh_banded

    return floats(solveh_banded(bands, rhs, check_finite=False))


def _replicated(
    means: CellMeans,
    left: Ints,
    share: Floats,
    which: Ints,
    robust: Floats,
    s: Floats,
    bands: Floats,
    total: int,
    extra: int,
    n: int,
    smoothing: Smoothing,
    correlation_deg: float,
) -> tuple[Floats, float]:
    """Spread of the fit over replicates of correlated noise, and its correlation length."""
    rng = np.random.default_rng(20260321)
    r = smoothing.replicates
    step = 360.0 / n
    noise = np.zeros((means.azimuth_deg.size, r))
    kernel_rows = max(1, round(correlation_deg / step))
    for leg in np.unique(means.leg):
        white = rng.standard_normal((n, r))
        spectrum = np.fft.rfft(np.r_[np.ones(kernel_rows), np.zeros(n - kernel_rows)])
        smooth = np.fft.irfft(np.fft.rfft(white, axis=0) * spectrum[:, None], n, axis=0)
        smooth /= np.sqrt(kernel_rows)
        rows = np.flatnonzero(means.leg == leg)
        cell = np.floor(means.azimuth_deg[rows] / step).astype(np.int64) % n
        noise[rows] = smooth[cell]
    noise *= means.error_deg[:, None]
    each = noise[which] * (robust / s**2)[:, None]
    rhs = np.zeros((total, r))
    np.add.at(rhs, left, each * (1 - share)[:, None])
    np.add.at(rhs, left + 1, each * share[:, None])
    found = _solve(bands, rhs)[extra : extra + n]
    spread = np.sqrt((found**2).mean(axis=1))
    return floats(spread), _correlation_length(found, step)


def _correlation_length(replicates: Floats, step_deg: float) -> float:
    """Azimuth at which replicates' autocorrelation has fallen to 1/e. [deg]."""
    scaled = replicates / np.maximum(replicates.std(axis=1, keepdims=True), 1e-12)
    power = np.abs(np.fft.rfft(scaled, axis=0)) ** 2
    auto = np.fft.irfft(power.mean(axis=1), scaled.shape[0])
    auto = auto / auto[0]
    below = np.flatnonzero(auto < np.exp(-1.0))
    return float(below[0] * step_deg) if below.size else 180.0


def cell_means(
    leg_index: int,
    azimuth_deg: Floats,
    elevation_deg: Floats,
    seconds: Floats,
    noise_deg: float,
    noise_time_s: float,
    pass_error_deg: float,
    step_deg: float,
) -> CellMeans:
    """Average one pass's rows cell by cell.

    Parameters
    ----------
    leg_index : int
    azimuth_deg : array, shape (N,)
        0 to 360. [deg]
    elevation_deg : array, shape (N,)
        [deg]
    seconds : array, shape (N,)
        Time each row stands for. [s]
    noise_deg, noise_time_s, pass_error_deg : float
        As in `HorizonSettings`. [deg], [s], [deg]
    step_deg : float
        [deg]
    """
    n = round(360.0 / step_deg)
    cell = np.minimum(np.floor(azimuth_deg / step_deg).astype(np.int64), n - 1)
    time = np.bincount(cell, seconds, n)
    full = np.flatnonzero(time > 0)
    x = np.bincount(cell, seconds * azimuth_deg, n)[full] / time[full]
    y = np.bincount(cell, seconds * elevation_deg, n)[full] / time[full]
    # The noise is alike over noise_time_s, so a cell is worth its time in units of that.
    variance = noise_deg**2 * noise_time_s / time[full] + pass_error_deg**2
    return CellMeans(np.full(full.size, leg_index), x, y, np.sqrt(variance))


def joined(parts: list[CellMeans]) -> CellMeans:
    """Cell means of several passes in one table."""
    return CellMeans(
        np.concatenate([p.leg for p in parts]),
        np.concatenate([p.azimuth_deg for p in parts]),
        np.concatenate([p.elevation_deg for p in parts]),
        np.concatenate([p.error_deg for p in parts]),
    )


def disagreement(means: CellMeans, fit: Fit, step_deg: float, limit_deg: float) -> Bools:
    """Cells where some pass, averaged over 5 degrees, lies further than a limit from another.

    Parameters
    ----------
    means : CellMeans
    fit : Fit
    step_deg, limit_deg : float
        [deg]
    """
    n = round(360.0 / step_deg)
    width = max(1, round(5.0 / step_deg))
    kernel = np.fft.rfft(np.r_[np.ones(width), np.zeros(n - width)])
    high, low = np.full(n, -np.inf), np.full(n, np.inf)
    for leg in np.unique(means.leg):
        rows = means.leg == leg
        cell = np.minimum(np.floor(means.azimuth_deg[rows] / step_deg).astype(np.int64), n - 1)
        predicted = np.interp(means.azimuth_deg[rows], fit.node_deg, fit.elevation_deg, period=360)
        away, there = np.zeros(n), np.zeros(n)
        away[cell] = means.elevation_deg[rows] - predicted
        there[cell] = 1.0
        total = np.fft.irfft(np.fft.rfft(away) * kernel, n)
        count = np.rint(np.fft.irfft(np.fft.rfft(there) * kernel, n))
        mean = np.roll(total / np.maximum(count, 1), -(width // 2))
        enough = np.roll(count >= width / 2, -(width // 2))
        high = np.where(enough, np.maximum(high, mean), high)
        low = np.where(enough, np.minimum(low, mean), low)
    return np.asarray(high - low > limit_deg, dtype=bool)
