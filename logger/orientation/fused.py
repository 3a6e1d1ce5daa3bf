"""One least-squares attitude over a whole recording from rate, force and field.

Unknown are the attitude of every row, the gyro's constant bias, and its scale and misalignment
as far as the recording shows them (a prior holds what it does not). Each step between rows
compares the turn of the attitude with the integrated rate; each row compares the vertical with
the specific force, and the heading with the horizontal field. The field never moves the
vertical, so that iron nearby cannot tilt a horizon.

With small turns ``d`` of the level frame as unknowns, ``R <- exp(d) R``, a step's residual is
``d[i+1] - d[i]`` plus what the gyro's constants add, whatever the attitude: the normal equations
are three tridiagonal systems, one a level axis, bordered by the constants. Gauss-Newton takes a
few iterations of a few milliseconds.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.fft import irfft, next_fast_len, rfft
from scipy.linalg import solveh_banded
from scipy.ndimage import uniform_filter1d
from scipy.spatial.transform import Rotation

from logger.columns import Bools, Floats, floats
from logger.orientation.attitude import Attitude, attitude_row_by_row, rows_in
from logger.orientation.settings import OrientationSettings
from logger.rotation import attitude_from_vectors

ITERATIONS = 12
CONVERGED_DEG = 1e-3
LEAST_HEADING_NOISE_RAD = 0.003
BIAS, SHAPE, OFFSET = slice(0, 3), slice(3, 12), slice(12, 15)
"""The constants: gyro bias [rad/s], gyro scale and misalignment, accelerometer offset [g]."""


@dataclass(frozen=True)
class SensorPrior:
    """What is known of gyro and accelerometer before the recording is looked at.

    Parameters
    ----------
    bias_deg_s : tuple
        Of the gyro. [deg/s]
    bias_error_deg_s : float
        1 sigma. [deg/s]
    scale_error : float
        1 sigma of the gyro's scale about 1.
    misalignment_error : float
        1 sigma of an off-diagonal element of the rate matrix. [rad]
    offset_error_g : tuple
        1 sigma of the accelerometer's offset about 0, each axis. [g]
    """

    bias_deg_s: tuple[float, float, float] = (0.0, 0.0, 0.0)
    bias_error_deg_s: float = 3.0
    scale_error: float = 0.01
    misalignment_error: float = 0.005
    offset_error_g: tuple[float, float, float] = (0.003, 0.003, 0.003)


def attitude_over_recording(
    t_s: Floats,
    rate_deg_s: Floats,
    force_g: Floats,
    field_ut: Floats,
    field_trusted: Bools,
    settings: OrientationSettings,
    prior: SensorPrior | None = None,
) -> Attitude:
    """The least-squares attitude of every row.

    Parameters
    ----------
    t_s : array, shape (N,)
        Never decreasing. [s]
    rate_deg_s, force_g, field_ut : array, shape (N, 3)
        Body axes, force and field corrected; NaN where not measured. [deg/s] [g] [uT]
    field_trusted : bool array, shape (N,)
        Rows whose field may turn the heading.
    settings : OrientationSettings
    prior : SensorPrior, optional
    """
    prior = prior or SensorPrior()
    has_force, has_field = _sound(force_g), _sound(field_ut) & field_trusted
    alone = attitude_from_vectors(field_ut, force_g)
    start = has_force & has_field & np.isfinite(alone).all(axis=(1, 2))
    if not start.any():
        return attitude_row_by_row(t_s, field_ut, force_g, settings)
    force = np.where(has_force[:, None], force_g, 0.0)
    field = np.where(has_field[:, None], field_ut, 0.0)
    dt = np.diff(t_s)
    step, step_var = _steps(rate_deg_s, dt, settings)

    constants = np.concatenate([np.radians(prior.bias_deg_s), np.zeros(12)])
    prior_mean = constants.copy()
    prior_weight = 1.0 / np.square(
        [np.radians(prior.bias_error_deg_s)] * 3
        + [prior.scale_error if i % 4 == 0 else prior.misalignment_error for i in range(9)]
        + list(prior.offset_error_g)
    )
    state = _start(alone, start, step - constants[BIAS], dt)
    solution = None
    for _ in range(ITERATIONS):
        matrix = state.as_matrix()
        residual, border = _step_residuals(state, matrix, step, dt, constants)
        steady = force - constants[OFFSET]
        vertical, heading = _row_residuals(matrix, steady, field)
        level_var, heading_var = _row_variances(
            t_s, vertical, heading, np.linalg.norm(steady, axis=1), has_force, has_field, settings
        )
        measured = np.column_stack([vertical, heading])
        # An offset o takes R o from the level force: (-f_y, f_x) changes by (R_y o, -R_x o).
        tilting = np.zeros((len(t_s), 3, len(constants)))
        tilting[:, 0, OFFSET], tilting[:, 1, OFFSET] = matrix[:, 1, :], -matrix[:, 0, :]
        weight = 1.0 / np.column_stack([level_var, level_var, heading_var])
        solution = _solve(
            residual,
            border,
            1.0 / step_var,
            measured,
            tilting,
            weight,
            constants - prior_mean,
            prior_weight,
        )
        state = Rotation.from_rotvec(solution.turn) * state
        constants = constants + solution.constants
        if np.degrees(np.abs(solution.turn).max()) < CONVERGED_DEG:
            break
    assert solution is not None
    random, common = (np.degrees(np.sqrt(variance)) for variance in _variances(solution))
    x, y, z = (tuple(map(float, row)) for row in np.eye(3) + constants[SHAPE].reshape(3, 3))
    return Attitude(
        matrix=state.as_matrix(),
        level_error_deg=np.hypot(random[:, 0], random[:, 1]) / np.sqrt(2),
        heading_error_deg=random[:, 2],
        rate_bias_deg_s=tuple(map(float, np.degrees(constants[BIAS]))),  # type: ignore[arg-type]
        rate_matrix=(x, y, z),  # type: ignore[arg-type]
        force_offset_g=tuple(map(float, constants[OFFSET])),  # type: ignore[arg-type]
        steady_level_error_deg=float(np.sqrt(np.mean(common[:, :2] ** 2))),
    )


def _steps(rate_deg_s: Floats, dt: Floats, settings: OrientationSettings) -> tuple[Floats, Floats]:
    """Mean rate of each step [rad/s] and the variance of the turn it gives [rad^2]."""
    known: Bools = np.asarray(np.isfinite(rate_deg_s).all(axis=1))
    index = np.arange(len(rate_deg_s))
    filled = np.stack(
        [np.interp(index, index[known], rate_deg_s[known, k]) for k in range(3)], axis=1
    )
    rate = np.radians((filled[1:] + filled[:-1]) / 2)
    change = np.radians(np.linalg.norm(np.diff(filled, axis=0), axis=1))
    noise = np.radians(settings.rate_noise_deg_s)
    usual = float(np.median(dt)) if len(dt) else 0.0
    # Noise is white a sample; the trapezoid misses a part of a changing rate; and what happened
    # in a gap is anybody's guess at some 30 deg/s.
    gap = np.maximum(dt - 1.5 * usual, 0.0) + np.where(known[1:] & known[:-1], 0.0, dt)
    variance = (
        (noise * dt) ** 2
        + (settings.rate_change_error * change * dt) ** 2
        + (np.radians(30.0) * gap) ** 2
    )
    return rate, variance + 1e-9


def _sound(vectors: Floats) -> Bools:
    """Rows that hold a vector at all: a dead sensor sends zeros."""
    with np.errstate(invalid="ignore"):
        return np.asarray(np.linalg.norm(vectors, axis=1) > 1e-6, dtype=bool)


def _start(alone: Floats, known: Bools, rate: Floats, dt: Floats) -> Rotation:
    """Integrated rate, turned as a whole to fit the rows' own attitudes best."""
    increments = Rotation.from_rotvec(rate * dt[:, None]).as_quat()
    chain = np.empty((len(dt) + 1, 4))
    chain[0] = (0.0, 0.0, 0.0, 1.0)
    x, y, z, w = 0.0, 0.0, 0.0, 1.0
    for i, (a, b, c, d) in enumerate(increments.tolist()):
        x, y, z, w = (
            w * a + x * d + y * c - z * b,
            w * b - x * c + y * d + z * a,
            w * c + x * b - y * a + z * d,
            w * d - x * a - y * b - z * c,
        )
        chain[i + 1] = (x, y, z, w)
    relative = Rotation.from_quat(chain)
    rows = np.flatnonzero(known)
    each = Rotation.from_matrix(alone[rows])
    return (each * relative[rows].inv()).mean() * relative


def _step_residuals(
    attitude: Rotation, matrix: Floats, rate: Floats, dt: Floats, constants: Floats
) -> tuple[Floats, Floats]:
    """What each step misses [rad], in level axes, and its derivative to the constants."""
    corrected = rate + rate @ constants[SHAPE].reshape(3, 3).T - constants[BIAS]
    predicted = attitude[:-1] * Rotation.from_rotvec(corrected * dt[:, None])
    residual = (attitude[1:] * predicted.inv()).as_rotvec()
    middle = matrix[:-1]
    bias = middle * dt[:, None, None]
    # d(turn) = R (M rate) dt: element (j, k) of M enters through column j of R times rate k.
    shape = -np.einsum("nij,nk->nijk", bias, rate).reshape(len(dt), 3, 9)
    none = np.zeros((len(dt), 3, 3))
    return floats(residual), np.concatenate([bias, shape, none], axis=2)


def _row_residuals(matrix: Floats, force: Floats, field: Floats) -> tuple[Floats, Floats]:
    """Turns about north and east that put the force upright, and about down for the field [rad]."""
    f = np.einsum("nij,nj->ni", matrix, force)
    h = np.einsum("nij,nj->ni", matrix, field)
    # f + d x f should be (0, 0, -1): d = (-f_y, f_x) takes the horizontal part away.
    size = np.maximum(np.linalg.norm(f, axis=1), 1e-9)
    vertical = np.stack([-f[:, 1], f[:, 0]], axis=1) / size[:, None]
    heading = -np.arctan2(h[:, 1], h[:, 0])
    return floats(vertical), floats(heading)


def _row_variances(
    t_s: Floats,
    vertical: Floats,
    heading: Floats,
    force_size_g: Floats,
    has_force: Bools,
    has_field: Bools,
    settings: OrientationSettings,
) -> tuple[Floats, Floats]:
    """Variance of each row's vertical and heading [rad^2], its memory included.

    Errors that stay alike for a time T are worth one measurement in 2 T: the variance of a
    single row is raised by 2 T over the spacing of rows.
    """
    level = _spread(t_s, np.sum(vertical**2, axis=1) / 2, has_force)
    level = np.maximum(level + (force_size_g - 1.0) ** 2, settings.force_noise_g**2)
    north = np.maximum(_spread(t_s, heading**2, has_field), LEAST_HEADING_NOISE_RAD**2)
    level = level * rows_alike(t_s, vertical, has_force, settings.force_memory_s)
    north = north * rows_alike(t_s, heading[:, None], has_field, settings.field_memory_s)
    never = 1e6
    return np.where(has_force, level, never), np.where(has_field, north, never)


LONGEST_MEMORY_S = 3.0


def rows_alike(t_s: Floats, residual: Floats, known: Bools, least_s: float) -> float:
    """How many rows in a stretch err alike: ``1 + 2 (sum of the autocorrelations)``.

    The sum runs to the first lag without correlation; ``least_s`` is the shortest memory to
    believe in.
    """
    spacing = max(float(t_s[-1] - t_s[0]) / max(len(t_s) - 1, 1), 1e-6)
    least = float(max(1.0, 2 * least_s / spacing))
    limit = min(int(LONGEST_MEMORY_S / spacing), len(t_s) // 4)
    # A few rude moments must not stand for the whole: clip before correlating.
    size = np.median(np.abs(residual[known])) * 4 if known.any() else 0.0
    series = np.where(known[:, None], np.clip(residual, -size, size), 0.0)
    length = next_fast_len(2 * len(series), real=True)
    spectrum = np.abs(rfft(series, length, axis=0)) ** 2
    lagged = irfft(spectrum.sum(axis=1), length)[: limit + 1]
    if not len(lagged) or lagged[0] <= 0:
        return least
    correlation = lagged[1:] / lagged[0]
    ends = np.flatnonzero(correlation <= 0.05)
    last = ends[0] if len(ends) else len(correlation)
    return max(least, float(1 + 2 * correlation[:last].sum()))


def _spread(t_s: Floats, square: Floats, known: Bools) -> Floats:
    """Local mean square, held half-way to that of the whole recording."""
    if not known.any():
        return np.ones(len(t_s))
    rows = rows_in(t_s, 1.0)
    share = uniform_filter1d(known.astype(float), rows, mode="nearest")
    local = uniform_filter1d(np.where(known, square, 0.0), rows, mode="nearest")
    whole = float(np.median(square[known])) / 0.4549
    return floats((local / np.maximum(share, 1.0 / rows) + whole) / 2)


@dataclass(frozen=True, eq=False)
class _Solution:
    turn: Floats
    constants: Floats
    covariance: Floats
    through: Floats
    diagonal: Floats
    step_weight: Floats


def _solve(
    residual: Floats,
    border: Floats,
    step_weight: Floats,
    measured: Floats,
    tilting: Floats,
    weight: Floats,
    from_prior: Floats,
    prior_weight: Floats,
) -> _Solution:
    """One Gauss-Newton step: least ``w (r + d[i+1] - d[i] + B c)^2 + v (d - z - Z c)^2``, summed.

    Parameters
    ----------
    residual : array, shape (N - 1, 3)
        r.
    border : array, shape (N - 1, 3, C)
        B.
    step_weight : array, shape (N - 1,)
        w.
    measured, weight : array, shape (N, 3)
        z and v.
    tilting : array, shape (N, 3, C)
        Z.
    from_prior, prior_weight : array, shape (C,)
        Where the constants are now, from their prior mean, and its weight.
    """
    n, c = len(measured), len(from_prior)
    normal = np.diag(prior_weight)
    right = -prior_weight * from_prior
    turned, through, diagonal = np.empty((n, 3)), np.empty((n, 3, c)), np.empty((n, 3))
    for axis in range(3):
        banded = np.zeros((2, n))
        banded[0, 1:] = -step_weight
        banded[1] = weight[:, axis]
        banded[1, 1:] += step_weight
        banded[1, :-1] += step_weight
        columns = np.column_stack([residual[:, axis], border[:, axis]]) * step_weight[:, None]
        sides = np.zeros((n, c + 1))
        sides[1:] += columns
        sides[:-1] -= columns
        pulled = weight[:, axis, None] * tilting[:, axis]
        sides[:, 1:] -= pulled
        link = sides[:, 1:].copy()
        sides[:, 0] = weight[:, axis] * measured[:, axis] - sides[:, 0]
        solved = solveh_banded(banded, sides, check_finite=False)
        turned[:, axis], through[:, axis] = solved[:, 0], solved[:, 1:]
        diagonal[:, axis] = banded[1]
        normal += border[:, axis].T @ columns[:, 1:] + tilting[:, axis].T @ pulled
        normal -= link.T @ solved[:, 1:]
        # columns[:, 1:] holds w B, so its product with r is B' w r.
        right -= columns[:, 1:].T @ residual[:, axis] + pulled.T @ measured[:, axis]
        right -= link.T @ solved[:, 0]
    covariance = np.linalg.inv(normal)
    constants = covariance @ right
    return _Solution(
        floats(turned - through @ constants),
        constants,
        floats(covariance),
        through,
        diagonal,
        step_weight,
    )


def _variances(solution: _Solution) -> tuple[Floats, Floats]:
    """Variance of each row's turns: what is its own, and what the offset makes common to all."""
    covariance, through = solution.covariance, solution.through
    own = [_inverse_diagonal(solution.diagonal[:, k], -solution.step_weight) for k in range(3)]
    part = through[:, :, OFFSET]
    spread = np.sum((through @ covariance) * through, axis=2)
    common = np.sum((part @ covariance[OFFSET, OFFSET]) * part, axis=2)
    return floats(np.stack(own, axis=1) + np.maximum(spread - common, 0.0)), floats(common)


def _inverse_diagonal(diagonal: Floats, off: Floats) -> Floats:
    """Diagonal of the inverse of a symmetric tridiagonal matrix."""
    forward, backward = diagonal.tolist(), diagonal.tolist()
    square = (off**2).tolist()
    for i in range(1, len(forward)):
        forward[i] -= square[i - 1] / forward[i - 1]
    for i in range(len(backward) - 2, -1, -1):
        backward[i] -= square[i] / backward[i + 1]
    return floats(1.0 / (np.array(forward) + np.array(backward) - diagonal))
