"""Azimuths and attitudes: the only place that wraps, subtracts, averages or interpolates an angle.

Azimuths are degrees clockwise from north, ``0 <= azimuth < 360``; elevations are degrees above
the level plane.

Attitudes are rotation matrices between the body and the local level frame. Body axes: x forward
along the line of sight, y right, z down. Level axes: north, east, down. A matrix ``R`` takes body
components to level components; vectors keep their components on the last axis and everything else
leads, so one attitude or a million are the same code.
"""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import ArrayLike

from logger.arrays import Floats, floats


def wrap360(angle_deg: ArrayLike) -> Any:
    """The same direction in ``0 <= azimuth < 360``; scalar in, scalar out.

    ``np.mod(-1e-20, 360)`` is 360.0, which this maps to 0.
    """
    angle = np.asarray(angle_deg)
    if angle.size > 1 and angle.min() >= -360.0 and angle.max() < 720.0:
        # The same to the last bit, in a third of np.mod's time; + 0.0 makes a zero positive.
        turned = np.where(angle < 0.0, angle + 360.0, angle + 0.0)
        return np.where(turned >= 360.0, turned - 360.0, turned)
    turned = np.mod(angle_deg, 360.0)
    return np.where(turned >= 360.0, 0.0, turned)[()]


def azimuth_of(east: ArrayLike, north: ArrayLike) -> Any:
    """Azimuth of horizontal vectors, ``0 <= azimuth < 360``; 0 of no vector."""
    return wrap360(np.degrees(np.arctan2(east, north)))


def angle_between(to_deg: ArrayLike, from_deg: ArrayLike) -> Any:
    """The signed turn from one azimuth to another, ``-180 <= turn < 180``, clockwise positive."""
    return np.mod(np.subtract(to_deg, from_deg) + 180.0, 360.0) - 180.0


def unwrapped(azimuth_deg: ArrayLike) -> Floats:
    """Azimuths along a path as a continuous angle that counts full turns."""
    return floats(np.unwrap(floats(azimuth_deg), period=360.0))


def mean_azimuth(azimuth_deg: ArrayLike, weight: ArrayLike | None = None) -> float:
    """The mean direction: azimuth of the weighted sum of unit vectors; NaN of nothing."""
    angle = np.radians(floats(azimuth_deg))
    w = np.ones_like(angle) if weight is None else floats(weight)
    if angle.size == 0 or not w.sum() > 0:
        return float("nan")
    return float(azimuth_of((w * np.sin(angle)).sum(), (w * np.cos(angle)).sum()))


def interpolate_azimuthal(
    azimuth_deg: ArrayLike, node_azimuth_deg: ArrayLike, node_value: ArrayLike
) -> Any:
    """Straight lines between nodes around the full circle.

    Nodes must be sorted and in ``[0, 360)``; two nodes of the same azimuth are a vertical edge
    (read exactly at the edge, the later row of the pair counts). One node is a constant.
    """
    node, value = floats(node_azimuth_deg), floats(node_value)
    if node.size == 0:
        raise ValueError("nothing to interpolate: no nodes")
    # Beside zero alone, nodes can be so near to each other that the slope between overflows.
    node = np.where(node < 1e-12, 0.0, node)
    # The last node one turn back and the first one turn on close the circle; np.interp's own
    # period= would sort rows of equal azimuth and lose which side of an edge they stand on.
    around = np.concatenate([[node[-1] - 360.0], node, [node[0] + 360.0]])
    return np.interp(wrap360(azimuth_deg), around, np.concatenate([[value[-1]], value, [value[0]]]))


def in_sector(azimuth_deg: ArrayLike, from_deg: float, to_deg: float) -> Any:
    """Whether azimuths lie in the sector that runs clockwise from one azimuth to another.

    Both ends belong to it; ``from_deg == to_deg`` is that one direction, and a sector of 360
    degrees or more is the whole circle.
    """
    if to_deg - from_deg >= 360.0:
        return np.ones(np.shape(azimuth_deg), dtype=bool)[()]
    return wrap360(np.subtract(azimuth_deg, from_deg)) <= wrap360(to_deg - from_deg)


def great_circle_elevation(
    azimuth_deg: ArrayLike,
    start_azimuth_deg: float,
    start_elevation_deg: float,
    end_azimuth_deg: float,
    end_elevation_deg: float,
) -> Any:
    """Elevation of a straight edge, seen in perspective, between two of its points.

    A straight line in space and the eye span a plane; it cuts the sphere of directions in a
    great circle. With ``n`` the plane's normal, a direction of azimuth a lies on it where
    ``tan e = -(n_x cos a + n_y sin a) / n_z``.
    """
    a0, e0 = np.radians(start_azimuth_deg), np.radians(start_elevation_deg)
    a1, e1 = np.radians(end_azimuth_deg), np.radians(end_elevation_deg)
    first = np.array([np.cos(e0) * np.cos(a0), np.cos(e0) * np.sin(a0), np.sin(e0)])
    last = np.array([np.cos(e1) * np.cos(a1), np.cos(e1) * np.sin(a1), np.sin(e1)])
    n = np.cross(first, last)
    if abs(n[2]) < 1e-12:
        raise ValueError("the two ends of a straight edge lie at one azimuth")
    a = np.radians(azimuth_deg)
    return np.degrees(np.arctan(-(n[0] * np.cos(a) + n[1] * np.sin(a)) / n[2]))


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
    heading = azimuth_of(m[..., 1, 0], m[..., 0, 0])
    pitch = np.degrees(np.arctan2(-m[..., 2, 0], np.hypot(m[..., 0, 0], m[..., 1, 0])))
    tilt = np.degrees(np.arctan2(m[..., 2, 1], m[..., 2, 2]))
    return floats(heading), floats(tilt), floats(pitch)


def direction_of(vector: ArrayLike) -> tuple[Floats, Floats]:
    """Azimuth and elevation of vectors in the level frame (north, east, down)."""
    v = floats(vector)
    azimuth = azimuth_of(v[..., 1], v[..., 0])
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
