"""Invented hills, their skyline as a scene's, and steel that turns the compass there."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass

import numpy as np

from logger.arrays import Floats, floats
from logger.geomagnetism import geomagnetic_field
from logger.geometry import interpolate_azimuthal
from logger.simulation import Steel
from logger.simulation.scenery import Part
from logger.simulation.terrain import metres_from
from logger.site import Site


@dataclass(frozen=True)
class Hills:
    """A sum of plane waves in all directions, longer ones higher, as eroded ground has them.

    A valley of one altitude lies around the site, so that near ground hides nothing.
    """

    site: Site  # In the middle of the valley, at its altitude
    seed: int = 0
    relief_m: float = 900.0  # How high hills stand above the valley, about. [m]
    valley_m: float = 3000.0  # Radius of the level ground around the site. [m]
    reach_m: float = 60_000.0  # Hills end there; beyond is level ground. [m]
    longest_m: float = 14_000.0  # Wavelength of the longest wave. [m]
    waves: int = 36

    def __call__(self, latitude_deg: Floats, longitude_deg: Floats) -> Floats:
        """Height above the sea. [m]"""
        north, east = metres_from(self.site, latitude_deg, longitude_deg)
        away = np.hypot(north, east)
        rng = np.random.default_rng([self.seed, 108])
        length = self.longest_m * 0.9 ** np.arange(self.waves)
        size = rng.normal(size=self.waves) * length**0.9
        size /= np.sqrt((size**2).sum() / 2)
        turn, phase = rng.uniform(0, 2 * np.pi, (2, self.waves))
        rise = np.zeros(np.broadcast(north, east).shape)
        for k in range(self.waves):
            along = np.cos(turn[k]) * north + np.sin(turn[k]) * east
            rise += size[k] * np.cos(2 * np.pi / length[k] * along + phase[k])
        hill = self.relief_m * np.maximum(0.6 + 0.4 * rise, 0.0)
        begins = np.clip((away - self.valley_m) / self.valley_m, 0.0, 1.0)
        ends = np.clip((self.reach_m - away) / (0.2 * self.reach_m), 0.0, 1.0)
        return floats(self.site.altitude_m + hill * begins**2 * (3 - 2 * begins) * ends)


def ridge_part(name: str, azimuth_deg: Floats, elevation_deg: Floats) -> Part:
    """A computed far skyline as the ground line of a scene."""

    def shape(azimuth: Floats) -> Floats:
        return floats(interpolate_azimuthal(azimuth, azimuth_deg, elevation_deg))

    return Part(name, "terrain", 0.0, 360.0, shape)


def turning(turn_deg: float, site: Site, date: dt.date) -> Steel:
    """Steel that turns the Earth's field as a whole, and with it the compass."""
    field = geomagnetic_field(site, date)
    here = complex(field.north_ut, field.east_ut)
    away = here * np.exp(1j * np.radians(turn_deg)) - here
    return Steel(steady_ut=(away.real, away.imag, 0.0))
