"""What reaches a plane from each part of an unobstructed sky, minute by minute.

Beam is ``DNI cos i``. Hay and Davies split sky diffuse by the anisotropy index ``A = DNI / E0``
into a circumsolar part ``DHI A R_b`` that comes from the sun's direction and an isotropic part
``DHI (1 - A) (1 + cos b) / 2``; Reindl adds ``1 + sqrt(beam / GHI) sin^3(b / 2)`` to the latter for
the brighter sky near the horizon. Ground-reflected light is ``GHI reflectance (1 - cos b) / 2``.
(Duffie and Beckman, Solar Engineering of Thermal Processes, sections 2.15 and 2.16; pvlib's
``haydavies`` and ``reindl``, with which a test compares every hour.)
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from logger.access.light import Light
from logger.access.plane import Plane
from logger.access.sky_view import unobstructed_view
from logger.arrays import Floats, floats, lock_columns
from logger.settings import Settings
from logger.sun import SunYear

MONTHS, HOURS = 12, 24
KWH_A_MINUTE = 1.0 / 60_000.0
"""Energy of one watt for one minute. [kWh]"""


@dataclass(frozen=True, eq=False)
class Directional:
    """Light that comes from the sun's direction, by unit of area that faces the sun."""

    # [W/m2] Shape (N,)
    beam_wm2: Floats
    circumsolar_wm2: Floats
    # Sky diffuse from no particular direction, on the horizontal. [W/m2] Shape (N,).
    isotropic_wm2: Floats

    def __post_init__(self) -> None:
        lock_columns(self, ("beam_wm2", "circumsolar_wm2", "isotropic_wm2"))


def directional(sun: SunYear, light: Light, settings: Settings) -> Directional:
    """Split the sky's light into what comes from the sun's direction and what does not."""
    if settings.transposition == "isotropic":
        return Directional(light.dni_wm2, np.zeros(len(sun)), light.dhi_wm2)
    index = light.dni_wm2 / light.extraterrestrial_wm2
    # pvlib bounds R_b's denominator at a sun one degree above the horizon.
    height = np.maximum(sun.vectors[2], 0.01745)
    return Directional(
        light.dni_wm2,
        light.dhi_wm2 * index / height,
        np.maximum(light.dhi_wm2 * (1.0 - index), 0.0),
    )


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
    """Irradiance on a plane under an open sky, at every row of a `SunYear`."""

    # [W/m2] Shape (N,)
    beam_wm2: Floats
    circumsolar_wm2: Floats
    isotropic_wm2: Floats
    ground_wm2: Floats


def on_plane(
    plane: Plane,
    sun: SunYear,
    split: Directional,
    light: Light,
    settings: Settings,
) -> PlaneLight:
    """Transpose to one plane; see the module's text for the formulas."""
    normal = normal_of(plane.tilt_deg, plane.azimuth_deg)
    # Spelled out: a matrix product of this shape costs more in threads than in sums.
    cos_i = normal[0] * sun.vectors[0] + normal[1] * sun.vectors[1] + normal[2] * sun.vectors[2]
    np.maximum(cos_i, 0.0, out=cos_i)
    view = unobstructed_view(plane.tilt_deg)
    isotropic = split.isotropic_wm2 * view
    if settings.transposition == "reindl":
        isotropic = isotropic * horizon_brightening(light, sun.vectors[2], plane.tilt_deg)
    ground = light.ghi_wm2 * ((1.0 - view) * floats(settings.monthly_reflectance))[sun.month]
    return PlaneLight(split.beam_wm2 * cos_i, split.circumsolar_wm2 * cos_i, isotropic, ground)


def horizon_brightening(light: Light, height: Floats, tilt_deg: float) -> Floats:
    """Reindl's factor on the isotropic part. Shape (N,)."""
    with np.errstate(invalid="ignore", divide="ignore"):
        share = np.nan_to_num(light.dni_wm2 * height / light.ghi_wm2, posinf=0.0)
    return floats(1.0 + np.sqrt(np.maximum(share, 0.0)) * np.sin(np.radians(tilt_deg) / 2) ** 3)
