"""How a plane's unshaded year compares with that of the best fixed plane, under every drawn sky."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from logger.access.best_plane import BestPlane
from logger.access.irradiance import (
    HALVES,
    KWH_A_MINUTE,
    MONTHS,
    normal_of,
)
from logger.access.skies import Skies
from logger.access.sky_view import unobstructed_view
from logger.arrays import Floats, floats

if TYPE_CHECKING:
    from logger.access.calculator import SiteYear

_AROUND_TILT_DEG = (-20.0, -10.0, 0.0, 10.0, 20.0)
_AROUND_AZIMUTH_DEG = (-20.0, 0.0, 20.0)
"""From the best plane under the middle sky: among these the best of every other is sought."""

_PARTS = HALVES * MONTHS


@dataclass(frozen=True, eq=False)
class LightByDirection:
    """A year's light by direction, kind of light, half day and month."""

    # Beam, and Hay and Davies's circumsolar light, as vectors. [kWh/m2] Shape (3, C, K * 24).
    beam: Floats
    circumsolar: Floats
    # On the horizontal. [kWh/m2] Shape (K * 24,).
    isotropic: Floats
    level: Floats  # Circumsolar light, if it were isotropic
    ground: Floats  # What the ground sends back

    def on_plane(
        self, tilt_deg: float, azimuth_deg: float, sky: Floats, circumsolar: Floats
    ) -> Floats:
        """Unshaded irradiation of the year under some skies. [kWh/m2] Shape (n,)."""
        east, north, up = normal_of(tilt_deg, azimuth_deg)
        # Spelled out: a matrix product of this shape costs more in threads than in sums.
        beam, around = (
            np.maximum(east * v[0] + north * v[1] + up * v[2], 0.0).sum(axis=0)
            for v in (self.beam, self.circumsolar)
        )
        view = unobstructed_view(tilt_deg)
        whole = beam + view * self.isotropic + (1.0 - view) * self.ground
        weights = sky.reshape(len(sky), -1)
        return floats(
            weights @ (whole + view * self.level)
            + circumsolar * (weights @ (around - view * self.level))
        )


def light_by_direction(year: SiteYear) -> LightByDirection:
    """Sort the minutes of every light."""
    sun, splits, part, cell = year.sun, year.splits, year.half_and_month, year.direction_cell
    # Only the cells in which the sun ever stands, numbered in order.
    number = np.cumsum(np.bincount(cell) > 0) - 1
    cell, cells = number[cell], int(number[-1]) + 1
    reflectance = floats(year.settings.monthly_reflectance)[sun.month]

    def vectors(watts: Floats) -> Floats:
        place, size = cell * _PARTS + part, cells * _PARTS
        sums = [np.bincount(place, watts * v, minlength=size) for v in sun.vectors]
        return floats(np.stack(sums).reshape(3, -1, _PARTS) * KWH_A_MINUTE)

    def sums(columns: Sequence[Floats]) -> Floats:
        return floats(
            np.concatenate([np.bincount(part, c, minlength=_PARTS) for c in columns]) * KWH_A_MINUTE
        )

    dark = np.zeros((3, cells, _PARTS))

    def by_light(columns: Sequence[Floats]) -> Floats:
        return floats(np.concatenate([vectors(c) if c.any() else dark for c in columns], axis=2))

    return LightByDirection(
        by_light([s.beam_wm2 for s in splits]),
        by_light([s.circumsolar_wm2 for s in splits]),
        sums([s.isotropic_wm2 for s in splits]),
        sums([s.circumsolar_level_wm2 for s in splits]),
        sums([s.ghi_wm2 * reflectance for s in splits]),
    )


def best_by_sky(light: LightByDirection, best: BestPlane, skies: Skies) -> Floats:
    """What the best plane receives under each drawn sky, over that under the middle sky; (n,)."""
    tilts = np.unique(np.clip(best.tilt_deg + np.array(_AROUND_TILT_DEG), 0.0, 90.0))
    found = [
        light.on_plane(float(tilt), best.azimuth_deg + turn, skies.drawn, skies.drawn_circumsolar)
        for tilt in tilts
        for turn in _AROUND_AZIMUTH_DEG
    ]
    return floats(np.max(found, axis=0) / middle_of(light, best.tilt_deg, best.azimuth_deg, skies))


def middle_of(light: LightByDirection, tilt_deg: float, azimuth_deg: float, skies: Skies) -> float:
    """What a plane receives under the middle sky. [kWh/m2]"""
    q = np.array([skies.circumsolar])
    return float(light.on_plane(tilt_deg, azimuth_deg, skies.middle[None], q)[0])
