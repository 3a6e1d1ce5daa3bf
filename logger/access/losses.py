"""One plane's year under an open sky, and what a horizon takes from it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from logger.access.blocking import SunBlocking, block_sky
from logger.access.irradiance import (
    HALVES,
    HOURS,
    KWH_A_MINUTE,
    MONTHS,
    PlaneLight,
    SplitLight,
    cosine_of_incidence,
    half_and_month,
    on_plane,
)
from logger.access.plane import Plane
from logger.access.skies import Skies
from logger.access.sky_view import unobstructed_view
from logger.access.surroundings import Layer, Stretch
from logger.arrays import Floats, Ints, floats
from logger.settings import Settings
from logger.sun import SunYear


def access(loss: Floats, offered: Floats) -> Floats:
    """``1 - loss / offered`` by month, and for the year as the last column; NaN without sun."""
    loss, offered = (
        np.concatenate([x, x.sum(axis=-1, keepdims=True)], axis=-1)
        for x in np.broadcast_arrays(loss, offered)
    )
    return floats(
        1.0 - np.divide(loss, offered, out=np.full(loss.shape, np.nan), where=offered > 0)
    )


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


def open_plane(
    plane: Plane,
    sun: SunYear,
    skies: Skies,
    splits: Sequence[SplitLight],
    open_disc: Floats,
    month_hour: Ints,
    settings: Settings,
) -> OpenPlane:
    """Sum a plane's year."""
    cos_i = cosine_of_incidence(plane, sun)
    view = unobstructed_view(plane.tilt_deg)
    half = half_and_month(sun)
    lights = [on_plane(plane, sun, split, settings, 1.0, cos_i) for split in splits]
    weights = skies.middle.reshape(len(lights), -1)[:, half]

    def middle(columns: Sequence[Floats]) -> Floats:
        return floats(sum(w * c for w, c in zip(weights, columns, strict=True)))

    def by_half(columns: Sequence[Floats]) -> Floats:
        sums = [np.bincount(half, c, minlength=HALVES * MONTHS) for c in columns]
        return floats(np.stack(sums).reshape(-1, HALVES, MONTHS) * KWH_A_MINUTE)

    def by_hour(watts: Floats) -> Floats:
        sums = np.bincount(month_hour, watts, minlength=MONTHS * HOURS)
        return floats(sums.reshape(MONTHS, HOURS) * KWH_A_MINUTE)

    level = [s.circumsolar_level_wm2 for s in splits]
    q = skies.circumsolar
    of_middle = PlaneLight(
        middle([p.beam_wm2 for p in lights]),
        q * middle([p.circumsolar_wm2 for p in lights]),
        middle([p.isotropic_wm2 for p in lights]) + (1.0 - q) * view * middle(level),
        middle([p.ground_wm2 for p in lights]),
    )
    sunward = by_hour((of_middle.beam_wm2 + of_middle.circumsolar_wm2) * open_disc)
    isotropic = by_hour(of_middle.isotropic_wm2)
    return OpenPlane(
        plane,
        view,
        of_middle,
        Offered(
            by_half([p.beam_wm2 * open_disc for p in lights]),
            by_half([p.circumsolar_wm2 * open_disc for p in lights]),
            by_half([p.isotropic_wm2 for p in lights]) / view,
            by_half(level),
            by_half([p.ground_wm2 for p in lights]),
        ),
        tuple((p.beam_wm2, p.circumsolar_wm2) for p in lights),
        by_hour(of_middle.beam_wm2 * open_disc),
        sunward,
        isotropic,
        sunward + isotropic + by_hour(of_middle.ground_wm2),
    )


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

    def by_hour(watts: Floats) -> Floats:
        sums = np.bincount(cell, watts, minlength=MONTHS * HOURS)
        return floats(sums.reshape(MONTHS, HOURS) * KWH_A_MINUTE)

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
        by_hour(beam * hidden),
        by_hour(sunward * hidden),
        floats(np.sum([s.sum(axis=0) for s in sky], axis=0)),
        tuple(stretches),
    )
