"""One plane's year under an open sky, and what a horizon takes from it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from logger.access.blocking import SunBlocking, block_sky
from logger.access.irradiance import (
    HALVES,
    HOURS,
    KWH_A_MINUTE,
    MONTHS,
    PlaneLight,
    cosine_of_incidence,
    on_plane,
)
from logger.access.plane import Plane
from logger.access.sky_view import unobstructed_view
from logger.access.surroundings import Layer, Stretch
from logger.arrays import Floats, Ints, floats

if TYPE_CHECKING:
    from logger.access.calculator import SiteYear


def access(loss: Floats, offered: Floats) -> Floats:
    """``1 - loss / offered`` by month, and for the year as the last column; NaN without sun."""
    loss, offered = (
        np.concatenate([x, x.sum(axis=-1, keepdims=True)], axis=-1)
        for x in np.broadcast_arrays(loss, offered)
    )
    return 1.0 - share_of(loss, offered)


def share_of(part: Floats, whole: Floats) -> Floats:
    """``part / whole``, NaN where there is no whole."""
    return floats(np.divide(part, whole, out=np.full(whole.shape, np.nan), where=whole > 0))


@dataclass(frozen=True, eq=False)
class Offered:
    """What each light of a sky offers a plane under an open sky, by half day and month.

    Each of shape (K, 2, 12). [kWh/m2]
    """

    beam: Floats
    circumsolar: Floats  # Hay and Davies's
    # By unit of sky view factor: isotropic light, and circumsolar light if it were isotropic.
    isotropic: Floats
    level: Floats
    ground: Floats


@dataclass(frozen=True, eq=False)
class OpenPlane:
    """One plane's year under an open sky."""

    plane: Plane
    view: float  # Sky view factor over a level horizon
    light: PlaneLight  # Under the middle sky
    offered: Offered
    # Of each light, sunlight on the plane minute by minute: beam, circumsolar. [W/m2]
    sunlight: tuple[tuple[Floats, Floats], ...]
    # Under the middle sky by month and solar hour: beam, beam and circumsolar, isotropic sky
    # diffuse, and all with what the ground reflects. [kWh/m2] Shape (12, 24).
    beam: Floats
    sunward: Floats
    isotropic: Floats
    unshaded: Floats

    @property
    def monthly_kwh_m2(self) -> Floats:
        """Irradiation. Shape (12,). [kWh/m2]"""
        return floats(self.unshaded.sum(axis=1))

    @property
    def monthly_beam_kwh_m2(self) -> Floats:
        """Beam irradiation. Shape (12,). [kWh/m2]"""
        return floats(self.beam.sum(axis=1))

    @property
    def sky_kwh_m2(self) -> Floats:
        """Isotropic sky diffuse by unit of sky view factor. Shape (12,). [kWh/m2]"""
        return floats(self.isotropic.sum(axis=1) / self.view)


def open_plane(plane: Plane, year: SiteYear) -> OpenPlane:
    """Sum a plane's year."""
    view, q, disc = unobstructed_view(plane.tilt_deg), year.skies.circumsolar, year.open_disc
    cos_i = cosine_of_incidence(plane, year.sun)
    lights = [on_plane(plane, year.sun, split, year.settings, cos_i) for split in year.splits]

    def by_half(columns: Sequence[Floats]) -> Floats:
        sums = [np.bincount(year.half_and_month, c, minlength=HALVES * MONTHS) for c in columns]
        return floats(np.stack(sums).reshape(-1, HALVES, MONTHS) * KWH_A_MINUTE)

    level = [s.circumsolar_level_wm2 for s in year.splits]
    of_middle = PlaneLight(
        year.middle([p.beam_wm2 for p in lights]),
        q * year.middle([p.circumsolar_wm2 for p in lights]),
        year.middle([p.isotropic_wm2 for p in lights]) + (1.0 - q) * view * year.middle(level),
        year.middle([p.ground_wm2 for p in lights]),
    )
    sunward = _by_hour(year.month_hour, (of_middle.beam_wm2 + of_middle.circumsolar_wm2) * disc)
    isotropic = _by_hour(year.month_hour, of_middle.isotropic_wm2)
    return OpenPlane(
        plane,
        view,
        of_middle,
        Offered(
            by_half([p.beam_wm2 * disc for p in lights]),
            by_half([p.circumsolar_wm2 * disc for p in lights]),
            by_half([p.isotropic_wm2 for p in lights]) / view,
            by_half(level),
            by_half([p.ground_wm2 for p in lights]),
        ),
        tuple((p.beam_wm2, p.circumsolar_wm2) for p in lights),
        _by_hour(year.month_hour, of_middle.beam_wm2 * disc),
        sunward,
        isotropic,
        sunward + isotropic + _by_hour(year.month_hour, of_middle.ground_wm2),
    )


def _by_hour(month_hour: Ints, watts: Floats) -> Floats:
    """Sums of minutes. [kWh/m2] Shape (12, 24)."""
    sums = np.bincount(month_hour, watts, minlength=MONTHS * HOURS)
    return floats(sums.reshape(MONTHS, HOURS) * KWH_A_MINUTE)


@dataclass(frozen=True, eq=False)
class Losses:
    """What one horizon takes from one plane under the middle sky."""

    # By month and solar hour: of the beam, of beam and circumsolar. [kWh/m2] Shape (12, 24).
    beam: Floats
    sunward: Floats
    sky_view: Floats  # Loss of the sky view factor. Shape (12,).
    # Share of the year's light that each stretch takes, largest first, with its months and year.
    by_stretch: tuple[tuple[Stretch, Floats], ...]

    def total_kwh_m2(self, plane: OpenPlane) -> Floats:
        """By month. Shape (12,). [kWh/m2]"""
        return floats(self.sunward.sum(axis=1) + self.sky_view * plane.sky_kwh_m2)

    def hourly_beam_access(self, plane: OpenPlane) -> Floats:
        """By month and solar hour. Shape (12, 24)."""
        return 1.0 - share_of(self.beam, plane.beam)

    def hourly_solar_access(self, plane: OpenPlane) -> Floats:
        """By month and solar hour. Shape (12, 24)."""
        sky = self.sky_view[:, None] * plane.isotropic / plane.view
        return 1.0 - share_of(self.sunward + sky, plane.unshaded)


def losses(
    plane: OpenPlane, layers: Sequence[Layer], blocking: SunBlocking, month_hour: Ints
) -> Losses:
    """Losses by month and hour, and by stretch of the skyline."""
    beam = plane.light.beam_wm2[blocking.row]
    sunward = beam + plane.light.circumsolar_wm2[blocking.row]
    cell = month_hour[blocking.row]
    month = cell // HOURS
    hidden = blocking.hidden
    sky = block_sky(layers, plane.plane.tilt_deg, plane.plane.azimuth_deg)
    offered = np.append(plane.monthly_kwh_m2, plane.monthly_kwh_m2.sum())
    stretches: list[tuple[Stretch, Floats]] = []
    for k, layer in enumerate(layers):
        names = layer.names
        sums = np.bincount(
            blocking.interval[k] * MONTHS + month,
            sunward * blocking.taken[k],
            minlength=len(names.cut_deg) * MONTHS,
        )
        lost = sums.reshape(-1, MONTHS) * KWH_A_MINUTE + sky[k] * plane.sky_kwh_m2
        for stretch, row in zip(names.stretches, names.share.T @ lost, strict=True):
            if stretch.kind or row.sum() > 0:
                stretches.append((stretch, share_of(np.append(row, row.sum()), offered)))
    stretches.sort(key=lambda s: -float(np.nan_to_num(s[1][12])))
    return Losses(
        _by_hour(cell, beam * hidden),
        _by_hour(cell, sunward * hidden),
        floats(np.sum([s.sum(axis=0) for s in sky], axis=0)),
        tuple(stretches),
    )
