"""What a computed far horizon adds to a swept one."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from logger.arrays import Floats
from logger.checks import NORMAL_95
from logger.geometry import in_sector
from logger.horizon import HorizonProfile, Obstruction
from logger.terrain.skyline import FarHorizon

ALIKE_AT = 3.0
"""Standard errors within which a swept skyline lies on the computed one (common practice, no
source)."""
LEAST_ALIKE_DEG = 0.3
"""[deg]."""
LEAST_SAID = "where not swept, at least as high as elevation data say"
LEAST_SHARE = 0.5
"""Of a named sector that must lie on the computed skyline for its distance to be told (common
practice, no source)."""


def with_terrain(profile: HorizonProfile, far: FarHorizon) -> HorizonProfile:
    """The horizon with distances of its far parts, and the least that stands where none was swept.

    Distances that somebody told stay. The least is the lower end of the computed line's 95 % band.
    """
    on_it = on_the_ridge(profile, far)
    told = tuple(_with_distance(one, far, on_it) for one in profile.obstructions)
    profile = replace(profile, obstructions=told)
    if profile.known.all():
        return profile
    least = far.elevation_deg - NORMAL_95 * far.standard_error_deg
    least = np.where(np.isfinite(least), least, -90.0)
    return replace(profile, least_deg=least, steps=(*profile.steps, LEAST_SAID))


def on_the_ridge(profile: HorizonProfile, far: FarHorizon) -> Floats:
    """Whether the swept skyline is the far one: 1 or 0 by azimuth, NaN where it was not swept."""
    known = profile.measured_at(far.azimuth_deg) & np.isfinite(far.elevation_deg)
    apart = np.abs(profile.elevation_at(far.azimuth_deg) - far.elevation_deg)
    error = np.hypot(profile.level_error_deg, far.standard_error_deg)
    near_it = apart <= np.maximum(ALIKE_AT * error, LEAST_ALIKE_DEG)
    return np.where(known, near_it.astype(float), np.nan)


def _with_distance(one: Obstruction, far: FarHorizon, on_it: Floats) -> Obstruction:
    if one.kind != "terrain" or one.distance_m is not None:
        return one
    inside = in_sector(far.azimuth_deg, one.from_azimuth_deg, one.to_azimuth_deg)
    here = inside & (on_it == 1.0)
    swept = inside & np.isfinite(on_it)
    if not here.any() or here.sum() < LEAST_SHARE * swept.sum():
        return one
    return replace(one, distance_m=float(round(np.median(far.distance_m[here]), -2)))
