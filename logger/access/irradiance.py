"""What reaches a plane from each part of an unobstructed sky, minute by minute.

Beam is ``DNI cos i``. Hay and Davies split sky diffuse by the anisotropy index ``A = DNI / E0``
into a circumsolar part ``DHI A R_b`` that comes from the sun's direction and an isotropic part
``DHI (1 - A) (1 + cos b) / 2``. Ground-reflected light is ``GHI reflectance (1 - cos b) / 2``.
(Duffie and Beckman, Solar Engineering of Thermal Processes, sections 2.15 and 2.16; pvlib's
``haydavies``, with which a test compares every hour.)

Models differ in how much of the diffuse light comes from the sun's direction. All are written here
as Hay and Davies with a share of their circumsolar light: 1 is theirs, and with 0 all diffuse light
is isotropic.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from logger.access.light import Light
from logger.access.plane import Plane
from logger.access.sky_view import unobstructed_view
from logger.arrays import Floats, floats
from logger.settings import Settings
from logger.sun import SunYear

MONTHS, HOURS, HALVES = 12, 24, 2
KWH_A_MINUTE = 1.0 / 60_000.0
"""Energy of one watt for one minute. [kWh]"""

CIRCUMSOLAR_SHARE = {"haydavies": 1.0, "isotropic": 0.0}


@dataclass(frozen=True, eq=False)
class SplitLight:
    """A sky's light by where it comes from; each of shape (N,)."""

    # On an area that faces the sun. [W/m2]
    beam_wm2: Floats
    circumsolar_wm2: Floats
    # On the horizontal. [W/m2]
    circumsolar_level_wm2: Floats
    isotropic_wm2: Floats
    ghi_wm2: Floats


def split_light(sun: SunYear, light: Light) -> SplitLight:
    """Split a sky's light into what comes from the sun's direction and what does not."""
    index = np.minimum(light.dni_wm2 / light.extraterrestrial_wm2, 1.0)
    # pvlib bounds R_b's denominator at a sun one degree above the horizon.
    height = np.maximum(sun.vectors[2], 0.01745)
    level = light.dhi_wm2 * index
    return SplitLight(light.dni_wm2, level / height, level, light.dhi_wm2 - level, light.ghi_wm2)


def normal_of(tilt_deg: Floats | float, azimuth_deg: Floats | float) -> Floats:
    """Unit normals of planes: east, north, up. Shape (3, ...)."""
    tilt, azimuth = np.radians(tilt_deg), np.radians(azimuth_deg)
    return np.stack(
        np.broadcast_arrays(
            np.sin(tilt) * np.sin(azimuth), np.sin(tilt) * np.cos(azimuth), np.cos(tilt)
        )
    )


@dataclass(frozen=True, eq=False)
class PlaneLight:
    """Irradiance on a plane under an open sky, at every row of a `SunYear`. [W/m2] Shape (N,)."""

    beam_wm2: Floats
    circumsolar_wm2: Floats
    isotropic_wm2: Floats
    ground_wm2: Floats


def cosine_of_incidence(plane: Plane, sun: SunYear) -> Floats:
    """Not below 0. Shape (N,)."""
    normal = normal_of(plane.tilt_deg, plane.azimuth_deg)
    # Spelled out: a matrix product of this shape costs more in threads than in sums.
    cos_i = normal[0] * sun.vectors[0] + normal[1] * sun.vectors[1] + normal[2] * sun.vectors[2]
    return floats(np.maximum(cos_i, 0.0, out=cos_i))


def on_plane(
    plane: Plane, sun: SunYear, split: SplitLight, settings: Settings, cos_i: Floats
) -> PlaneLight:
    """Transpose to one plane as Hay and Davies; see the module's text for the formulas."""
    view = unobstructed_view(plane.tilt_deg)
    isotropic = split.isotropic_wm2 * view
    ground = split.ghi_wm2 * ((1.0 - view) * floats(settings.monthly_reflectance))[sun.month]
    return PlaneLight(split.beam_wm2 * cos_i, split.circumsolar_wm2 * cos_i, isotropic, ground)
