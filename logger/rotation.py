"""Attitude as rotation matrices between the body and the local level frame.

Body axes: x forward along the line of sight, y right, z down. Level axes: north, east, down.
A matrix ``R`` takes body components to level components; vectors keep their components on the
last axis and everything else leads, so one attitude or a million are the same code.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from logger.angles import wrap360
from logger.columns import Floats, floats


def attitude_matrix(heading_deg: ArrayLike, tilt_deg: ArrayLike, pitch_deg: ArrayLike) -> Floats:
    """Body-to-level rotation ``Rz(heading) Ry(pitch) Rx(tilt)``."""
    h, r, p = np.broadcast_arrays(
        np.radians(floats(heading_deg)), np.radians(floats(tilt_deg)), np.radians(floats(pitch_deg))
    )
    ch, sh, cp, sp, cr, sr = np.cos(h), np.sin(h), np.cos(p), np.sin(p), np.cos(r), np.sin(r)
    matrix = np.empty((*h.shape, 3, 3))
    # One element after another: a million rows in little more than their own room.
    matrix[..., 0, 0] = ch * cp
    matrix[..., 0, 1] = ch * sp * sr - sh * cr
    matrix[..., 0, 2] = ch * sp * cr + sh * sr
    matrix[..., 1, 0] = sh * cp
    matrix[..., 1, 1] = sh * sp * sr + ch * cr
    matrix[..., 1, 2] = sh * sp * cr - ch * sr
    matrix[..., 2, 0] = -sp
    matrix[..., 2, 1] = cp * sr
    matrix[..., 2, 2] = cp * cr
    return matrix


def angles_of(attitude: ArrayLike) -> tuple[Floats, Floats, Floats]:
    """Heading, tilt and pitch of body-to-level rotations; the inverse of `attitude_matrix`."""
    m = floats(attitude)
    heading = wrap360(np.degrees(np.arctan2(m[..., 1, 0], m[..., 0, 0])))
    pitch = np.degrees(np.arctan2(-m[..., 2, 0], np.hypot(m[..., 0, 0], m[..., 1, 0])))
    tilt = np.degrees(np.arctan2(m[..., 2, 1], m[..., 2, 2]))
    return floats(heading), floats(tilt), floats(pitch)


def direction_of(vector: ArrayLike) -> tuple[Floats, Floats]:
    """Azimuth and elevation of vectors in the level frame (north, east, down)."""
    v = floats(vector)
    azimuth = wrap360(np.degrees(np.arctan2(v[..., 1], v[..., 0])))
    elevation = np.degrees(np.arctan2(-v[..., 2], np.hypot(v[..., 0], v[..., 1])))
    return floats(azimuth), floats(elevation)


def unit_vector(azimuth_deg: ArrayLike, elevation_deg: ArrayLike) -> Floats:
    """Unit vector (north, east, down) of a direction; the inverse of `direction_of`."""
    a, e = np.broadcast_arrays(np.radians(floats(azimuth_deg)), np.radians(floats(elevation_deg)))
    return floats(np.stack([np.cos(e) * np.cos(a), np.cos(e) * np.sin(a), -np.sin(e)], axis=-1))


def quaternion_product(first: ArrayLike, second: ArrayLike) -> Floats:
    """Quaternion of the rotation ``first`` after ``second``.

    scipy's product of rotations takes ten times as long.
    """
    x, y, z, w = np.moveaxis(floats(first), -1, 0)
    a, b, c, d = np.moveaxis(floats(second), -1, 0)
    return floats(
        np.stack(
            [
                w * a + x * d + y * c - z * b,
                w * b - x * c + y * d + z * a,
                w * c + x * b - y * a + z * d,
                w * d - x * a - y * b - z * c,
            ],
            axis=-1,
        )
    )


def running_product(turns: ArrayLike) -> Floats:
    """Quaternion of each rotation after all of those that stand before it, first to last."""
    product, reach = np.array(turns, dtype=np.float64), 1
    # Each round doubles how many turns a product holds.
    while reach < len(product):
        product[reach:] = quaternion_product(product[:-reach], product[reach:])
        reach *= 2
    return product


def attitude_from_vectors(field: ArrayLike, force: ArrayLike) -> Floats:
    """Body-to-level rotation from the magnetic field and the specific force of a body at rest.

    Down is opposite to the specific force, east is down x field, north is east x down: the
    level frame's north is *magnetic* north. Rows where either vector vanishes or both are
    parallel come back as NaN.
    """
    down = -floats(force)
    east = np.cross(down, floats(field))
    with np.errstate(invalid="ignore", divide="ignore"):
        down = down / np.linalg.norm(down, axis=-1, keepdims=True)
        east = east / np.linalg.norm(east, axis=-1, keepdims=True)
    return floats(np.stack([np.cross(east, down), east, down], axis=-2))
