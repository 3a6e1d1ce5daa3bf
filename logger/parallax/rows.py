"""Rows of modules one behind the other: when the row ahead shades the next.

A row ahead is a wall with a level top. Whether it shades hangs on the sun's profile angle p, the
elevation that its light has in the upright plane square to the rows: ``tan p = tan e / cos g``, for
a sun at elevation e and the azimuth g from the rows' front.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from logger.access.plane import Plane
from logger.arrays import Floats, floats
from logger.errors import UsageError
from logger.parallax.things import Bodies, seen


@dataclass(frozen=True)
class Rows:
    """Alike rows on level ground, all facing a plane's azimuth."""

    plane: Plane
    slant_m: float  # Height of the modules along their slope
    pitch_m: float  # From a front edge to the next

    def __post_init__(self) -> None:
        depth = self.slant_m * np.cos(np.radians(self.plane.tilt_deg))
        if not self.slant_m > 0 or not self.pitch_m > depth:
            what = f"rows {depth:.2f} m deep and {self.pitch_m:g} m apart stand in each other"
            raise UsageError(what, hint="--rows SLANT,PITCH in metres, such as 1.7,3.5")

    @property
    def rise_m(self) -> float:
        """Of the top edge over the front edge."""
        return float(self.slant_m * np.sin(np.radians(self.plane.tilt_deg)))

    def skyline_deg(self, azimuth_deg: Floats, share: float = 0.0) -> Floats:
        """What the row ahead hides from a point at a share of the slant height.

        As a body like all others: a wall without end along the top edge of the row ahead.
        """
        t, a = np.radians([self.plane.tilt_deg, self.plane.azimuth_deg])
        reach = self.slant_m * np.cos(t)
        away = self.pitch_m - reach + share * reach
        sizes = floats(
            [[1e4 * self.pitch_m, 1e-6, self.plane.azimuth_deg, (1.0 - share) * self.rise_m]]
        )
        wall = Bodies("box", floats([away * np.sin(a)]), floats([away * np.cos(a)]), sizes)
        elevation, cell, _ = seen(wall, np.zeros((1, 3)), azimuth_deg, 360.0 / len(azimuth_deg))
        found = np.zeros(len(azimuth_deg))
        found[cell[0]] = elevation[0]
        return found

    @property
    def shade_angle_deg(self) -> float:
        """Profile angle below which the sun leaves some of the next row in shade."""
        t = np.radians(self.plane.tilt_deg)
        return float(np.degrees(np.arctan2(self.rise_m, self.pitch_m - self.slant_m * np.cos(t))))
