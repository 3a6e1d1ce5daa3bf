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
FORCE = slice(13, 19)
ROUNDS = 8
ATTITUDE_SHARE = 1.6
"""What the attitude's own error adds to the variance: a tenth of a degree, slowly changing, too
little to show in the residuals. Measured with virtual boards (benchmarks/calibration.py)."""
OFFSET_PRIOR_G = 0.1
SCALE_PRIOR = 0.03
"""What holds the accelerometer's constants where a tumble does not show them."""


@dataclass(frozen=True, eq=False)
class JointFit:
    """The fitted constants, ``h = matrix (m - hard_iron)`` of unit strength."""

    matrix: Floats  # [1/uT] Shape (3, 3)
    hard_iron_ut: Floats  # [uT] Shape (3,)
    dip_sine: float
    # [g] Shape (3,)
    force_offset_g: Floats
    force_scale: Floats
    # Of the unknowns in the order matrix (by rows), hard iron, dip, offset, scale. Shape (19,
    # 19).
    covariance: Floats
    # Of strength as a share, of the dip's sine, of the force's magnitude in g. Shape (N,).
    strength_residual: Floats
    dip_residual: Floats
    force_residual: Floats

    def unknowns(self) -> Floats:
        """The unknowns as one vector. Shape (19,)."""
        return np.concatenate(
            [
                self.matrix.ravel(),
                self.hard_iron_ut,
                [self.dip_sine],
                self.force_offset_g,
                self.force_scale,
            ]
        )


def fit_ellipsoid(field_ut: Floats) -> tuple[Floats, Floats] | None:
    """The symmetric matrix and centre that give a field constant strength, robustly.

    Least squares of ``m' A m + 2 b' m = 1`` (linear in A and b), repeated with weights that
    fade out rows far from it. None where the rows lie on no ellipsoid.
    """
    weight = _no_spikes(field_ut)
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


def _no_spikes(field_ut: Floats) -> Floats:
    """0 for rows far from the median of their neighbours in time, else 1."""
    off = np.linalg.norm(field_ut - median_filter(field_ut, size=(5, 1)), axis=1)
    return floats(off <= 8 * max(float(np.median(off)), 1e-6))


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
    start = fit_ellipsoid(field_ut)
    if start is None:
        return None
    root, centre = start
    plain_down = -force_g / np.linalg.norm(force_g, axis=1, keepdims=True)
    vertical = plain_down if attitude is None else attitude[:, 2, :]
    h = (field_ut - centre) @ root.T
    turn = turn_to_gravity(h / np.linalg.norm(h, axis=1, keepdims=True), vertical)
    sine = float(np.median(np.einsum("ni,ni->n", h @ turn.T, vertical)))
    theta = np.concatenate([(turn @ root).ravel(), centre, [sine], np.zeros(3), np.ones(3)])
    if attitude is not None:
        eastward = np.einsum("ni,ni->n", h @ turn.T, attitude[:, 1, :])
        theta = np.concatenate([theta, [float(np.median(eastward))]])
    prior_mean = np.concatenate([np.zeros(3), np.ones(3)])
    prior_weight = np.repeat([OFFSET_PRIOR_G**-2, SCALE_PRIOR**-2], 3)
    for _ in range(ROUNDS):
        residual, jacobian = _residuals(theta, field_ut, force_g, attitude)
        noise = np.maximum(1.4826 * np.median(np.abs(residual), axis=0), 1e-7)
        weight = np.stack([_fading(column) for column in residual.T], axis=1) / noise
        design = jacobian * weight[:, :, None]
        normal = np.einsum("nki,nkj->ij", design, design)
        right = -np.einsum("nki,nk->i", design, residual * weight)
        normal[FORCE, FORCE] += np.diag(prior_weight)
        right[FORCE] -= prior_weight * (theta[FORCE] - prior_mean)
        step = _solve_scaled(normal, right)
        theta = theta + step
    residual, jacobian = _residuals(theta, field_ut, force_g, attitude)
    covariance = _covariance(t_s, residual, jacobian, noise, prior_weight)
    if attitude is not None:
        covariance = covariance * ATTITUDE_SHARE
    return JointFit(
        matrix=theta[:9].reshape(3, 3),
        hard_iron_ut=theta[9:12],
        dip_sine=float(theta[12]),
        force_offset_g=theta[13:16],
        force_scale=theta[16:19],
        covariance=covariance[:UNKNOWNS, :UNKNOWNS],
        strength_residual=residual[:, 0],
        dip_residual=residual[:, 1],
        force_residual=residual[:, 2],
    )


def _residuals(
    theta: Floats, field_ut: Floats, force_g: Floats, attitude: Floats | None
) -> tuple[Floats, Floats]:
    """Residuals of strength, dip, force and, with an attitude, of the direction; their Jacobian.

    Shapes (N, 3 or 4) and (N, 3 or 4, 19 or 20).
    """
    n = len(field_ut)
    matrix, off = theta[:9].reshape(3, 3), field_ut - theta[9:12]
    h = off @ matrix.T
    size = np.linalg.norm(h, axis=1)
    scaled = force_g - theta[13:16]
    f = scaled * theta[16:19]
    g = np.linalg.norm(f, axis=1)
    up = f / g[:, None]
    vertical = -up if attitude is None else attitude[:, 2, :]
    sine = np.einsum("ni,ni->n", h, vertical)
    columns = [size - 1.0, sine - theta[12], g - 1.0]
    sensed = [(0, h / size[:, None]), (1, vertical)]
    if attitude is not None:
        columns.append(np.einsum("ni,ni->n", h, attitude[:, 1, :]) - theta[UNKNOWNS])
        sensed.append((3, attitude[:, 1, :]))
    jacobian = np.zeros((n, len(columns), len(theta)))
    for row, along in sensed:
        jacobian[:, row, :9] = np.einsum("ni,nj->nij", along, off).reshape(n, 9)
        jacobian[:, row, 9:12] = -along @ matrix
    jacobian[:, 1, 12] = -1.0
    if attitude is not None:
        jacobian[:, 3, UNKNOWNS] = -1.0
    else:
        jacobian[:, 1, 13:16] = _dip_by_offset(h, up, g, theta)
        jacobian[:, 1, 16:19] = -_dip_by_offset(h, up, g, theta) / theta[16:19] * scaled
    jacobian[:, 2, 13:16] = -up * theta[16:19]
    jacobian[:, 2, 16:19] = up * scaled
    return floats(np.stack(columns, axis=1)), floats(jacobian)


def _dip_by_offset(h: Floats, up: Floats, g: Floats, theta: Floats) -> Floats:
    """How the dip's sine changes with the accelerometer's offset. Shape (N, 3).

    ``d(-up) = -(I - up up') df / g``.
    """
    across = -(h - up * np.einsum("ni,ni->n", h, up)[:, None]) / g[:, None]
    return floats(-across * theta[16:19])


def _fading(residual: Floats) -> Floats:
    """Weights of Tukey's biweight at six robust standard deviations."""
    spread = max(1.4826 * float(np.median(np.abs(residual - np.median(residual)))), 1e-9)
    u = np.clip(residual / (6 * spread), -1, 1)
    return floats((1 - u**2) ** 2)


def _solve_scaled(normal: Floats, right: Floats) -> Floats:
    scale = np.sqrt(np.maximum(np.diag(normal), 1e-30))
    ridge = 1e-10 * np.eye(len(right))
    return floats(np.linalg.solve(normal / np.outer(scale, scale) + ridge, right / scale) / scale)


def _covariance(
    t_s: Floats, residual: Floats, jacobian: Floats, noise: Floats, prior_weight: Floats
) -> Floats:
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
    normal[FORCE, FORCE] += np.diag(prior_weight)
    middle[FORCE, FORCE] += np.diag(prior_weight)
    scale = np.sqrt(np.maximum(np.diag(normal), 1e-30))
    inverse = np.linalg.pinv(normal / np.outer(scale, scale), hermitian=True) / np.outer(
        scale, scale
    )
    return floats(inverse @ middle @ inverse)


@dataclass(frozen=True)
class HeadingError:
    """What a fit's covariance means for a sweep."""

    heading_deg: float  # RMS over headings and pitches, expected. [deg]
    heading_95_deg: float  # Not passed by that RMS with a probability of 95 %. [deg]
    # What is left of the expected RMS when a known bearing takes out the mean. [deg]
    ripple_deg: float
    level_deg: float  # RMS of the pitch, expected. [deg]


FLOOR_DEG = 0.05
"""What no covariance tells: sensors are not quite linear (common practice, no source). [deg]"""
SWEEP_PITCH_DEG = (0.0, 15.0, 40.0)


def expected_error(fit: JointFit) -> HeadingError:
    """Propagate a fit's covariance to heading and pitch over the attitudes of a sweep."""
    headings = np.arange(0.0, 360.0, 10.0)
    h, p = np.meshgrid(headings, SWEEP_PITCH_DEG)
    body = attitude_matrix(h.ravel(), 0.0, p.ravel())
    cosine = np.sqrt(max(1e-6, 1 - fit.dip_sine**2))
    theta = fit.unknowns()
    field = np.array([cosine, 0.0, fit.dip_sine]) @ body
    raw_field = field @ np.linalg.inv(fit.matrix).T + fit.hard_iron_ut
    raw_force = (np.array([0.0, 0.0, -1.0]) @ body) / fit.force_scale + fit.force_offset_g
    spread = np.sqrt(np.maximum(np.diag(fit.covariance), 0.0))
    turns, lifts = [], []
    for k in range(UNKNOWNS):
        step = max(spread[k] * 1e-2, 1e-12)
        sides = []
        for sign in (-1, 1):
            moved = theta.copy()
            moved[k] += sign * step
            got = attitude_from_vectors(
                (raw_field - moved[9:12]) @ moved[:9].reshape(3, 3).T,
                (raw_force - moved[13:16]) * moved[16:19],
            )
            sides.append(np.einsum("nij,nkj->nik", got, body))
        change = (sides[1] - sides[0]) / (2 * step)
        turns.append((change[:, 1, 0] - change[:, 0, 1]) / 2)
        pitch = [angles_of(side @ body)[2] for side in sides]
        lifts.append(np.radians(pitch[1] - pitch[0]) / (2 * step))
    turn, lift = np.degrees(np.array(turns)).T, np.degrees(np.array(lifts)).T
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
