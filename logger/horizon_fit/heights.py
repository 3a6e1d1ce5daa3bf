"""How far the sight stood above the module, and whether the distances for that are known.

The profile stays as the sight saw it and bears the difference; `logger.access.heights` carries it
to the module, with a prior for distances that nobody gave.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from logger.checks import Check, at_most
from logger.horizon import HorizonProfile
from logger.sun_range import sun_crosses

HEIGHT_CHECK = "corrected to module height"
# Where no distance is known, what is tried to see how far an elevation may be off at another
# height: of things, and of what is named terrain (common practice, no source)
ASSUMED_DISTANCE_M, ASSUMED_TERRAIN_M = 15.0, 300.0
# Sweeps from heights further apart are not carried to one (common practice, no source)
SPREAD_M = 0.1
# Less than this makes no difference (common practice, no source). [m], [deg]
LEAST_RISE_M, LEAST_DOUBT_DEG = 0.005, 0.25
# Sun-crossed azimuth where the distance matters and is not known, at most (common practice, no
# source)
UNKNOWN_LIMIT_DEG = 5.0


def at_module(
    profile: HorizonProfile,
    sight_heights_m: Sequence[float],
    module_height_m: float | None,
    latitude_deg: float,
) -> tuple[HorizonProfile, Check | None]:
    """The profile with its height above the module, where heights are known above one surface."""
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
    side = f"{abs(rise_m):.2f} m {'below' if rise_m > 0 else 'above'} the sight"
    steps = (*profile.steps, f"seen from the sight; the module is {side}")
    profile = replace(profile, rise_m=rise_m, steps=steps)
    return profile, _distances_known(profile, side, latitude_deg)


def _distances_known(profile: HorizonProfile, side: str, latitude_deg: float) -> Check:
    """Whether distances are known where the sun passes and they matter."""
    at = profile.azimuth_deg
    known = np.isfinite(profile.distance_at(at))
    assumed = np.where(profile.is_terrain_at(at), ASSUMED_TERRAIN_M, ASSUMED_DISTANCE_M)
    up = np.tan(np.radians(profile.elevation_deg)) + profile.rise_m / assumed
    moved = np.abs(np.degrees(np.arctan(up)) - profile.elevation_deg)
    matters = sun_crosses(at, latitude_deg) & profile.known & ~known & (moved > LEAST_DOUBT_DEG)
    missing = float(np.diff(np.r_[at, at[0] + 360.0])[matters].sum())
    known_all = "the distances that matter are known"
    unknown = f"over {missing:.0f}° no distance is known: give the obstructions one"
    why = f"the module is {side}; {known_all if missing <= UNKNOWN_LIMIT_DEG else unknown}"
    return at_most(HEIGHT_CHECK, missing, UNKNOWN_LIMIT_DEG, "deg", why, digits=2)
