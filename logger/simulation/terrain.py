"""Invented ground around an invented place, as elevation tiles; nothing of it exists on Earth."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Protocol

import numpy as np

from logger.arrays import Floats, floats
from logger.geometry import interpolate_azimuthal
from logger.simulation.scenery import Part
from logger.site import METRES_A_DEGREE, Site

EARTH_M = 6_371_000.0


class Ground(Protocol):
    """Ground whose height is known everywhere."""

    def height_m(self, latitude_deg: Floats, longitude_deg: Floats) -> Floats:
        """Height above the sea. [m]"""


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

    def height_m(self, latitude_deg: Floats, longitude_deg: Floats) -> Floats:
        """Height above the sea. [m]"""
        north, east = _from_site(self.site, latitude_deg, longitude_deg)
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


@dataclass(frozen=True)
class CrestAround:
    """A level valley and one range of hills around it, whose crest is a scene's ground line."""

    site: Site
    line: Callable[[Floats], Floats]  # Elevation of the crest by azimuth, both in degrees
    eye_m: float  # That sees it so, above the valley. [m]

    def height_m(self, latitude_deg: Floats, longitude_deg: Floats) -> Floats:
        """Height above the sea. [m]"""
        north, east = _from_site(self.site, latitude_deg, longitude_deg)
        away, toward = np.hypot(north, east), np.arctan2(east, north)
        around = np.arange(0.0, 360.25, 0.25)
        line = np.radians(np.interp(np.degrees(toward) % 360.0, around, self.line(around)))
        crest = 8000.0 + 1500.0 * np.sin(3 * toward)
        rise = np.cos(np.pi / 2 * np.clip((away - crest) / 4000.0, -1.0, 1.0)) ** 2
        # Where the eye sees that line: the Earth falls away by d² / 2R, less what the ray bends.
        seen = self.eye_m + away * np.tan(line) + 0.87 * away**2 / (2 * EARTH_M)
        return floats(self.site.altitude_m + rise * seen)


def _from_site(site: Site, latitude_deg: Floats, longitude_deg: Floats) -> tuple[Floats, Floats]:
    """Metres north and east."""
    east = METRES_A_DEGREE * np.cos(np.radians(site.latitude_deg))
    north = METRES_A_DEGREE * (latitude_deg - site.latitude_deg)
    return north, east * (longitude_deg - site.longitude_deg)


def hgt_tile(ground: Ground, south_deg: int, west_deg: int, posts: int = 1201) -> bytes:
    """An ``.hgt`` tile by its south-west corner: whole metres, rows from the north."""
    steps = np.linspace(0.0, 1.0, posts)
    height = ground.height_m(south_deg + 1.0 - steps[:, None], west_deg + steps)
    return np.rint(height).astype(">i2").tobytes()


def ridge_part(name: str, azimuth_deg: Floats, elevation_deg: Floats) -> Part:
    """A computed far skyline as the ground line of a scene."""

    def shape(azimuth: Floats) -> Floats:
        return floats(interpolate_azimuthal(azimuth, azimuth_deg, elevation_deg))

    return Part(name, "terrain", 0.0, 360.0, shape)
