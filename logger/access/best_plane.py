"""The best fixed plane at a place, with and without what stands around it.

A year's light is sorted by the direction it comes from into cells of two degrees; each cell keeps
the vector sum of its light, so that ``sum(light * cos i)`` of a cell that lies wholly before the
plane is exact, and only cells cut by the plane's own edge are approximate.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from logger.access.irradiance import KWH_A_MINUTE, normal_of
from logger.access.sky_view import sky_above
from logger.arrays import Floats, floats
from logger.geometry import wrap360
from logger.sun import SunYear

_CELL_DEG = 2.0


@dataclass(frozen=True, eq=False)
class Skyline:
    """Slices of sky over even sectors of azimuth, and how much of their light passes."""

    azimuth_deg: Floats  # Middles of the sectors. [deg] Shape (M,).
    # Upper edges of the slices, rising; the sky above the last is open. [deg] Shape (L, M).
    height_deg: Floats
    passes: Floats  # Share of the year's sky diffuse that comes through each slice. Shape (L, M).

    def view(self, tilt_deg: Floats, azimuth_deg: Floats) -> Floats:
        """Sky view factor of planes, weighted by the year's sky diffuse. Shape (P,)."""
        tilt, plane = tilt_deg[:, None], azimuth_deg[:, None]
        below = sky_above(0.0, self.azimuth_deg, tilt, plane)
        seen = np.zeros(below.shape)
        for height, passes in zip(self.height_deg, self.passes, strict=True):
            above = sky_above(height, self.azimuth_deg, tilt, plane)
            seen += (below - above) * passes
            below = above
        width = 2.0 * np.pi / len(self.azimuth_deg)
        return floats((seen + below).sum(axis=1) * width)


@dataclass(frozen=True, eq=False)
class SkyLight:
    """A period's light at a point, ready for any plane."""

    # Light from the sun's direction, summed as vectors by cells of direction. [kWh/m2] Shape
    # (3, C).
    vector_kwh_m2: Floats
    isotropic_kwh_m2: float  # Sky diffuse on the horizontal. [kWh/m2]
    ground_kwh_m2: float  # Global horizontal times ground reflectance. [kWh/m2]
    skyline: Skyline | None = None  # What limits the view of the sky; None is an open sky


def gather(
    sun: SunYear,
    light_wm2: Floats,
    isotropic_wm2: Floats,
    ground_wm2: Floats,
    skyline: Skyline | None = None,
) -> SkyLight:
    """Sort minutes by direction."""
    columns = int(360 / _CELL_DEG)
    rows = int(90 / _CELL_DEG) + 1
    cell = (sun.elevation_deg / _CELL_DEG).astype(int) * columns + np.minimum(
        (sun.azimuth_deg / _CELL_DEG).astype(int), columns - 1
    )
    sums = np.stack(
        [np.bincount(cell, light_wm2 * v, minlength=rows * columns) for v in sun.vectors]
    )
    lit = sums.any(axis=0)
    return SkyLight(
        floats(sums[:, lit] * KWH_A_MINUTE),
        float(isotropic_wm2.sum() * KWH_A_MINUTE),
        float(ground_wm2.sum() * KWH_A_MINUTE),
        skyline,
    )


def irradiation(light: SkyLight, tilt_deg: Floats, azimuth_deg: Floats) -> Floats:
    """On planes. [kWh/m2]"""
    facing = np.maximum(normal_of(tilt_deg, azimuth_deg).T @ light.vector_kwh_m2, 0.0)
    view = (1.0 + np.cos(np.radians(tilt_deg))) / 2.0
    seen = view if light.skyline is None else light.skyline.view(tilt_deg, azimuth_deg)
    return floats(
        facing.sum(axis=1) + light.isotropic_kwh_m2 * seen + light.ground_kwh_m2 * (1.0 - view)
    )


@dataclass(frozen=True)
class BestPlane:
    """The fixed plane that receives most."""

    # [deg]
    tilt_deg: float
    azimuth_deg: float
    irradiation_kwh_m2: float  # [kWh/m2]


def best_plane(light: SkyLight) -> BestPlane:
    """Search tilt and azimuth by ever finer grids, to a tenth of a degree.

    Where planes are equally good the flattest wins, and south before other azimuths.
    """
    best = BestPlane(0.0, 180.0, -1.0)
    tilt, azimuth = np.arange(0.0, 91.0, 10.0), 180.0 + np.arange(0.0, 360.0, 30.0)
    step = np.array([10.0, 30.0])
    while True:
        t, a = (grid.ravel() for grid in np.meshgrid(tilt, azimuth, indexing="ij"))
        values = irradiation(light, t, a)
        k = int(np.argmax(values))
        if values[k] > best.irradiation_kwh_m2 * (1.0 + 1e-12):
            best = BestPlane(float(t[k]), float(a[k]), float(values[k]))
        if step.max() <= 0.1:
            return replace(best, azimuth_deg=float(wrap360(best.azimuth_deg)))
        step = np.maximum(step / 3.0, 0.1)
        around = np.arange(-3, 4)
        tilt = np.clip(best.tilt_deg + step[0] * around, 0.0, 90.0)
        azimuth = best.azimuth_deg + step[1] * around


@dataclass(frozen=True, eq=False)
class PlaneMap:
    """Yearly irradiation over tilt and azimuth."""

    tilt_deg: Floats  # [deg] Shape (T,)
    azimuth_deg: Floats  # [deg] Shape (A,)
    irradiation_kwh_m2: Floats  # [kWh/m2] Shape (T, A)
    best: BestPlane


def plane_map(
    light: SkyLight, tilt_step_deg: float = 5.0, azimuth_step_deg: float = 10.0
) -> PlaneMap:
    """Irradiation of every plane on a grid."""
    tilt = np.arange(0.0, 90.0 + 1e-9, tilt_step_deg)
    azimuth = np.arange(0.0, 360.0 - 1e-9, azimuth_step_deg)
    t, a = np.meshgrid(tilt, azimuth, indexing="ij")
    values = irradiation(light, t.ravel(), a.ravel()).reshape(t.shape)
    return PlaneMap(tilt, azimuth, values, best_plane(light))
