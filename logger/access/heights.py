"""From where the sight was to where the module will be.

Seen from a height h a thing of height H at a distance d stands at ``tan e = (H - h) / d``. Seen
from another height h' it stands at ``tan e' = tan e + (h - h') / d``: a higher module sees it
lower. Where d is not known, all near things are taken to be equally far, at a distance drawn from a
prior (common practice, no source): evenly over the logarithm from 4 to 50 m, and in one draw of
fifty so far away that nothing moves. Terrain is 200 m to 5 km away.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import ArrayLike

from logger.access.draws import SECTOR_MIDDLES
from logger.arrays import Floats, floats
from logger.horizon import HorizonProfile

NEAR_M = (4.0, 50.0)
TERRAIN_M = (200.0, 5000.0)
FAR_SHARE = 0.02
"""Of the draws in which nothing near is near."""


@dataclass(frozen=True, eq=False)
class Nearness:
    """One over the distance of things whose distance is not known, one row a draw. [1/m]"""

    near: Floats  # Shape (n,)
    terrain: Floats  # Shape (n,)


def nearness_at(rank: ArrayLike) -> Nearness:
    """Distances by their rank among the draws, 0 the nearest to 1 the farthest.

    The printed figures rest on the middle, 0.5.
    """
    at = np.atleast_1d(floats(rank))
    near, terrain = (
        low * (high / low) ** np.minimum(at / (1.0 - FAR_SHARE), 1.0)
        for low, high in (NEAR_M, TERRAIN_M)
    )
    return Nearness(np.where(at > 1.0 - FAR_SHARE, 0.0, 1.0 / near), 1.0 / terrain)


def drawn_nearness(n: int, seed: int) -> Nearness:
    """Draw distances."""
    return nearness_at(np.random.default_rng([seed, 3]).random(n))


def inverse_distance(profile: HorizonProfile, azimuth_deg: Floats, nearness: Nearness) -> Floats:
    """One over the distance of the skyline. Shape (n, K). [1/m]"""
    known, terrain = profile.distance_at(azimuth_deg), profile.is_terrain_at(azimuth_deg)
    guess = np.where(terrain, nearness.terrain[:, None], nearness.near[:, None])
    return floats(np.where(np.isfinite(known), 1.0 / known, guess))


def carried(profile: HorizonProfile) -> HorizonProfile:
    """The profile as the module sees it, with unknown distances at the middle of their prior."""
    if profile.rise_m == 0.0:
        return profile
    inverse = inverse_distance(profile, profile.azimuth_deg, nearness_at(0.5))[0]
    return replace(
        profile,
        elevation_deg=lifted(profile.elevation_deg, profile.rise_m * inverse),
        rise_m=0.0,
        steps=(*profile.steps, f"carried to the module, {-profile.rise_m:+.2f} m from the sight"),
    )


def lifted(elevation_deg: Floats, rise_over_distance: Floats) -> Floats:
    """``tan e' = tan e + rise / distance``. [deg]"""
    return floats(np.degrees(np.arctan(np.tan(np.radians(elevation_deg)) + rise_over_distance)))


def distance_matters(profile: HorizonProfile) -> bool:
    """Whether the answer hangs on a distance that nobody gave."""
    unknown = np.isnan(profile.distance_at(SECTOR_MIDDLES))
    return profile.rise_m != 0.0 and bool(unknown.any())
