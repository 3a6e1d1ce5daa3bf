"""Invented skylines: what the virtual operator traces and what every result is held against.

A scene is a closed line of nodes in azimuth and elevation; where two nodes share an azimuth the
line climbs or falls vertically. Roof edges are great circles, as straight edges look in
perspective.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise
from typing import Any

import numpy as np
from numpy.typing import ArrayLike

from logger.arrays import Floats, floats, freeze_columns
from logger.geometry import (
    angle_between,
    in_sector,
    interpolate_azimuthal,
)
from logger.horizon import HorizonProfile, Obstruction

WIDEST_DEG = 18.0  # between two corners that are joined by a straight line
SIDE_DEG = 1e-7  # how far beside a vertical edge its two elevations are read


@dataclass(frozen=True)
class Steel:
    """What iron in the surroundings adds to the Earth's field at the spot of a sweep.

    Components are north, east, down of true north.
    """

    steady_ut: tuple[float, float, float] = (0.0, 0.0, 0.0)  # The same all the time. [uT]
    # Grows as the operator, turning, carries the board towards `turning_azimuth_deg`, and is
    # the opposite on the other side. [uT]
    turning_ut: tuple[float, float, float] = (0.0, 0.0, 0.0)
    turning_azimuth_deg: float = 0.0  # [deg]
    # Zero at the start, this at the end: something is brought nearer during the sweep. [uT]
    growing_ut: tuple[float, float, float] = (0.0, 0.0, 0.0)

    def field_ut(self, azimuth_deg: ArrayLike, progress: ArrayLike) -> Floats:
        """The added field along a motion."""
        lean = np.cos(np.radians(angle_between(azimuth_deg, self.turning_azimuth_deg)))
        return floats(
            floats(self.steady_ut)
            + lean[:, None] * floats(self.turning_ut)
            + floats(progress)[:, None] * floats(self.growing_ut)
        )


@dataclass(frozen=True, eq=False)
class Scene:
    """A skyline that is known exactly."""

    name: str
    azimuth_deg: Floats  # Nodes in order, from 0 to below 360. [deg] Shape (K,).
    elevation_deg: Floats  # [deg] Shape (K,)
    obstructions: tuple[Obstruction, ...] = ()  # Named sectors that together cover the whole circle
    steel: Steel | None = None  # Magnetic disturbance of the spot

    def __post_init__(self) -> None:
        freeze_columns(self, ("azimuth_deg", "elevation_deg"))

    def elevation_at(self, azimuth_deg: ArrayLike) -> Any:
        """Elevation of the skyline."""
        return interpolate_azimuthal(azimuth_deg, self.azimuth_deg, self.elevation_deg)

    def truth(self) -> HorizonProfile:
        """The skyline as a profile: nodes every 0.1 degrees and vertical edges as two rows."""
        return HorizonProfile(
            azimuth_deg=self.azimuth_deg,
            elevation_deg=self.elevation_deg,
            obstructions=self.obstructions,
            steps=(f"the skyline of the invented scene {self.name!r}, exact",),
        )

    def as_csv(self) -> str:
        """The skyline as a horizon CSV: vertical edges are two rows of one azimuth."""
        rows = [
            "# the true skyline of an invented scene, made by the virtual board",
            f"# scene: {self.name}",
            "azimuth_deg,elevation_deg,obstruction",
        ]
        for a, e in zip(self.azimuth_deg, self.elevation_deg, strict=True):
            here = self.obstruction_at(float(a) + SIDE_DEG)
            rows.append(f"{a:.6f},{e:.4f},{here.name if here else ''}")
        return "\n".join(rows) + "\n"

    def obstruction_at(self, azimuth_deg: float) -> Obstruction | None:
        """The named sector that an azimuth lies in."""
        for o in self.obstructions:
            if in_sector(azimuth_deg, o.from_azimuth_deg, o.to_azimuth_deg):
                return o
        return None

    def path(self, from_deg: float, to_deg: float) -> tuple[Floats, Floats]:
        """The skyline clockwise from one azimuth to another, as a line to follow."""
        turns = np.arange(np.floor(from_deg / 360), np.floor(to_deg / 360) + 1) * 360.0
        azimuth = (turns[:, None] + self.azimuth_deg).ravel()
        elevation = np.tile(self.elevation_deg, len(turns))
        inside = (azimuth > from_deg) & (azimuth < to_deg)
        ends = floats(self.elevation_at([from_deg, to_deg]))
        return (
            np.concatenate([[from_deg], azimuth[inside], [to_deg]]),
            np.concatenate([ends[:1], elevation[inside], ends[1:]]),
        )

    def corners(self, tolerance_deg: float = 0.5) -> tuple[Floats, Floats]:
        """The fewest nodes whose straight connections stay near the skyline.

        Repeated halving at the node farthest from the chord (Ramer 1972, Douglas and Peucker
        1973), here measured in elevation, and along vertical edges always at their ends.
        """
        a, e = self.azimuth_deg, self.elevation_deg
        edges = np.flatnonzero(np.diff(a) == 0)
        keep = {0, len(a) - 1, *edges.tolist(), *(edges + 1).tolist()}
        fixed = sorted(keep)
        spans = list(pairwise(fixed))
        while spans:
            i, j = spans.pop()
            if j - i < 2 or a[j] == a[i]:
                continue
            chord = e[i] + (e[j] - e[i]) * (a[i : j + 1] - a[i]) / (a[j] - a[i])
            off = np.abs(e[i : j + 1] - chord)
            k = i + int(np.argmax(off))
            if off[k - i] > tolerance_deg:
                keep.add(k)
                spans += [(i, k), (k, j)]
        for i, j in pairwise(sorted(keep)):
            parts = int(np.ceil((a[j] - a[i]) / WIDEST_DEG))
            keep |= {
                int(np.searchsorted(a, a[i] + (a[j] - a[i]) * k / parts)) for k in range(1, parts)
            }
        order = np.array(sorted(keep))
        return a[order], e[order]
