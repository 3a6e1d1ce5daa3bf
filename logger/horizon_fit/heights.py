"""From where the sight was to where the module will be.

Seen from a height h a thing of height H at a distance d stands at ``tan e = (H - h) / d``. Seen
from another height h' it stands at ``tan e' = tan e + (h - h') / d``: a higher module sees it
lower. Where d is not known the carried elevation is not either, and the profile says so.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import ArrayLike

from logger.arrays import Floats, floats
from logger.checks import Check
from logger.geometry import in_sector
from logger.horizon import HorizonProfile, Obstruction
from logger.horizon_fit.coverage import sun_crosses
from logger.horizon_fit.settings import HorizonSettings

HEIGHT_CHECK = "height of the module allowed for"


@dataclass(frozen=True)
class Heights:
    """Heights above one and the same surface."""

    sight_m: float  # Of the board. [m]
    module_m: float  # Of the module, usually of its lower edge. [m]

    @property
    def rise_m(self) -> float:
        """Sight above module, ``h - h'``. [m]."""
        return self.sight_m - self.module_m


def carried_elevation(elevation_deg: ArrayLike, rise_m: float, distance_m: ArrayLike) -> Any:
    """``tan e' = tan e + rise / distance``."""
    up = np.tan(np.radians(elevation_deg)) + rise_m / floats(distance_m)
    return np.degrees(np.arctan(up))


def distance_from_stances(
    lower_elevation_deg: float, higher_elevation_deg: float, rise_m: float
) -> float:
    """Distance of a thing from its elevations at two heights of the same spot.

    ``d = rise / (tan e_low - tan e_high)``; infinite where the elevations do not tell.
    """
    low, high = np.tan(np.radians([lower_elevation_deg, higher_elevation_deg]))
    return float(rise_m / (low - high)) if low - high > 1e-9 else float("inf")


def distances_at(azimuth_deg: Floats, obstructions: Sequence[Obstruction]) -> Floats:
    """Distance of what makes the skyline at azimuths; NaN where unknown. Shape (K,). [m]."""
    distance = np.full(azimuth_deg.size, np.nan)
    for o in obstructions:
        if o.distance_m is not None:
            inside = in_sector(azimuth_deg, o.from_azimuth_deg, o.to_azimuth_deg)
            distance[np.asarray(inside)] = o.distance_m
    return distance


def carried(
    profile: HorizonProfile, heights: Heights, settings: HorizonSettings
) -> tuple[HorizonProfile, Check]:
    """The profile as the module sees it, and whether the distances for that were known.

    Where the distance is unknown the elevation stays, and its standard error grows by what a
    thing at `HorizonSettings.assumed_distance_m` would move (terrain: `assumed_terrain_m`).
    """
    rise = heights.rise_m
    given = distances_at(profile.azimuth_deg, profile.obstructions)
    distance = given if profile.distance_m is None else floats(
        np.where(np.isfinite(profile.distance_m), profile.distance_m, given)
    )  # fmt: skip
    known = np.isfinite(distance)
    assumed = np.full(len(profile), settings.assumed_distance_m)
    for o in profile.obstructions:
        if o.kind == "terrain":
            inside = in_sector(profile.azimuth_deg, o.from_azimuth_deg, o.to_azimuth_deg)
            assumed[np.asarray(inside)] = settings.assumed_terrain_m
    moved = carried_elevation(profile.elevation_deg, rise, np.where(known, distance, np.inf))
    elsewhere = carried_elevation(profile.elevation_deg, rise, assumed)
    doubt = np.where(known, 0.0, np.abs(elsewhere - profile.elevation_deg))
    error = profile.standard_error_deg
    if error is not None or rise != 0.0:
        error = floats(np.hypot(0.0 if error is None else error, doubt))
    matters = sun_crosses(profile.azimuth_deg, settings.latitude_deg) & profile.known
    share = floats(np.diff(np.r_[profile.azimuth_deg, profile.azimuth_deg[0] + 360.0]))
    unsure = matters & ~known & (doubt > settings.height_doubt_deg)
    missing = float(share[unsure].sum())
    passed = missing <= settings.unknown_distance_limit_deg
    why = f"the module is {abs(rise):.2f} m {'below' if rise > 0 else 'above'} the sight; "
    if passed:
        why += "the skyline was carried over with the distances given"
    else:
        why += f"over {missing:.0f}° no distance is known: give the obstructions one"
    check = Check(
        HEIGHT_CHECK,
        passed,
        round(missing, 2),
        settings.unknown_distance_limit_deg,
        "deg",
        why,
    )
    profile = replace(
        profile,
        elevation_deg=np.where(known, moved, profile.elevation_deg),
        standard_error_deg=error,
        distance_m=distance,
        steps=(*profile.steps, f"carried to the module, {-rise:+.2f} m from the sight"),
    )
    return profile, check
