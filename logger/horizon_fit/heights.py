"""From where the sight was to where the module will be.

Seen from a height h a thing of height H at a distance d stands at ``tan e = (H - h) / d``. Seen
from another height h' it stands at ``tan e' = tan e + (h - h') / d``: a higher module sees it
lower. Where d is not known the carried elevation is not either, and the profile says so.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import Any

import numpy as np
from numpy.typing import ArrayLike

from logger.arrays import Floats, floats
from logger.checks import Check
from logger.geometry import in_sector
from logger.horizon import HorizonProfile
from logger.horizon_fit.coverage import sun_crosses

HEIGHT_CHECK = "corrected to module height"

ASSUMED_DISTANCE_M, ASSUMED_TERRAIN_M = 15.0, 300.0
"""Where no distance is known, what is tried to see how far an elevation may be off at another
height: of things, and of what is named terrain (common practice, no source). [m]"""

SPREAD_M = 0.1
"""Sweeps from heights further apart are not carried to one (common practice, no source). [m]"""

LEAST_RISE_M, LEAST_DOUBT_DEG = 0.005, 0.25
"""Less than this makes no difference (common practice, no source). [m], [deg]"""

UNKNOWN_LIMIT_DEG = 5.0
"""Sun-crossed azimuth where the distance matters and is not known, at most (common practice, no
source). [deg]"""


def at_module(
    profile: HorizonProfile,
    sight_heights_m: Sequence[float],
    module_height_m: float | None,
    latitude_deg: float,
) -> tuple[HorizonProfile, Check | None]:
    """The profile carried to the module, where heights are known; all above one surface."""
    if module_height_m is None or not sight_heights_m:
        return profile, None
    low, high = min(sight_heights_m), max(sight_heights_m)
    spread = round(high - low, 3)
    if spread > SPREAD_M:
        why = f"sweeps were taken from heights {low:g} to {high:g} m: make a point of each height"
        return profile, Check(HEIGHT_CHECK, False, spread, SPREAD_M, "m", why)
    rise_m = sum(sight_heights_m) / len(sight_heights_m) - module_height_m
    if abs(rise_m) < LEAST_RISE_M:
        return profile, None
    return carried(profile, rise_m, latitude_deg)


def carried_elevation(elevation_deg: ArrayLike, rise_m: float, distance_m: ArrayLike) -> Any:
    """``tan e' = tan e + rise / distance``, with the height of the sight above the module."""
    up = np.tan(np.radians(elevation_deg)) + rise_m / floats(distance_m)
    return np.degrees(np.arctan(up))


def distances_of(profile: HorizonProfile) -> Floats:
    """Distance of what makes the skyline: a node's own, else its obstruction's. Shape (K,). [m].

    NaN where neither is known.
    """
    distance = np.full(len(profile), np.nan)
    for o in profile.obstructions:
        if o.distance_m is not None:
            inside = in_sector(profile.azimuth_deg, o.from_azimuth_deg, o.to_azimuth_deg)
            distance[np.asarray(inside)] = o.distance_m
    own = profile.distance_m
    return distance if own is None else floats(np.where(np.isfinite(own), own, distance))


def carried(
    profile: HorizonProfile, rise_m: float, latitude_deg: float
) -> tuple[HorizonProfile, Check]:
    """The profile as the module sees it, and whether the distances for that were known.

    Where the distance is unknown the elevation stays, and its standard error grows by what a
    thing at `ASSUMED_DISTANCE_M` would move (terrain: `ASSUMED_TERRAIN_M`).
    """
    distance = distances_of(profile)
    known = np.isfinite(distance)
    assumed = np.full(len(profile), ASSUMED_DISTANCE_M)
    for o in profile.obstructions:
        if o.kind == "terrain":
            inside = in_sector(profile.azimuth_deg, o.from_azimuth_deg, o.to_azimuth_deg)
            assumed[np.asarray(inside)] = ASSUMED_TERRAIN_M
    elevation = profile.elevation_deg
    moved = carried_elevation(elevation, rise_m, np.where(known, distance, np.inf))
    elsewhere = carried_elevation(elevation, rise_m, assumed)
    doubt = np.where(known, 0.0, np.abs(elsewhere - elevation))
    error = 0.0 if profile.standard_error_deg is None else profile.standard_error_deg
    matters = sun_crosses(profile.azimuth_deg, latitude_deg) & profile.known
    share = np.diff(np.r_[profile.azimuth_deg, profile.azimuth_deg[0] + 360.0])
    missing = float(share[matters & ~known & (doubt > LEAST_DOUBT_DEG)].sum())
    passed = missing <= UNKNOWN_LIMIT_DEG
    why = f"the module is {abs(rise_m):.2f} m {'below' if rise_m > 0 else 'above'} the sight; "
    if passed:
        why += "the skyline was carried over with the distances given"
    else:
        why += f"over {missing:.0f}° no distance is known: give the obstructions one"
    profile = replace(
        profile,
        elevation_deg=moved,
        standard_error_deg=floats(np.hypot(error, doubt)),
        distance_m=distance,
        steps=(*profile.steps, f"carried to the module, {-rise_m:+.2f} m from the sight"),
    )
    return profile, Check(HEIGHT_CHECK, passed, round(missing, 2), UNKNOWN_LIMIT_DEG, "deg", why)
