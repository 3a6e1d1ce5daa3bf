"""The joint fit of a compass: constant field strength and constant dip against gravity.

An ellipsoid fitted to the field alone leaves a free rotation: any turn of the corrected field
keeps its strength. Holding the dip against gravity constant as well fixes it. Nineteen unknowns:
a general 3x3 matrix, the hard iron, the sine of the dip, the accelerometer's three offsets and
three scales.

Where a gyro tells how the board turned, a third thing is constant: the direction of the
horizontal field. Strength and dip leave the field's error across gravity and itself unseen, and
that is the very one that turns a heading.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.linalg import eigh
from scipy.ndimage import median_filter

from logger.arrays import Floats, floats
from logger.geometry import angles_of, attitude_from_vectors, attitude_matrix
from logger.orientation.running import rows_alike

UNKNOWNS = 19
MATRIX, IRON, SINE, OFFSET, SCALE = slice(0, 9), slice(9, 12), 12, slice(13, 16), slice(16, 19)
FORCE = slice(13, 19)
# One more with an attitude: the field's component eastward, in which north is still unknown
EASTWARD = 19
ROUNDS = 8
# What the attitude's own error adds to the variance: a tenth of a degree, slowly changing, too
# little to show in the residuals. Measured with virtual boards (benchmarks/calibration.py).
ATTITUDE_SHARE = 1.6
# What holds the accelerometer's constants where a tumble does not show them
OFFSET_PRIOR_G, SCALE_PRIOR = 0.1, 0.03
PRIOR_MEAN = np.repeat([0.0, 1.0], 3)
PRIOR_WEIGHT = np.repeat([OFFSET_PRIOR_G**-2, SCALE_PRIOR**-2], 3)


@dataclass(frozen=True, eq=False)
class JointFit:
    """The fitted constants, ``h = matrix (m - hard_iron)`` of unit strength."""

    theta: Floats  # Matrix by rows [1/uT], hard iron [uT], dip's sine, offset [g], scale. (19,)
    covariance: Floats  # Of the unknowns. Shape (19, 19)
    # Of strength as a share, of the dip's sine, of the force's magnitude in g. Shape (N, 3)
    residual: Floats

    @property
    def matrix(self) -> Floats:
        """What makes the field less its hard iron one of unit strength. [1/uT] Shape (3, 3)"""
        return self.theta[MATRIX].reshape(3, 3)

    @property
    def dip_sine(self) -> float:
        """Of the field's dip against gravity."""
        return float(self.theta[SINE])

    def corrected(self, field_ut: Floats, force_g: Floats) -> tuple[Floats, Floats]:
        """The field of unit strength, and the force."""
        return _corrected(self.theta, field_ut, force_g)


def _corrected(theta: Floats, field_ut: Floats, force_g: Floats) -> tuple[Floats, Floats]:
    field = (field_ut - theta[IRON]) @ theta[MATRIX].reshape(3, 3).T
    return field, (force_g - theta[OFFSET]) * theta[SCALE]


def fit_ellipsoid(field_ut: Floats) -> tuple[Floats, Floats] | None:
    """The symmetric matrix and centre that give a field constant strength, robustly.

    Least squares of ``m' A m + 2 b' m = 1`` (linear in A and b), repeated with weights that
    fade out rows far from it. None where the rows lie on no ellipsoid.
    """
    # Rows far from the median of their neighbours in time are no part of the first fit.
    spike = np.linalg.norm(field_ut - median_filter(field_ut, size=(5, 1)), axis=1)
    weight = floats(spike <= 8 * max(float(np.median(spike)), 1e-6))
    sound = field_ut[weight > 0]
    middle = (sound.max(axis=0) + sound.min(axis=0)) / 2
    size = max(float(np.abs(sound - middle).max()), 1e-9)
    x, y, z = ((field_ut - middle) / size).T
    design = np.column_stack(
        [x * x, y * y, z * z, 2 * x * y, 2 * x * z, 2 * y * z, 2 * x, 2 * y, 2 * z]
    )
    for _ in range(6):
        v = np.linalg.lstsq(design * weight[:, None], weight, rcond=None)[0]
        shape = np.array([[v[0], v[3], v[4]], [v[3], v[1], v[5]], [v[4], v[5], v[2]]])
        if np.linalg.eigvalsh(shape)[0] <= 1e-6:
            return None
        centre = -np.linalg.solve(shape, v[6:])
        scale = 1.0 + centre @ shape @ centre
        values, vectors = np.linalg.eigh(shape / scale)
        root = vectors * np.sqrt(values) @ vectors.T
        off = np.linalg.norm((np.column_stack([x, y, z]) - centre) @ root, axis=1) - 1.0
        weight = _fading(off)
    return floats(root / size), floats(centre * size + middle)


def turn_to_gravity(unit_field: Floats, down: Floats) -> Floats:
    """The orthogonal matrix that gives a unit field constant dip; shape (3, 3).

    ``down' Q h`` is constant for the elements of Q that span the least spread of
    ``down x h`` (all nine products): the smallest eigenvector of their covariance. It fixes Q up
    to sign; the sign nearer to no turn is taken, and a mirrored board has a negative determinant.
    """
    products = np.einsum("ni,nj->nij", down, unit_field).reshape(-1, 9)
    centred = products - np.median(products, axis=0)
    centred -= centred.mean(axis=0)
    _, vectors = eigh(centred.T @ centred, subset_by_index=[0, 0])
    left, _, right = np.linalg.svd(vectors[:, 0].reshape(3, 3))
    turn = left @ right
    return floats(turn if np.trace(turn) > 0 else -turn)


def fit_jointly(
    t_s: Floats, field_ut: Floats, force_g: Floats, attitude: Floats | None = None
) -> JointFit | None:
    """The robust joint fit; None where the rows lie on no ellipsoid."""
    theta = _start(field_ut, force_g, attitude)
    if theta is None:
        return None
    for _ in range(ROUNDS):
        residual, jacobian = _residuals(theta, field_ut, force_g, attitude)
        noise = np.maximum(1.4826 * np.median(np.abs(residual), axis=0), 1e-7)
        weight = np.stack([_fading(column) for column in residual.T], axis=1) / noise
        design = jacobian * weight[:, :, None]
        normal = np.einsum("nki,nkj->ij", design, design)
        right = -np.einsum("nki,nk->i", design, residual * weight)
        normal[FORCE, FORCE] += np.diag(PRIOR_WEIGHT)
        right[FORCE] -= PRIOR_WEIGHT * (theta[FORCE] - PRIOR_MEAN)
        scale = np.sqrt(np.maximum(np.diag(normal), 1e-30))
        scaled = normal / np.outer(scale, scale) + 1e-10 * np.eye(len(right))
        theta = theta + np.linalg.solve(scaled, right / scale) / scale
    residual, jacobian = _residuals(theta, field_ut, force_g, attitude)
    covariance = _covariance(t_s, residual, jacobian, noise)[:UNKNOWNS, :UNKNOWNS]
    if attitude is not None:
        covariance = covariance * ATTITUDE_SHARE
    return JointFit(theta[:UNKNOWNS], covariance, residual[:, :3])


def _start(field_ut: Floats, force_g: Floats, attitude: Floats | None) -> Floats | None:
    """The ellipsoid, turned to gravity."""
    found = fit_ellipsoid(field_ut)
    if found is None:
        return None
    root, centre = found
    down = -force_g / np.linalg.norm(force_g, axis=1, keepdims=True)
    vertical = down if attitude is None else attitude[:, 2, :]
    h = (field_ut - centre) @ root.T
    turn = turn_to_gravity(h / np.linalg.norm(h, axis=1, keepdims=True), vertical)
    sine = float(np.median(np.einsum("ni,ni->n", h @ turn.T, vertical)))
    theta = np.concatenate([(turn @ root).ravel(), centre, [sine], np.zeros(3), np.ones(3)])
    if attitude is None:
        return theta
    eastward = np.einsum("ni,ni->n", h @ turn.T, attitude[:, 1, :])
    return np.concatenate([theta, [float(np.median(eastward))]])


def _residuals(
    theta: Floats, field_ut: Floats, force_g: Floats, attitude: Floats | None
) -> tuple[Floats, Floats]:
    """Residuals of strength, dip, force and, with an attitude, of the direction; their Jacobian.

    Shapes (N, 3 or 4) and (N, 3 or 4, 19 or 20).
    """
    n, off = len(field_ut), field_ut - theta[IRON]
    h, f = _corrected(theta, field_ut, force_g)
    size, g = np.linalg.norm(h, axis=1), np.linalg.norm(f, axis=1)
    up = f / g[:, None]
    vertical = -up if attitude is None else attitude[:, 2, :]
    columns = [size - 1.0, np.einsum("ni,ni->n", h, vertical) - theta[SINE], g - 1.0]
    sensed = [(0, h / size[:, None]), (1, vertical)]
    if attitude is not None:
        columns.append(np.einsum("ni,ni->n", h, attitude[:, 1, :]) - theta[EASTWARD])
        sensed.append((3, attitude[:, 1, :]))
    jacobian = np.zeros((n, len(columns), len(theta)))
    for row, along in sensed:
        jacobian[:, row, MATRIX] = np.einsum("ni,nj->nij", along, off).reshape(n, 9)
        jacobian[:, row, IRON] = -along @ theta[MATRIX].reshape(3, 3)
    scaled = force_g - theta[OFFSET]
    jacobian[:, 1, SINE] = -1.0
    if attitude is not None:
        jacobian[:, 3, EASTWARD] = -1.0
    else:
        # d(-up) = -(I - up up') df / g
        across = h - up * np.einsum("ni,ni->n", h, up)[:, None]
        by_offset = across / g[:, None] * theta[SCALE]
        jacobian[:, 1, OFFSET] = by_offset
        jacobian[:, 1, SCALE] = -by_offset / theta[SCALE] * scaled
    jacobian[:, 2, OFFSET] = -up * theta[SCALE]
    jacobian[:, 2, SCALE] = up * scaled
    return floats(np.stack(columns, axis=1)), floats(jacobian)


def _fading(residual: Floats) -> Floats:
    """Weights of Tukey's biweight at six robust standard deviations."""
    spread = max(1.4826 * float(np.median(np.abs(residual - np.median(residual)))), 1e-9)
    u = np.clip(residual / (6 * spread), -1, 1)
    return floats((1 - u**2) ** 2)


def _covariance(t_s: Floats, residual: Floats, jacobian: Floats, noise: Floats) -> Floats:
    """Covariance of the unknowns, wider where neighbouring rows err alike."""
    normal = np.zeros((jacobian.shape[2], jacobian.shape[2]))
    middle = np.zeros_like(normal)
    known = np.ones(len(t_s), dtype=bool)
    for k in range(residual.shape[1]):
        weight = _fading(residual[:, k])
        design = jacobian[:, k] * weight[:, None]
        information = design.T @ design / noise[k] ** 2
        spread = float(np.sqrt(np.mean((residual[:, k] * weight) ** 2)) / noise[k])
        alike = rows_alike(t_s, residual[:, k : k + 1], known, 0.0)
        normal += information
        middle += information * max(spread, 1.0) ** 2 * alike
    normal[FORCE, FORCE] += np.diag(PRIOR_WEIGHT)
    middle[FORCE, FORCE] += np.diag(PRIOR_WEIGHT)
    scale = np.sqrt(np.maximum(np.diag(normal), 1e-30))
    size = np.outer(scale, scale)
    inverse = np.linalg.pinv(normal / size, hermitian=True) / size
    return floats(inverse @ middle @ inverse)


@dataclass(frozen=True)
class HeadingError:
    """What a fit's covariance means for a sweep."""

    heading_deg: float  # RMS over headings and pitches, expected. [deg]
    heading_95_deg: float  # Not passed by that RMS with a probability of 95 %. [deg]
    ripple_deg: float  # What is left of the expected RMS when a known bearing takes out the mean
    level_deg: float  # RMS of the pitch, expected. [deg]


# What no covariance tells: sensors are not quite linear (common practice, no source)
FLOOR_DEG = 0.05
SWEEP_PITCH_DEG = (0.0, 15.0, 40.0)


def expected_error(fit: JointFit) -> HeadingError:
    """Propagate a fit's covariance to heading and pitch over the attitudes of a sweep."""
    turn, lift = _by_unknowns(fit)
    flat = turn - turn.mean(axis=0)
    # The mean square of a Gaussian error is a sum of squares weighted by the eigenvalues, which
    # every version of the library finds alike; eigenvectors come with either sign.
    size = np.linalg.eigvalsh(turn @ fit.covariance @ turn.T / len(turn))[-UNKNOWNS:]
    draws = np.random.default_rng(1).standard_normal((2000, UNKNOWNS))
    found = np.sqrt(draws**2 @ np.maximum(size, 0.0))

    def expected(rows: Floats) -> float:
        return float(np.sqrt(np.mean(np.einsum("ni,ij,nj->n", rows, fit.covariance, rows))))

    return HeadingError(
        float(np.hypot(expected(turn), FLOOR_DEG)),
        float(np.hypot(np.percentile(found, 95), 2 * FLOOR_DEG)),
        float(np.hypot(expected(flat), FLOOR_DEG)),
        expected(lift),
    )


def _by_unknowns(fit: JointFit) -> tuple[Floats, Floats]:
    """How heading and pitch change with the unknowns, by differences. [deg] Shapes (K, 19)"""
    heading, pitch = np.meshgrid(np.arange(0.0, 360.0, 10.0), SWEEP_PITCH_DEG)
    body = attitude_matrix(heading.ravel(), 0.0, pitch.ravel())
    cosine = np.sqrt(max(1e-6, 1 - fit.dip_sine**2))
    field = np.array([cosine, 0.0, fit.dip_sine]) @ body
    raw_field = field @ np.linalg.inv(fit.matrix).T + fit.theta[IRON]
    raw_force = (np.array([0.0, 0.0, -1.0]) @ body) / fit.theta[SCALE] + fit.theta[OFFSET]
    spread = np.sqrt(np.maximum(np.diag(fit.covariance), 0.0))
    turns, lifts = [], []
    for k in range(UNKNOWNS):
        step = np.zeros(UNKNOWNS)
        step[k] = max(spread[k] * 1e-2, 1e-12)
        below, above = (
            np.einsum("nij,nkj->nik", attitude_from_vectors(*moved), body)
            for moved in (_corrected(fit.theta + s * step, raw_field, raw_force) for s in (-1, 1))
        )
        change = (above - below) / (2 * step[k])
        turns.append((change[:, 1, 0] - change[:, 0, 1]) / 2)
        low, high = (angles_of(side @ body)[2] for side in (below, above))
        lifts.append(np.radians(high - low) / (2 * step[k]))
    return np.degrees(np.array(turns)).T, np.degrees(np.array(lifts)).T
