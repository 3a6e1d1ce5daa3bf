"""What a skyline takes: of the sun minute by minute, of the sky once for all."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from logger.access.sky_view import segments, sky_above
from logger.access.surroundings import Layer
from logger.arrays import Floats, Ints, floats
from logger.sun import DISC_RADIUS_DEG, SunYear


def disc_above(height_deg: Floats) -> Floats:
    """Share of the sun's disc above a level edge.

    ``1/2 + (x sqrt(1 - x^2) + asin x) / pi`` with x the height of the centre in radii: the area
    of a circle's segment.
    """
    x = np.clip(height_deg / DISC_RADIUS_DEG, -1.0, 1.0)
    return floats(0.5 + (x * np.sqrt(1.0 - x * x) + np.arcsin(x)) / np.pi)


@dataclass(frozen=True, eq=False)
class SunBlocking:
    """The rows of a `SunYear` at which something hides some of the sun."""

    row: Ints  # Shape (B,)
    taken: Floats  # Share of the whole disc that each layer takes. Shape (L, B).
    interval: Ints  # Which of the layer's `Names` intervals the sun stands in. Shape (L, B).

    @property
    def hidden(self) -> Floats:
        """Share of the disc hidden by all layers together. Shape (B,)."""
        return floats(self.taken.sum(axis=0))


def block_sun(layers: Sequence[Layer], sun: SunYear, open_disc: Floats) -> SunBlocking:
    """Find what hides the sun, and how much of it."""
    highest = max(float(layer.profile.elevation_deg.max()) for layer in layers)
    row = np.flatnonzero(sun.elevation_deg < max(highest, 0.0) + DISC_RADIUS_DEG)
    azimuth, elevation = sun.azimuth_deg[row], sun.elevation_deg[row]
    height = np.stack([layer.height_at(azimuth) for layer in layers])
    touched = np.flatnonzero(elevation - height[-1] <= DISC_RADIUS_DEG)
    row, azimuth, height = row[touched], azimuth[touched], height[:, touched]
    hidden = open_disc[row] - disc_above(elevation[touched] - height)
    opacity = np.stack([layer.opacity[sun.month[row]] for layer in layers])
    return SunBlocking(
        row,
        opacity * np.diff(hidden, axis=0, prepend=0.0),
        np.stack([layer.names.interval_at(azimuth) for layer in layers]),
    )


def block_sky(layers: Sequence[Layer], tilt_deg: float, plane_deg: float) -> tuple[Floats, ...]:
    """What each layer takes of the plane's view of the sky, by interval and month."""
    at, weight = segments(
        *(layer.profile.azimuth_deg for layer in layers),
        *(layer.names.cut_deg for layer in layers),
        plane_deg=plane_deg,
    )
    behind = sky_above(0.0, at, tilt_deg, plane_deg)
    result = []
    for layer in layers:
        above = sky_above(layer.height_at(at), at, tilt_deg, plane_deg)
        by_interval = np.bincount(
            layer.names.interval_at(at), (behind - above) * weight, len(layer.names.cut_deg)
        )
        result.append(floats(by_interval[:, None] * layer.opacity))
        behind = above
    return tuple(result)
