"""The best fixed plane at a place, with and without what stands around it.

A year's light is sorted by the direction it comes from into cells of two degrees; each cell keeps
the vector sum of its light, so that ``sum(light * cos i)`` of a cell that lies wholly before the
plane is exact, and only cells cut by the plane's own edge are approximate.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from logger.access.irradiance import normal_of
from logger.access.sky_view import sky_above
from logger.arrays import Floats, Ints, floats
from logger.geometry import wrap360
from logger.sun import SunYear

_CELL_DEG = 2.0


@dataclass(frozen=True, eq=False)
class Skyline:
    """What limits the view of the sky: a solid skyline, and crowns before it."""

    azimuth_deg: Floats  # Middles of even sectors. [deg] Shape (M,).
    # Upper edges, each nowhere lower than the one behind it. [deg] Shape (M,).
    heights_deg: tuple[Floats, ...]
    # Share of the year's sky diffuse that is lost between each edge and the one behind it
    opacity: tuple[float, ...]

    def view(self, tilt_deg: Floats, azimuth_deg: Floats) -> Floats:
        """Sky view factor of planes. Shape (P,)."""
        tilt, plane = tilt_deg[:, None], azimuth_deg[:, None]
        behind = sky_above(0.0, self.azimuth_deg, tilt, plane)
        seen = behind.copy()
        for height, opacity in zip(self.heights_deg, self.opacity, strict=True):
            above = sky_above(height, self.azimuth_deg, tilt, plane)
            seen -= (behind - above) * opacity
            behind = above
        return floats(seen.sum(axis=1) * (2.0 * np.pi / len(self.azimuth_deg)))


@dataclass(frozen=True, eq=False)
class SkyLight:
    """A period's light at a point, ready for any plane."""

    # Light from the sun's direction, summed as vectors by cells of direction. [kWh/m2] Shape
    # (3, C).
    vector_kwh_m2: Floats
    isotropic_kwh_m2: float  # Sky diffuse on the horizontal. [kWh/m2]
    ground_kwh_m2: float  # Global horizontal times ground reflectance. [kWh/m2]
    skyline: Skyline | None = None  # What limits the view of the sky; None is an open sky


def direction_cells(sun: SunYear) -> Ints:
    """In which cell of the sky each minute's sun stands. Shape (N,)."""
    columns = int(360 / _CELL_DEG)
    column = np.minimum((sun.azimuth_deg / _CELL_DEG).astype(np.int64), columns - 1)
    return (sun.elevation_deg / _CELL_DEG).astype(np.int64) * columns + column


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
    annual_kwh_per_m2: float  # NaN where the sky is not known. [kWh/m2]


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
        if values[k] > best.annual_kwh_per_m2 * (1.0 + 1e-12):
            best = BestPlane(float(t[k]), float(a[k]), float(values[k]))
        if step.max() <= 0.1:
            return replace(best, azimuth_deg=float(wrap360(best.azimuth_deg)))
        step = np.maximum(step / 3.0, 0.1)
        around = np.arange(-3, 4)
        tilt = np.clip(best.tilt_deg + step[0] * around, 0.0, 90.0)
        azimuth = best.azimuth_deg + step[1] * around
