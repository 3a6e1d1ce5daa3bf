"""Rows of modules one behind the other: when the row ahead shades the next.

A row ahead is a wall with a level top. A sun at elevation e and the azimuth g from the rows' front
has the profile angle p, ``tan p = tan e / cos g``, the elevation that its light has in the upright
plane square to the rows (solar texts since Olgyay and Olgyay 1957; from memory). Of a row of slant
height L at tilt b, a distance d in front of the same row on level ground, a point at the share s of
the slant height is in shade while ``tan p < (1 - s) L sin b / (d - L cos b + (1 - s) L cos b)``,
with d from front edge to front edge: plane geometry.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from logger.access.plane import Plane
from logger.arrays import Floats, floats
from logger.errors import UsageError
from logger.geometry import angle_between
from logger.parallax.things import Bodies, seen


@dataclass(frozen=True)
class Rows:
    """Alike rows on level ground, all facing a plane's azimuth."""

    plane: Plane
    slant_m: float  # Height of the modules along their slope
    pitch_m: float  # From a front edge to the next
    length_m: float = float("inf")  # Of a row

    def __post_init__(self) -> None:
        depth = self.slant_m * np.cos(np.radians(self.plane.tilt_deg))
        if not self.slant_m > 0 or not self.pitch_m > depth or not self.length_m > 0:
            what = f"rows {depth:.2f} m deep and {self.pitch_m:g} m apart stand in each other"
            raise UsageError(what, hint="--rows SLANT,PITCH in metres, such as 1.7,3.5")

    @property
    def rise_m(self) -> float:
        """Of the top edge over the front edge."""
        return float(self.slant_m * np.sin(np.radians(self.plane.tilt_deg)))

    def skyline_deg(self, azimuth_deg: Floats, share: float = 0.0, aside_m: float = 0.0) -> Floats:
        """What the row ahead hides from a point at a share of the slant height, off its middle.

        As a body like all others: a wall along the top edge of the row ahead.
        """
        t, a = np.radians([self.plane.tilt_deg, self.plane.azimuth_deg])
        reach = self.slant_m * np.cos(t)
        away = self.pitch_m - reach + share * reach
        length = min(self.length_m, 1e4 * self.pitch_m)
        east, north = (
            away * np.sin(a) - aside_m * np.cos(a), away * np.cos(a) + aside_m * np.sin(a)
        )  # fmt: skip
        sizes = floats([[length, 1e-6, self.plane.azimuth_deg, (1.0 - share) * self.rise_m]])
        wall = Bodies("box", floats([east]), floats([north]), sizes)
        elevation, cell, _ = seen(wall, np.zeros((1, 3)), azimuth_deg, 360.0 / len(azimuth_deg))
        found = np.zeros(len(azimuth_deg))
        found[cell[0]] = elevation[0]
        return found

    @property
    def shade_angle_deg(self) -> float:
        """Profile angle below which the sun leaves some of the next row in shade."""
        t = np.radians(self.plane.tilt_deg)
        return float(np.degrees(np.arctan2(self.rise_m, self.pitch_m - self.slant_m * np.cos(t))))


def profile_angle_deg(
    elevation_deg: ArrayLike, azimuth_deg: ArrayLike, facing_deg: float
) -> Floats:
    """Elevation of the sun's light in the upright plane square to what faces an azimuth."""
    e, g = np.radians(floats(elevation_deg)), np.radians(angle_between(azimuth_deg, facing_deg))
    return floats(np.degrees(np.arctan2(np.sin(e), np.cos(e) * np.cos(g))))


def shaded_share(rows: Rows, elevation_deg: ArrayLike, azimuth_deg: ArrayLike) -> Floats:
    """Share of the slant height that endless rows leave in shade; 0 of a sun from behind.

    The top edge ahead shades up to where the ray through it meets the next row.
    """
    p = np.radians(profile_angle_deg(elevation_deg, azimuth_deg, rows.plane.azimuth_deg))
    t = np.radians(rows.plane.tilt_deg)
    with np.errstate(divide="ignore", invalid="ignore"):
        # By the sine rule in the triangle of the top edge, its shadow and the next front edge.
        lit = rows.pitch_m * np.sin(p) / (rows.slant_m * np.sin(p + t))
    return floats(np.clip(np.where((p > 0) & (p < np.pi / 2), 1.0 - lit, 0.0), 0.0, 1.0))
