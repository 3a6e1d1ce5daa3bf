"""What stands around a roof, as simple bodies in space, and how each looks from anywhere.

A body's outline is where a line of sight touches it: a box ends at its walls, a crown (an
ellipsoid about an upright axis) and a pole turn with whoever looks at them. All of it is worked
out for many bodies and eyes at once, one row each.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np

from logger.arrays import Floats, Ints, floats
from logger.geometry import angle_between

Shape = Literal["box", "gable", "crown", "pole"]
BOXES = ("box", "gable")

HEIGHTS: dict[Shape, int] = {"box": 5, "gable": 5, "crown": 3, "pole": 3}
"""Which number of a form is the tangent of a height, see `bodies_of`."""

_BOX = floats([[-1e4, -1.0, -6.0, -4.0, -1e4, -3.0], [1e4, 9.0, 4.0, 3.0, 1e4, 20.0]])
LIMITS: dict[Shape, Floats] = {
    "box": _BOX,
    "gable": np.hstack([_BOX, [[-2.5], [0.5]]]),
    "crown": floats([[-1e4, -1.0, -6.0, -3.0, -3.0], [1e4, 9.0, -0.02, 20.0, 3.0]]),
    "pole": floats([[-1e4, -1.0, -7.0, -3.0], [1e4, 9.0, -0.02, 20.0]]),
}
"""Of the numbers that tell a form, see `bodies_of`: a start may not lead out of them."""

NEAREST = 1.02
"""Nobody looks out of a body: an eye in it counts as this many radii from its axis."""


@dataclass(frozen=True, eq=False)
class Bodies:
    """Bodies of one shape, one row each.

    Sizes of a box: width, depth, azimuth that its depth points to [deg], height of its top. Of a
    gable: those of its walls as a box, and how far the ridge along its width is above them. Of a
    crown: radius, height of its middle, half its height. Of a pole: radius, height of its top.
    """

    shape: Shape
    east_m: Floats  # Of the axis
    north_m: Floats
    sizes: Floats  # [m] Shape (n, 5), (n, 4), (n, 3) or (n, 2)

    @property
    def top_m(self) -> Floats:
        """Height of the highest point. Shape (n,)."""
        if self.shape in ("crown", "gable"):
            return floats(self.sizes[:, -2] + self.sizes[:, -1])
        return floats(self.sizes[:, -1])

    def corners_m(self) -> Floats:
        """East and north of the outline seen from above. Shape (n, K, 2)."""
        if self.shape in BOXES:
            along = self.sizes[:, :1] / 2 * floats([1, 1, -1, -1])
            away = self.sizes[:, 1:2] / 2 * floats([1, -1, -1, 1])
        else:
            turn = np.linspace(0.0, 2 * np.pi, 25)
            along, away = self.sizes[:, :1] * np.cos(turn), self.sizes[:, :1] * np.sin(turn)
        a = np.radians(self.sizes[:, 2:3]) if self.shape in BOXES else np.zeros((len(along), 1))
        east = self.east_m[:, None] + away * np.sin(a) + along * np.cos(a)
        north = self.north_m[:, None] + away * np.cos(a) - along * np.sin(a)
        return floats(np.stack([east, north], axis=-1))


def bodies_of(shape: Shape, form: Floats, from_m: Floats) -> Bodies:
    """Bodies told as a view from one place: azimuth and log distance, then form by distance.

    Box: log width over distance, log depth over width, azimuth of its depth over that of the view
    [deg], tangent of its top; azimuth and distance are those of the middle of its front. Gable: a
    box, and the log of its ridge's rise over its depth. Crown: log
    radius over distance, tangent of its middle, log half height over radius. Pole: log radius over
    distance, tangent of its top. Row by row.
    """
    form = np.clip(form, *LIMITS[shape])
    a, d = np.radians(form[:, 0]), np.exp(form[:, 1])
    east, north = from_m[0] + d * np.sin(a), from_m[1] + d * np.cos(a)
    first = d * np.exp(form[:, 2])
    if shape in BOXES:
        depth, facing = first * np.exp(form[:, 3]), form[:, 0] + form[:, 4]
        east = east + depth / 2 * np.sin(np.radians(facing))
        north = north + depth / 2 * np.cos(np.radians(facing))
        more = [depth, facing, from_m[2] + d * form[:, 5]]
        if shape == "gable":
            more.append(depth * np.exp(form[:, 6]))
    elif shape == "crown":
        more = [from_m[2] + d * form[:, 3], first * np.exp(form[:, 4])]
    else:
        more = [from_m[2] + d * form[:, 3]]
    return Bodies(
        shape,
        floats(east),
        floats(north),
        floats(np.stack([first, *more], axis=1)),
    )


def seen(
    bodies: Bodies, eye_m: Floats, azimuth_deg: Floats, edge_deg: float, *, sunk: bool = False
) -> tuple[Floats, Ints, Floats]:
    """Elevations of bodies at the azimuths of an even grid, each row from an eye of its own.

    Sides are ramps of `edge_deg` in width, so that a body a little further on looks a little
    different. Below level nothing is seen, unless `sunk` bodies are asked for. Returns elevation
    [deg] and its cells of the grid, both of shape (n, W), and the distance to what is seen. [m]
    """
    n = max(len(eye_m), len(bodies.east_m))
    east = np.broadcast_to(bodies.east_m - eye_m[:, 0], n)
    north = np.broadcast_to(bodies.north_m - eye_m[:, 1], n)
    sizes = np.broadcast_to(bodies.sizes, (n, bodies.sizes.shape[1]))
    up = np.broadcast_to(eye_m[:, 2], n)
    middle = np.degrees(np.arctan2(east, north))
    away = np.hypot(east, north)
    if bodies.shape in BOXES:
        left, right = _box_sides(bodies, eye_m, middle, n)
    else:
        away = np.maximum(away, NEAREST * sizes[:, 0])
        half = np.degrees(np.arcsin(sizes[:, 0] / away))
        left, right = -half, half
    step = 360.0 / len(azimuth_deg)
    first = np.floor((middle + left - edge_deg) / step).astype(np.int64)
    width = int(np.ceil((right - left).max() + 2 * edge_deg) / step) + 2
    width = min(width, len(azimuth_deg))
    cell = (first[:, None] + np.arange(width)) % len(azimuth_deg)
    turn = angle_between(azimuth_deg[cell], middle[:, None])
    if bodies.shape in BOXES:
        # A box around the eye's own side may reach past the back.
        turn = np.where(turn < left[:, None] - 0.51 * edge_deg - step, turn + 360.0, turn)
        turn = np.where(turn > right[:, None] + 0.51 * edge_deg + step + 180.0, turn - 360.0, turn)
    inside = np.clip(turn, left[:, None] + 1e-6, right[:, None] - 1e-6)
    if bodies.shape in BOXES:
        far = _box_distance(sizes, east, north, middle, inside)
        slope = (sizes[:, 3] - up)[:, None] / far
        if bodies.shape == "gable":
            slope, far = _with_ridge(sizes, np.stack([east, north, up]), middle, inside, slope, far)
    elif bodies.shape == "crown":
        slope, far = _crown_slope(sizes, away, up, inside)
    else:
        far = np.broadcast_to(away[:, None], inside.shape)
        slope = np.broadcast_to(((sizes[:, 1] - up) / away)[:, None], inside.shape)
    cover = np.minimum(turn - left[:, None], right[:, None] - turn) / edge_deg + 0.5
    slope = slope if sunk else np.maximum(slope, 0.0)
    elevation = np.degrees(np.arctan(slope)) * np.clip(cover, 0.0, 1.0)
    return floats(elevation), cell, floats(far)


def _box_sides(bodies: Bodies, eye_m: Floats, middle_deg: Floats, n: int) -> tuple[Floats, Floats]:
    corners = bodies.corners_m() - eye_m[:, None, :2]
    turn = angle_between(
        np.degrees(np.arctan2(corners[..., 0], corners[..., 1])), middle_deg[:, None]
    )
    return floats(np.broadcast_to(turn.min(axis=1), n)), floats(
        np.broadcast_to(turn.max(axis=1), n)
    )


def _box_distance(
    sizes: Floats, east: Floats, north: Floats, middle_deg: Floats, turn_deg: Floats
) -> Floats:
    """Along each azimuth to where the box is entered: the later of its two pairs of walls."""
    facing = np.radians(sizes[:, 2])
    to = np.radians(middle_deg[:, None] + turn_deg) - facing[:, None]
    entered = np.full(turn_deg.shape, 0.05)
    # In the box's own axes: where its middle lies, and the way of the sight.
    for half, at, way in (
        (sizes[:, 0] / 2, east * np.cos(facing) - north * np.sin(facing), np.sin(to)),
        (sizes[:, 1] / 2, east * np.sin(facing) + north * np.cos(facing), np.cos(to)),
    ):
        way = np.where(np.abs(way) < 1e-9, 1e-9, way)
        entered = np.maximum(entered, (at[:, None] - np.sign(way) * half[:, None]) / way)
    return floats(entered)


def _with_ridge(
    sizes: Floats, at_m: Floats, middle_deg: Floats, turn_deg: Floats, slope: Floats, far: Floats
) -> tuple[Floats, Floats]:
    """Slope and distance where the ridge, or an edge from its ends down to the walls, is higher."""
    east, north, up = at_m
    facing = np.radians(sizes[:, 2])
    across = sizes[:, 0] / 2 * np.stack([np.cos(facing), -np.sin(facing)])
    away = sizes[:, 1] / 2 * np.stack([np.sin(facing), np.cos(facing)])
    walls, ridge = sizes[:, 3] - up, sizes[:, 3] + sizes[:, 4] - up

    def corner(x: int, y: int) -> Floats:
        height = walls if y else ridge
        return np.stack([*(np.stack([east, north]) + x * across + y * away), height])[:, :, None]

    edges = [((1, 0), (-1, 0)), *(((x, 0), (x, y)) for x in (1, -1) for y in (1, -1))]
    sin, cos = (f(np.radians(middle_deg[:, None] + turn_deg)) for f in (np.sin, np.cos))
    for one, other in edges:
        start, along = corner(*one), corner(*other) - corner(*one)
        with np.errstate(divide="ignore", invalid="ignore"):
            share = (start[0] * cos - start[1] * sin) / (along[1] * sin - along[0] * cos)
            away_m = (start[0] + share * along[0]) * sin + (start[1] + share * along[1]) * cos
            rise = (start[2] + share * along[2]) / away_m
        higher = (share >= 0) & (share <= 1) & (away_m > 0.05) & (rise > slope)
        slope, far = np.where(higher, rise, slope), np.where(higher, away_m, far)
    return floats(slope), floats(far)


def _crown_slope(
    sizes: Floats, away: Floats, up: Floats, turn_deg: Floats
) -> tuple[Floats, Floats]:
    """In each upright plane through the eye, the slope of the tangent to an ellipse.

    ``(z - s t)^2 = b^2 + a^2 t^2`` for the slope t of a line through the eye at the level distance
    s from the ellipse's middle, z above the eye.
    """
    turn = np.radians(turn_deg)
    radius, z, half = sizes[:, :1], sizes[:, 1:2] - up[:, None], sizes[:, 2:3]
    along, aside = away[:, None] * np.cos(turn), away[:, None] * np.sin(turn)
    share = np.clip(1.0 - (aside / radius) ** 2, 0.0, None)
    a2, b2 = radius**2 * share, half**2 * share
    root = np.sqrt(np.clip((along * z) ** 2 - (along**2 - a2) * (z**2 - b2), 0.0, None))
    slope = (along * z + root) / np.maximum(along**2 - a2, 1e-6)
    return floats(slope), floats(along)


def skyline(elevation_deg: Floats, cell: Ints, onto_deg: Floats) -> Floats:
    """The higher of some skylines and bodies before them; changes and returns the first."""
    rows = np.arange(len(cell))[:, None]
    onto_deg[rows, cell] = np.maximum(onto_deg[rows, cell], elevation_deg)
    return onto_deg
