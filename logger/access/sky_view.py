"""A plane's own view of the visible sky over a horizon.

With the plane's tilt b and azimuth g, a sky direction of azimuth a and elevation e meets it at
``cos i = cos b sin e + sin b cos e cos(a - g)``. Seen sky weighs ``cos i cos e de da / pi``; the
inner integral from an elevation e0 to the zenith has the closed form

    cos b cos^2(e0) / 2 + sin b cos(a - g) [(pi/2 - e0) / 2 - sin(2 e0) / 4]

where e0 is the higher of the horizon and the plane's own edge ``tan e = -tan b cos(a - g)``
(below it the plane looks at the ground). The outer integral is numeric.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from logger.arrays import Floats, floats
from logger.geometry import angle_between, wrap360
from logger.horizon import HorizonProfile

# Gauss-Legendre nodes and weights on 0 to 1, three a segment.
_NODE = np.array([0.5 - np.sqrt(0.15), 0.5, 0.5 + np.sqrt(0.15)])
_WEIGHT = np.array([5.0, 8.0, 5.0]) / 18.0


def sky_above(
    elevation_deg: ArrayLike, azimuth_deg: ArrayLike, tilt_deg: ArrayLike, plane_deg: ArrayLike
) -> Floats:
    """Weight of the sky above an elevation, by radian of azimuth (the inner integral over pi)."""
    tilt = np.radians(tilt_deg)
    up = np.cos(tilt)
    across = np.sin(tilt) * np.cos(np.radians(np.subtract(azimuth_deg, plane_deg)))
    e0 = np.radians(np.clip(elevation_deg, 0.0, 90.0))
    above = np.array(
        up * (np.cos(e0) ** 2 / 2) + across * ((np.pi / 2 - e0) / 2 - np.sin(2 * e0) / 4)
    )
    # The plane's own edge, where it is the higher one; elsewhere no arc tangent need be taken.
    behind = -across * np.cos(e0) > up * np.sin(e0)
    if np.any(behind):
        u, v = (np.broadcast_to(x, above.shape)[behind] for x in (up, across))
        rest = (np.pi / 2 - np.arctan2(-v, u)) / 2
        # up cos^2(e0) / 2 - across sin(2 e0) / 4 of that edge is up / 2.
        above[behind] = u / 2 + v * rest
    return floats(above / np.pi)


def unobstructed_view(tilt_deg: float) -> float:
    """Sky view factor over a level horizon, ``(1 + cos b) / 2``."""
    return float((1 + np.cos(np.radians(tilt_deg))) / 2)


def segments(*azimuths_deg: ArrayLike, plane_deg: float = 0.0) -> tuple[Floats, Floats]:
    """Azimuths and weights [rad] that integrate what is smooth between the given azimuths.

    The circle is cut at those azimuths and every degree from the plane's own, so that turning
    plane and horizon together changes nothing.
    """
    cuts = np.concatenate([np.arange(0.0, 360.0), *(_relative(a, plane_deg) for a in azimuths_deg)])
    cuts = np.unique(cuts)
    width = np.diff(np.append(cuts, 360.0))
    # A segment narrower than this is a vertical edge, written with a rounding error.
    keep = width > 1e-9
    start, width = cuts[keep], width[keep]
    at = (start[:, None] + width[:, None] * _NODE).ravel()
    return (
        floats(wrap360(at + plane_deg)),
        (np.radians(width)[:, None] * _WEIGHT).ravel(),
    )


def _relative(azimuth_deg: ArrayLike, plane_deg: float) -> Floats:
    return np.atleast_1d(wrap360(angle_between(azimuth_deg, plane_deg)))


def sky_view_factor(profile: HorizonProfile, tilt_deg: float, azimuth_deg: float) -> float:
    """Share of a uniform sky's light that reaches a plane over a horizon; 1 is flat and open."""
    at, weight = segments(profile.azimuth_deg, plane_deg=azimuth_deg)
    return float((sky_above(profile.elevation_at(at), at, tilt_deg, azimuth_deg) * weight).sum())
