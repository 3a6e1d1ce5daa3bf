"""One least-squares attitude over a whole recording from rate, force and magnetic field.

Unknown are the attitude of every row, the gyro's constant bias, its scale and misalignment, and
the accelerometer's offset, as far as the recording shows them (a prior holds what it does not).
Each step between rows compares the turn of the attitude with the integrated rate; each row
compares the vertical with the specific force, the heading with the horizontal field, and, in the
plane of the magnetic meridian, the vertical with the dip. A hand that moves the board spoils the
force for as long as the recording lasts; the dip then holds the level along the meridian. It
counts only as far as the field's strength says that the place is free of iron, and not at all
where it contradicts the force, so that iron nearby does not tilt a horizon.

With small turns ``d`` of the level frame as unknowns, ``R <- exp(d) R``, a step's residual is
``d[i+1] - d[i]`` plus what the gyro's constants add, whatever the attitude: the normal equations
are three tridiagonal systems, one a level axis, bordered by the constants. Gauss-Newton takes a
few iterations of a few milliseconds.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from scipy.linalg import solveh_banded
from scipy.spatial.transform import Rotation

from logger.arrays import Bools, Floats, floats
from logger.geometry import attitude_from_vectors, quaternion_product, running_product
from logger.orientation.attitude import FORCE_NOISE_G, Attitude, attitude_row_by_row
from logger.orientation.corrections import Vector, matrix_of, vector_of
from logger.orientation.running import over_a_second, rows_alike

ITERATIONS = 12
CONVERGED_DEG = 1e-3
SETTLED_DEG = 1e-2  # Near enough to ask whether the dip agrees with the force
# Standard errors of the difference past which dip and force contradict each other
CONTRADICTION = 3.0
# Of one sample (ICM-20948 data sheet, from memory: 0.015 deg/s per root hertz). [deg/s]
RATE_NOISE_DEG_S = 0.1
# What integrating a changing rate misses, as a share of its change between two samples
RATE_CHANGE_ERROR = 0.1
GAP_RATE_DEG_S = 30.0  # How fast the board may have turned where no rate is known
LEAST_FIELD_NOISE_RAD = 0.003
FORCE_MEMORY_S = 0.05  # How long errors of the force (hand motion) stay alike at least
# The constants: gyro bias [rad/s], gyro scale and misalignment, accelerometer offset [g], and
# what the dip differs by from the calibration's [rad]
BIAS, SHAPE, OFFSET, DIP = slice(0, 3), slice(3, 12), slice(12, 15), 15
CONSTANTS = 16
# The level axis about which each row's measurements turn: force, force, heading, dip
ABOUT = (0, 1, 2, 1)


@dataclass(frozen=True)
class SensorPrior:
    """What is known of the sensors before the recording is looked at; errors are 1 sigma."""

    bias_deg_s: Vector = (0.0, 0.0, 0.0)  # Of the gyro. [deg/s]
    bias_error_deg_s: float = 3.0  # [deg/s]
    scale_error: float = 0.01  # Of the gyro's scale about 1
    misalignment_error: float = 0.005  # Of an off-diagonal element of the rate matrix. [rad]
    offset_error_g: Vector = (0.003, 0.003, 0.003)  # Of the accelerometer, about 0. [g]
    # Of the corrected field where the board was calibrated; None lets the field turn the
    # heading only. [deg] [uT]
    dip_deg: float | None = None
    strength_ut: float | None = None
    dip_error_deg: float = 0.15  # How far the dip may be from that at a place free of iron. [deg]
    # How long errors of the field (what calibration leaves, iron passed by) stay alike. [s]
    field_memory_s: float = 0.5

    def constants(self) -> tuple[Floats, Floats]:
        """The constants' expected values and their errors. Shape (16,)."""
        mean = np.zeros(CONSTANTS)
        mean[BIAS] = np.radians(self.bias_deg_s)
        shape = [self.scale_error if i % 4 == 0 else self.misalignment_error for i in range(9)]
        bias = [np.radians(self.bias_error_deg_s)] * 3
        return mean, np.array([*bias, *shape, *self.offset_error_g, np.radians(self.dip_error_deg)])


@dataclass(frozen=True, eq=False)
class _Readings:
    """What was measured: N rows, and the N - 1 steps between them."""

    t_s: Floats
    dt_s: Floats
    rate: Floats  # Mean of each step. [rad/s] Shape (N - 1, 3)
    step_weight: Floats  # [1/rad^2] Shape (N - 1,)
    force_g: Floats
    field_ut: Floats
    has: Bools  # Which of the measurements of `ABOUT` each row has. Shape (N, 4)
    dip: float  # Expected. [rad]
    field_memory_s: float


def attitude_over_recording(
    t_s: Floats,
    rate_deg_s: Floats,
    force_g: Floats,
    field_ut: Floats,
    field_trusted: Bools,
    prior: SensorPrior | None = None,
) -> Attitude:
    """The least-squares attitude of every row."""
    prior = prior or SensorPrior()
    has_force, has_field = _sound(force_g), _sound(field_ut) & field_trusted
    alone = attitude_from_vectors(field_ut, force_g)
    start = has_force & has_field & np.isfinite(alone).all(axis=(1, 2))
    if not start.any():
        return attitude_row_by_row(t_s, field_ut, force_g)
    rate, step_variance = _steps(rate_deg_s, np.diff(t_s))
    readings = _Readings(
        t_s=t_s,
        dt_s=np.diff(t_s),
        rate=rate,
        step_weight=1.0 / step_variance,
        force_g=np.where(has_force[:, None], force_g, 0.0),
        field_ut=np.where(has_field[:, None], field_ut, 0.0),
        has=np.column_stack([has_force, has_force, has_field, np.zeros_like(has_field)]),
        dip=np.radians(prior.dip_deg or 0.0),
        field_memory_s=prior.field_memory_s,
    )
    return _fitted(readings, prior, _start(alone, start, readings, prior))


def _fitted(readings: _Readings, prior: SensorPrior, state: Rotation) -> Attitude:
    """Gauss-Newton; the dip joins once it has settled and does not contradict the force."""
    mean, error = prior.constants()
    constants, asked = mean, prior.dip_deg is None
    for _ in range(ITERATIONS):
        matrix = state.as_matrix()
        steady = readings.force_g - constants[OFFSET]
        measured = _row_residuals(matrix, steady, readings.field_ut, readings.dip + constants[DIP])
        weight = 1.0 / _row_variances(readings, measured, np.linalg.norm(steady, axis=1))
        missed = _step_residuals(state, readings, constants)
        solution = _solve(
            matrix, readings, missed, measured, weight, constants - mean, 1.0 / error**2
        )
        state = _product(Rotation.from_rotvec(solution.turn), state)
        constants = constants + solution.constants
        turned_deg = np.degrees(np.abs(solution.turn).max())
        if asked and turned_deg < CONVERGED_DEG:
            break
        if not asked and turned_deg < SETTLED_DEG:
            asked = True
            has_field = readings.has[:, 2]
            error[DIP] = np.hypot(error[DIP], _iron_rad(readings, prior.strength_ut))
            if not _contradicts(measured[has_field, 3], solution, error[DIP]):
                has = np.column_stack([readings.has[:, :3], has_field])
                readings = replace(readings, has=has)
    random, common = (np.degrees(np.sqrt(variance)) for variance in _variances(solution))
    return Attitude(
        matrix=state.as_matrix(),
        level_error_deg=np.hypot(random[:, 0], random[:, 1]) / np.sqrt(2),
        heading_error_deg=random[:, 2],
        rate_bias_deg_s=vector_of(np.degrees(constants[BIAS])),
        rate_matrix=matrix_of(np.eye(3) + constants[SHAPE].reshape(3, 3)),
        force_offset_g=vector_of(constants[OFFSET]),
        steady_level_error_deg=float(np.sqrt(np.mean(common[:, :2] ** 2))),
        dip_error_deg=float(np.degrees(error[DIP])) if readings.has[:, 3].any() else None,
    )


def _iron_rad(readings: _Readings, strength_ut: float | None) -> float:
    """How far iron nearby may turn the field, 1 sigma [rad].

    Iron adds a field of any direction: what it adds along the Earth's field, seen as strength, is
    about what it adds across in each direction.
    """
    known = readings.has[:, 2]
    if strength_ut is None or not known.any():
        return 0.0
    size = np.linalg.norm(readings.field_ut, axis=1) / strength_ut - 1.0
    return float(np.sqrt(np.mean(over_a_second(readings.t_s, size, known)[known] ** 2)))


def _contradicts(difference: Floats, solution: _Solution, dip_error: float) -> bool:
    """Whether dip and calibration differ [rad] by more than the level's error and the dip's."""
    if not difference.size:
        return True
    random, common = _variances(solution)
    level = float(np.mean(random[:, 1] + common[:, 1]))
    return bool(abs(np.median(difference)) > CONTRADICTION * np.sqrt(level + dip_error**2))


def _steps(rate_deg_s: Floats, dt_s: Floats) -> tuple[Floats, Floats]:
    """Mean rate of each step [rad/s] and the variance of the turn it gives [rad^2]."""
    known: Bools = np.asarray(np.isfinite(rate_deg_s).all(axis=1))
    index = np.arange(len(rate_deg_s))
    filled = np.stack(
        [np.interp(index, index[known], rate_deg_s[known, k]) for k in range(3)], axis=1
    )
    rate = np.radians((filled[1:] + filled[:-1]) / 2)
    change = np.radians(np.linalg.norm(np.diff(filled, axis=0), axis=1))
    usual = float(np.median(dt_s)) if len(dt_s) else 0.0
    # Noise is white a sample; the trapezoid misses a part of a changing rate; and what happened
    # in a gap is anybody's guess.
    gap = np.maximum(dt_s - 1.5 * usual, 0.0) + np.where(known[1:] & known[:-1], 0.0, dt_s)
    variance = (
        (np.radians(RATE_NOISE_DEG_S) * dt_s) ** 2
        + (RATE_CHANGE_ERROR * change * dt_s) ** 2
        + (np.radians(GAP_RATE_DEG_S) * gap) ** 2
    )
    return rate, variance + 1e-9


def _sound(vectors: Floats) -> Bools:
    """Rows that hold a vector at all: a dead sensor sends zeros."""
    with np.errstate(invalid="ignore"):
        return np.asarray(np.linalg.norm(vectors, axis=1) > 1e-6, dtype=bool)


def _start(alone: Floats, known: Bools, readings: _Readings, prior: SensorPrior) -> Rotation:
    """Integrated rate, turned as a whole to fit the rows' own attitudes best."""
    steps = np.zeros((len(alone), 3))
    steps[1:] = (readings.rate - np.radians(prior.bias_deg_s)) * readings.dt_s[:, None]
    relative = Rotation.from_quat(running_product(Rotation.from_rotvec(steps).as_quat()))
    rows = np.flatnonzero(known)
    each = Rotation.from_matrix(alone[rows])
    return _product(_product(each, relative[rows].inv()).mean(), relative)


def _product(first: Rotation, second: Rotation) -> Rotation:
    return Rotation.from_quat(quaternion_product(first.as_quat(), second.as_quat()))


def _step_residuals(attitude: Rotation, readings: _Readings, constants: Floats) -> Floats:
    """What each step misses [rad], in level axes."""
    rate = readings.rate
    corrected = rate + rate @ constants[SHAPE].reshape(3, 3).T - constants[BIAS]
    turn = Rotation.from_rotvec(corrected * readings.dt_s[:, None])
    return floats(_product(attitude[1:], _product(attitude[:-1], turn).inv()).as_rotvec())


def _step_by_constants(matrix: Floats, readings: _Readings, axis: int) -> Floats:
    """How each step's residual about one level axis changes with the constants."""
    bias = matrix[:-1, axis, :] * readings.dt_s[:, None]
    # d(turn) = R (M rate) dt: element (j, k) of M enters through column j of R times rate k.
    shape = -np.einsum("nj,nk->njk", bias, readings.rate).reshape(len(bias), 9)
    return np.concatenate([bias, shape, np.zeros((len(bias), CONSTANTS - 12))], axis=1)


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


def _row_variances(readings: _Readings, measured: Floats, force_size_g: Floats) -> Floats:
    """Variance of each row's measurements [rad^2], their memory included. Shape (N, 4).

    Errors that stay alike for a time T are worth one measurement in 2 T: the variance of a
    single row is raised by 2 T over the spacing of rows.
    """
    t_s, vertical, has_force = readings.t_s, measured[:, :2], readings.has[:, 0]
    level = _spread(t_s, np.sum(vertical**2, axis=1) / 2, has_force)
    level = np.maximum(level + (force_size_g - 1.0) ** 2, FORCE_NOISE_G**2)
    level = level * rows_alike(t_s, vertical, has_force, FORCE_MEMORY_S)
    variances = [level, level]
    for turn, has in zip(measured[:, 2:].T, readings.has[:, 2:].T, strict=True):
        spread = np.maximum(_spread(t_s, turn**2, has), LEAST_FIELD_NOISE_RAD**2)
        variances.append(spread * rows_alike(t_s, turn[:, None], has, readings.field_memory_s))
    never = 1e6
    return np.where(readings.has, np.column_stack(variances), never)


def _spread(t_s: Floats, square: Floats, known: Bools) -> Floats:
    """Local mean square, held half-way to that of the whole recording."""
    if not known.any():
        return np.ones(len(t_s))
    # The median of the square of a normal variable is 0.4549 of its variance.
    whole = float(np.median(square[known])) / 0.4549
    return floats((over_a_second(t_s, square, known) + whole) / 2)


@dataclass(frozen=True, eq=False)
class _Solution:
    """One step of the fit, and what its errors follow from."""

    turn: Floats  # [rad] Shape (N, 3)
    constants: Floats
    covariance: Floats  # Of the constants
    through: Floats  # How the turns change with the constants. Shape (N, 3, 16)
    diagonal: Floats  # Of the normal equations, an axis a column. Shape (N, 3)
    step_weight: Floats


def _solve(
    matrix: Floats,
    readings: _Readings,
    residual: Floats,
    measured: Floats,
    weight: Floats,
    from_prior: Floats,
    prior_weight: Floats,
) -> _Solution:
    """One Gauss-Newton step: least ``w (r + d[i+1] - d[i] + B c)^2 + v (d - z - Z c)^2``, summed.

    B and Z are `_step_by_constants` and `_row_by_constants`.
    """
    n, step_weight = len(measured), readings.step_weight
    normal = np.diag(prior_weight)
    right = -prior_weight * from_prior
    turned, through = np.empty((n, 3)), np.empty((n, 3, CONSTANTS))
    diagonal = np.empty((n, 3))
    for axis in range(3):
        border = _step_by_constants(matrix, readings, axis)
        banded = np.zeros((2, n))
        banded[0, 1:] = -step_weight
        banded[1, 1:] += step_weight
        banded[1, :-1] += step_weight
        columns = np.column_stack([residual[:, axis], border]) * step_weight[:, None]
        sides = np.zeros((n, CONSTANTS + 1))
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
    covariance = floats(np.linalg.inv(normal))
    constants = covariance @ right
    turn = floats(turned - through @ constants)
    return _Solution(turn, constants, covariance, through, diagonal, step_weight)


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
