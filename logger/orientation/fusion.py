"""One least-squares attitude over a whole recording from rate, force and field.

Unknown are the attitude of every row, the gyro's constant bias, and its scale and misalignment
as far as the recording shows them (a prior holds what it does not). Each step between rows
compares the turn of the attitude with the integrated rate; each row compares the vertical with
the specific force, the heading with the horizontal field, and, in the plane of the magnetic
meridian, the vertical with the field's dip. A hand that moves the board spoils the force for as
long as the recording lasts; the dip then holds the level along the meridian. It counts only as far
as the field's strength says that the place is free of iron, and not at all where it contradicts
the force, so that iron nearby does not tilt a horizon.

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

from logger.arrays import Bools, Floats, floats
from logger.geometry import attitude_from_vectors, quaternion_product, running_product
from logger.orientation.attitude import Attitude, attitude_row_by_row, rows_in
from logger.orientation.settings import OrientationSettings

ITERATIONS = 12
CONVERGED_DEG = 1e-3
SETTLED_DEG = 1e-2
"""Near enough to ask whether the field's dip agrees with the force."""
LEAST_FIELD_NOISE_RAD = 0.003
BIAS, SHAPE, OFFSET, DIP = slice(0, 3), slice(3, 12), slice(12, 15), 15
"""The constants: gyro bias [rad/s], gyro scale and misalignment, accelerometer offset [g], and
what the dip differs by from the calibration's [rad]."""
CONSTANTS = 16
ABOUT = (0, 1, 2, 1)
"""The level axis about which each row's measurements turn: force, force, heading, dip."""
CONTRADICTION = 3.0
"""Standard errors of the difference past which dip and force contradict each other."""


@dataclass(frozen=True)
class SensorPrior:
    """What is known of gyro and accelerometer before the recording is looked at."""

    bias_deg_s: tuple[float, float, float] = (0.0, 0.0, 0.0)  # Of the gyro. [deg/s]
    bias_error_deg_s: float = 3.0  # 1 sigma. [deg/s]
    scale_error: float = 0.01  # 1 sigma of the gyro's scale about 1
    # 1 sigma of an off-diagonal element of the rate matrix. [rad]
    misalignment_error: float = 0.005
    # 1 sigma of the accelerometer's offset about 0, each axis. [g]
    offset_error_g: tuple[float, float, float] = (0.003, 0.003, 0.003)
    # Of the corrected field where the board was calibrated; None lets the field turn the
    # heading only. [deg] [uT]
    dip_deg: float | None = None
    strength_ut: float | None = None
    # How far the dip may be from that at a place free of iron, 1 sigma. [deg]
    dip_error_deg: float = 0.15


def attitude_over_recording(
    t_s: Floats,
    rate_deg_s: Floats,
    force_g: Floats,
    field_ut: Floats,
    field_trusted: Bools,
    settings: OrientationSettings,
    prior: SensorPrior | None = None,
) -> Attitude:
    """The least-squares attitude of every row."""
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

    constants = np.zeros(CONSTANTS)
    constants[BIAS] = np.radians(prior.bias_deg_s)
    prior_mean = constants.copy()
    prior_error = np.array(
        [np.radians(prior.bias_error_deg_s)] * 3
        + [prior.scale_error if i % 4 == 0 else prior.misalignment_error for i in range(9)]
        + [*prior.offset_error_g, np.radians(prior.dip_error_deg)]
    )
    dip = np.radians(prior.dip_deg) if prior.dip_deg is not None else 0.0
    has_dip = np.zeros(len(t_s), dtype=bool)
    state = _start(alone, start, step - constants[BIAS], dt)
    solution = None
    asked = prior.dip_deg is None
    for _ in range(ITERATIONS):
        matrix = state.as_matrix()
        residual = _step_residuals(state, step, dt, constants)
        steady = force - constants[OFFSET]
        measured = _row_residuals(matrix, steady, field, dip + constants[DIP])
        weight = 1.0 / _row_variances(
            t_s,
            measured,
            np.linalg.norm(steady, axis=1),
            (has_force, has_force, has_field, has_dip),
            settings,
        )
        solution = _solve(
            matrix,
            step,
            dt,
            residual,
            1.0 / step_var,
            measured,
            weight,
            constants - prior_mean,
            1.0 / prior_error**2,
        )
        state = _product(Rotation.from_rotvec(solution.turn), state)
        constants = constants + solution.constants
        turned_deg = np.degrees(np.abs(solution.turn).max())
        if asked and turned_deg < CONVERGED_DEG:
            break
        if not asked and turned_deg < SETTLED_DEG:
            asked = True
            iron = _iron_rad(t_s, field, has_field, prior.strength_ut)
            prior_error[DIP] = np.hypot(prior_error[DIP], iron)
            if not _contradicts(measured[has_field, 3], solution, prior_error[DIP]):
                has_dip = has_field
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
        dip_error_deg=float(np.degrees(prior_error[DIP])) if has_dip.any() else None,
    )


def _iron_rad(t_s: Floats, field: Floats, known: Bools, strength_ut: float | None) -> float:
    """How far iron nearby may turn the field, 1 sigma [rad].

    Iron adds a field of any direction: what it adds along the Earth's field, seen as strength, is
    about what it adds across in each direction.
    """
    if strength_ut is None or not known.any():
        return 0.0
    size = np.linalg.norm(field, axis=1) / strength_ut - 1.0
    return float(np.sqrt(np.mean(_over_a_second(t_s, size, known)[known] ** 2)))


def _contradicts(difference: Floats, solution: _Solution, dip_error: float) -> bool:
    """Whether dip and calibration differ [rad] by more than the level's error and the dip's."""
    if not difference.size:
        return True
    random, common = _variances(solution)
    level = float(np.mean(random[:, 1] + common[:, 1]))
    return bool(abs(np.median(difference)) > CONTRADICTION * np.sqrt(level + dip_error**2))


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
    steps = np.zeros((len(dt) + 1, 3))
    steps[1:] = rate * dt[:, None]
    relative = Rotation.from_quat(running_product(Rotation.from_rotvec(steps).as_quat()))
    rows = np.flatnonzero(known)
    each = Rotation.from_matrix(alone[rows])
    return _product(_product(each, relative[rows].inv()).mean(), relative)


def _step_residuals(attitude: Rotation, rate: Floats, dt: Floats, constants: Floats) -> Floats:
    """What each step misses [rad], in level axes."""
    corrected = rate + rate @ constants[SHAPE].reshape(3, 3).T - constants[BIAS]
    predicted = _product(attitude[:-1], Rotation.from_rotvec(corrected * dt[:, None]))
    return floats(_product(attitude[1:], predicted.inv()).as_rotvec())


def _product(first: Rotation, second: Rotation) -> Rotation:
    return Rotation.from_quat(quaternion_product(first.as_quat(), second.as_quat()))


def _step_by_constants(matrix: Floats, rate: Floats, dt: Floats, axis: int) -> Floats:
    """How each step's residual about one level axis changes with the constants."""
    bias = matrix[:-1, axis, :] * dt[:, None]
    # d(turn) = R (M rate) dt: element (j, k) of M enters through column j of R times rate k.
    shape = -np.einsum("nj,nk->njk", bias, rate).reshape(len(dt), 9)
    return np.concatenate([bias, shape, np.zeros((len(dt), CONSTANTS - 12))], axis=1)


def _row_by_constants(matrix: Floats, measurement: int) -> Floats:
    """How a measurement of each row changes with the constants."""
    columns = np.zeros((len(matrix), CONSTANTS))
    # An offset o takes R o from the level force: (-f_y, f_x) changes by (R_y o, -R_x o).
    if measurement == 0:
        columns[:, OFFSET] = matrix[:, 1, :]
    elif measurement == 1:
        columns[:, OFFSET] = -matrix[:, 0, :]
    elif measurement == 3:
        columns[:, DIP] = -1.0
    return columns


def _row_residuals(matrix: Floats, force: Floats, field: Floats, dip: float) -> Floats:
    """Turns that put each row right [rad]: see `ABOUT`. Shape (N, 4)."""
    f = np.einsum("nij,nj->ni", matrix, force)
    h = np.einsum("nij,nj->ni", matrix, field)
    # f + d x f should be (0, 0, -1): d = (-f_y, f_x) takes the horizontal part away.
    size = np.maximum(np.linalg.norm(f, axis=1), 1e-9)
    heading = -np.arctan2(h[:, 1], h[:, 0])
    # A turn d about east takes d from the dip.
    steeper = np.arctan2(h[:, 2], np.hypot(h[:, 0], h[:, 1])) - dip
    return np.column_stack([-f[:, 1] / size, f[:, 0] / size, heading, steeper])


def _row_variances(
    t_s: Floats,
    measured: Floats,
    force_size_g: Floats,
    known: tuple[Bools, Bools, Bools, Bools],
    settings: OrientationSettings,
) -> Floats:
    """Variance of each row's measurements [rad^2], their memory included. Shape (N, 4).

    Errors that stay alike for a time T are worth one measurement in 2 T: the variance of a
    single row is raised by 2 T over the spacing of rows.
    """
    vertical, has_force = measured[:, :2], known[0]
    level = _spread(t_s, np.sum(vertical**2, axis=1) / 2, has_force)
    level = np.maximum(level + (force_size_g - 1.0) ** 2, settings.force_noise_g**2)
    level = level * rows_alike(t_s, vertical, has_force, settings.force_memory_s)
    variances = [level, level]
    for turn, has in zip(measured[:, 2:].T, known[2:], strict=True):
        spread = np.maximum(_spread(t_s, turn**2, has), LEAST_FIELD_NOISE_RAD**2)
        variances.append(spread * rows_alike(t_s, turn[:, None], has, settings.field_memory_s))
    never = 1e6
    return np.where(np.column_stack(known), np.column_stack(variances), never)


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
    whole = float(np.median(square[known])) / 0.4549
    return floats((_over_a_second(t_s, square, known) + whole) / 2)


def _over_a_second(t_s: Floats, column: Floats, known: Bools) -> Floats:
    """Running mean of the known rows."""
    rows = rows_in(t_s, 1.0)
    share = uniform_filter1d(known.astype(float), rows, mode="nearest")
    local = uniform_filter1d(np.where(known, column, 0.0), rows, mode="nearest")
    return floats(local / np.maximum(share, 1.0 / rows))


@dataclass(frozen=True, eq=False)
class _Solution:
    turn: Floats
    constants: Floats
    covariance: Floats
    through: Floats
    diagonal: Floats
    step_weight: Floats


def _solve(
    matrix: Floats,
    rate: Floats,
    dt: Floats,
    residual: Floats,
    step_weight: Floats,
    measured: Floats,
    weight: Floats,
    from_prior: Floats,
    prior_weight: Floats,
) -> _Solution:
    """One Gauss-Newton step: least ``w (r + d[i+1] - d[i] + B c)^2 + v (d - z - Z c)^2``, summed.

    B and Z are `_step_by_constants` and `_row_by_constants`.
    """
    n, c = len(measured), len(from_prior)
    normal = np.diag(prior_weight)
    right = -prior_weight * from_prior
    turned, through, diagonal = np.empty((n, 3)), np.empty((n, 3, c)), np.empty((n, 3))
    for axis in range(3):
        border = _step_by_constants(matrix, rate, dt, axis)
        banded = np.zeros((2, n))
        banded[0, 1:] = -step_weight
        banded[1, 1:] += step_weight
        banded[1, :-1] += step_weight
        columns = np.column_stack([residual[:, axis], border]) * step_weight[:, None]
        sides = np.zeros((n, c + 1))
        sides[1:] -= columns
        sides[:-1] += columns
        # columns[:, 1:] holds w B, so its product with r is B' w r.
        normal += border.T @ columns[:, 1:]
        right -= columns[:, 1:].T @ residual[:, axis]
        for k in (k for k, about in enumerate(ABOUT) if about == axis):
            tilting = _row_by_constants(matrix, k)
            pulled = weight[:, k, None] * tilting
            banded[1] += weight[:, k]
            sides[:, 0] += weight[:, k] * measured[:, k]
            sides[:, 1:] += pulled
            normal += tilting.T @ pulled
            right -= pulled.T @ measured[:, k]
        link = sides[:, 1:].copy()
        solved = solveh_banded(banded, sides, check_finite=False)
        turned[:, axis], through[:, axis] = solved[:, 0], -solved[:, 1:]
        diagonal[:, axis] = banded[1]
        normal -= link.T @ solved[:, 1:]
        right += link.T @ solved[:, 0]
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
