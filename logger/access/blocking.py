"""What a skyline takes: of the sun minute by minute, of the sky once for all."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from logger.access.sky_view import segments, sky_above
from logger.access.surroundings import Names, Surroundings, names_of, shared_loss
from logger.arrays import Floats, Ints, floats
from logger.geometry import interpolate_azimuthal
from logger.horizon import HorizonProfile
from logger.sun import SunYear


def disc_above(height_deg: Floats, radius_deg: float) -> Floats:
    """Share of the sun's disc above a level edge.

    ``1/2 + (x sqrt(1 - x^2) + asin x) / pi`` with x the height of the centre in radii: the area
    of a circle's segment. A disc of radius 0 is up only above the edge.
    """
    if radius_deg <= 0:
        return (height_deg > 0).astype(float)
    x = np.clip(height_deg / radius_deg, -1.0, 1.0)
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


def skyline_at(profile: HorizonProfile, azimuth_deg: Floats) -> Floats:
    """Elevation of a complete profile, not below level. [deg]"""
    return floats(
        np.maximum(
            interpolate_azimuthal(azimuth_deg, profile.azimuth_deg, profile.elevation_deg), 0.0
        )
    )


def block_sun(
    surroundings: Surroundings,
    names: tuple[Names, ...],
    sun: SunYear,
    open_disc: Floats,
    radius_deg: float,
) -> SunBlocking:
    """Find what hides the sun, and how much of it."""
    highest = max(float(layer.profile.elevation_deg.max()) for layer in surroundings.layers)
    row = np.flatnonzero(sun.elevation_deg < max(highest, 0.0) + radius_deg)
    azimuth, elevation = sun.azimuth_deg[row], sun.elevation_deg[row]
    height = np.stack([skyline_at(layer.profile, azimuth) for layer in surroundings.layers])
    touched = np.flatnonzero(elevation - height.max(axis=0) <= radius_deg)
    row, azimuth, height = row[touched], azimuth[touched], height[:, touched]
    hidden = open_disc[row] - disc_above(elevation[touched] - height, radius_deg)
    tau = surroundings.transmittance[:, sun.month[row]]
    return SunBlocking(
        row,
        shared_loss(height, hidden, tau),
        np.stack([n.interval_at(azimuth) for n in names]),
    )


def block_sky(
    surroundings: Surroundings, names: tuple[Names, ...], tilt_deg: float, plane_deg: float
) -> tuple[Floats, ...]:
    """What each layer takes of the plane's view of the sky, by interval and month."""
    layers = surroundings.layers
    at, weight = segments(
        *(layer.profile.azimuth_deg for layer in layers),
        *(n.cut_deg for n in names),
        plane_deg=plane_deg,
    )
    height = np.stack([skyline_at(layer.profile, at) for layer in layers])
    sky = sky_above(0.0, at, tilt_deg, plane_deg)
    hidden = (sky - sky_above(height, at, tilt_deg, plane_deg)) * weight
    months, which = np.unique(surroundings.transmittance, axis=1, return_inverse=True)
    taken = [shared_loss(height, hidden, tau[:, None]) for tau in months.T]
    result = []
    for k, n in enumerate(names):
        interval = n.interval_at(at)
        by_state = np.stack(
            [np.bincount(interval, t[k], minlength=len(n.cut_deg)) for t in taken], axis=1
        )
        result.append(floats(by_state[:, which]))
    return tuple(result)


def layouts(surroundings: Surroundings) -> tuple[Names, ...]:
    """`names_of` each layer."""
    return tuple(names_of(layer) for layer in surroundings.layers)
