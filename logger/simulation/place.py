"""Invented places in three dimensions: what stands where, and the skyline from any position.

Positions are metres east, north and up from the place's origin. A `Scene` is what stands there as
seen from one position, by exact geometry, so that sweeps of several points agree with each other.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from itertools import combinations

import numpy as np

from logger.arrays import Floats, floats
from logger.geometry import angle_between, wrap360
from logger.simulation.scene import Scene, Steel
from logger.simulation.scenery import Part, composed, rolling_ground


@dataclass(frozen=True)
class Box:
    """An upright block, flat on top or with a ridge along the middle: a house, a shed, a wall."""

    name: str
    east_m: float  # Of its middle
    north_m: float
    width_m: float  # Along its own x, which points `turned_deg` clockwise from east
    depth_m: float
    top_m: float  # Height of its walls
    turned_deg: float = 0.0
    kind: str = "building"
    ridge_m: float = 0.0  # Of a ridge along its own x, above the walls

    def corners_m(self) -> Floats:
        """East, north and height of the walls' corners in order, then of the ridge's ends."""
        c, s = math.cos(math.radians(self.turned_deg)), math.sin(math.radians(self.turned_deg))
        x = self.width_m / 2 * floats([1, 1, -1, -1, 1, -1])
        y = self.depth_m / 2 * floats([1, -1, -1, 1, 0, 0])
        up = self.top_m + self.ridge_m * floats([0, 0, 0, 0, 1, 1])
        found = np.stack([self.east_m + c * x + s * y, self.north_m - s * x + c * y, up], axis=1)
        return found if self.ridge_m else found[:4]

    def seen_from(self, eye_m: Floats) -> Part:
        """Its outline: the highest of all straight lines from corner to corner."""
        corners = self.corners_m() - eye_m
        azimuth = np.degrees(np.arctan2(corners[:, 0], corners[:, 1]))
        lines = np.stack([corners[list(pair)] for pair in combinations(range(len(corners)), 2)])

        def shape(azimuth_deg: Floats) -> Floats:
            away, up = _crossings_m(lines, azimuth_deg)
            return floats(np.degrees(np.arctan2(up, away)).max(axis=-1))

        return _between(self.name, self.kind, azimuth, shape, _nearest_m(lines[..., :2]))


@dataclass(frozen=True)
class Crown:
    """A tree: a crown in the shape of an ellipsoid, whatever carries it hidden below."""

    name: str
    east_m: float
    north_m: float
    radius_m: float  # Level
    middle_m: float  # Height of the crown's middle
    half_height_m: float
    kind: str = "deciduous"

    def seen_from(self, eye_m: Floats) -> Part:
        """Its outline: in each upright plane through the eye, the tangent to an ellipse."""
        east, north = self.east_m - eye_m[0], self.north_m - eye_m[1]
        away, z = math.hypot(east, north), self.middle_m - eye_m[2]
        if away <= self.radius_m:
            raise ValueError(f"the eye stands within the crown {self.name!r}")
        middle = math.degrees(math.atan2(east, north))
        half = math.degrees(math.asin(self.radius_m / away))

        def shape(azimuth_deg: Floats) -> Floats:
            turn = np.radians(angle_between(azimuth_deg, middle))
            along, aside = away * np.cos(turn), away * np.sin(turn)
            share = np.clip(1 - (aside / self.radius_m) ** 2, 0.0, None)
            a2, b2 = self.radius_m**2 * share, self.half_height_m**2 * share
            # (z - s t)^2 = b^2 + a^2 t^2 for the slope t of a line through the eye.
            root = np.sqrt(np.clip((along * z) ** 2 - (along**2 - a2) * (z**2 - b2), 0.0, None))
            slope = (along * z + root) / np.maximum(along**2 - a2, 1e-12)
            return floats(np.degrees(np.arctan(slope)))

        ends = floats([middle - half, middle + half])
        return _between(self.name, self.kind, ends, shape, away - self.radius_m)


@dataclass(frozen=True)
class Pole:
    """A mast, a chimney: as wide from every side."""

    name: str
    east_m: float
    north_m: float
    width_m: float
    top_m: float
    kind: str = "pole or wire"

    def seen_from(self, eye_m: Floats) -> Part:
        """Its outline: an upright strip with a level top."""
        east, north = self.east_m - eye_m[0], self.north_m - eye_m[1]
        away = math.hypot(east, north)
        middle = math.degrees(math.atan2(east, north))
        half = math.degrees(math.asin(min(self.width_m / 2 / away, 1.0)))
        up = math.degrees(math.atan2(self.top_m - eye_m[2], away))
        ends = floats([middle - half, middle + half])
        return _between(
            self.name, self.kind, ends, lambda azimuth: np.full(np.shape(azimuth), up), away
        )


@dataclass(frozen=True)
class Place:
    """What stands where, below a far ridge that looks the same from every point."""

    name: str
    things: tuple[Box | Crown | Pole, ...]
    ridge_low_deg: float = 1.0
    ridge_high_deg: float = 5.0
    ridge_name: str = "far hills"
    seed: int = 0  # Of the ridge's shape
    steel: Steel | None = None

    def scene(self, east_m: float, north_m: float, up_m: float) -> Scene:
        """The skyline from a position."""
        eye = floats([east_m, north_m, up_m])
        seen = [thing.seen_from(eye) for thing in self.things]
        name = f"{self.name} from {east_m:g}, {north_m:g}, {up_m:g} m"
        return composed(name, self.ridge(), seen, self.steel)

    def ridge(self) -> Part:
        """The far ridge alone."""
        rng = np.random.default_rng([self.seed, 107])
        return rolling_ground(rng, self.ridge_name, self.ridge_low_deg, self.ridge_high_deg)


def _between(
    name: str,
    kind: str,
    azimuth_deg: Floats,
    shape: Callable[[Floats], Floats],
    distance_m: float,
) -> Part:
    """A part from the leftmost to the rightmost of some azimuths less than half a turn apart."""
    turn = angle_between(azimuth_deg, azimuth_deg[0])
    first, last = azimuth_deg[0] + turn.min(), azimuth_deg[0] + turn.max()
    # Nodes of a scene stand at whole millionths of a degree: its sides go there, inwards.
    start, end = math.ceil(first * 1e6) / 1e6, math.floor(last * 1e6) / 1e6
    return Part(name, kind, float(wrap360(start)), float(wrap360(end)), shape, distance_m)


def _crossings_m(lines_m: Floats, azimuth_deg: Floats) -> tuple[Floats, Floats]:
    """How far along each azimuth each line is crossed, and how high; far down where it is not."""
    ray = np.stack([np.sin(np.radians(azimuth_deg)), np.cos(np.radians(azimuth_deg))], axis=-1)
    start, along = lines_m[:, 0], lines_m[:, 1] - lines_m[:, 0]
    across = ray[..., None, 0] * along[:, 1] - ray[..., None, 1] * along[:, 0]
    with np.errstate(divide="ignore", invalid="ignore"):
        away = (start[:, 0] * along[:, 1] - start[:, 1] * along[:, 0]) / across
        share = (start[:, 0] * ray[..., None, 1] - start[:, 1] * ray[..., None, 0]) / across
        hit = (away > 0) & (share >= -1e-9) & (share <= 1 + 1e-9)
        up = np.where(hit, start[:, 2] + share * along[:, 2], -np.inf)
    return floats(np.where(hit, away, 1.0)), floats(up)


def _nearest_m(sides_m: Floats) -> float:
    """Distance from the origin to the nearest point of any side."""
    start, along = sides_m[:, 0], sides_m[:, 1] - sides_m[:, 0]
    share = np.clip(-(start * along).sum(axis=1) / (along**2).sum(axis=1), 0.0, 1.0)
    return float(np.linalg.norm(start + share[:, None] * along, axis=1).min())
