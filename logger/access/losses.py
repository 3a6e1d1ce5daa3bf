"""One plane's year under an open sky, and what a horizon takes from it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from logger.access.blocking import SunBlocking, block_sky
from logger.access.irradiance import HOURS, KWH_A_MINUTE, MONTHS, PlaneLight
from logger.access.plane import Plane
from logger.access.result import ObstructionLoss
from logger.access.sky_view import unobstructed_view
from logger.access.surroundings import UNNAMED, Names, Surroundings
from logger.arrays import Floats, Ints, floats


def access(loss: Floats, offered: Floats) -> Floats:
    """``1 - loss / offered`` by month, and for the year as the last column; NaN without sun."""
    loss = np.concatenate([loss, loss.sum(axis=-1, keepdims=True)], axis=-1)
    offered = np.append(offered, offered.sum())
    share = np.divide(loss, offered, out=np.full(loss.shape, np.nan), where=offered > 0)
    return floats(1.0 - share)


def share_of(part: Floats, whole: Floats) -> Floats:
    """``part / whole``, NaN where there is no whole."""
    return floats(np.divide(part, whole, out=np.full(whole.shape, np.nan), where=whole > 0))


@dataclass(frozen=True, eq=False)
class OpenPlane:
    """One plane's year under an open sky."""

    plane: Plane
    light: PlaneLight
    view: float  # Sky view factor over a level horizon
    # By month and solar hour: beam, beam and circumsolar, isotropic sky diffuse, and all with
    # what the ground reflects. [kWh/m2] Shape (12, 24).
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


def open_plane(plane: Plane, light: PlaneLight, open_disc: Floats, month_hour: Ints) -> OpenPlane:
    """Sum a plane's year."""

    def by_hour(watts: Floats) -> Floats:
        sums = np.bincount(month_hour, watts, minlength=MONTHS * HOURS)
        return floats(sums.reshape(MONTHS, HOURS) * KWH_A_MINUTE)

    sunward = by_hour((light.beam_wm2 + light.circumsolar_wm2) * open_disc)
    isotropic = by_hour(light.isotropic_wm2)
    return OpenPlane(
        plane,
        light,
        unobstructed_view(plane.tilt_deg),
        by_hour(light.beam_wm2 * open_disc),
        sunward,
        isotropic,
        sunward + isotropic + by_hour(light.ground_wm2),
    )


@dataclass(frozen=True, eq=False)
class Losses:
    """What one horizon takes from one plane."""

    # By month and solar hour: of the beam, of beam and circumsolar. [kWh/m2] Shape (12, 24).
    beam: Floats
    sunward: Floats
    sky_view: Floats  # Loss of the sky view factor. Shape (12,).
    # One a layer: all losses, by interval of azimuth and month. [kWh/m2] Shape (J, 12).
    by_interval: tuple[Floats, ...]

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

    def by_obstruction(
        self, plane: OpenPlane, names: tuple[Names, ...]
    ) -> tuple[ObstructionLoss, ...]:
        """Loss of every name, largest first; an unnamed rest only where it takes something."""
        offered = np.append(plane.monthly_kwh_m2, plane.monthly_kwh_m2.sum())
        found = []
        for n, lost in zip(names, self.by_interval, strict=True):
            for name, sector, row in zip(n.names, n.sectors, n.share.T @ lost, strict=True):
                if name == UNNAMED and not row.any():
                    continue
                start, end = sector or (None, None)
                share = share_of(np.append(row, row.sum()), offered)
                found.append(ObstructionLoss(name, start, end, share))
        return tuple(sorted(found, key=lambda o: -float(np.nan_to_num(o.loss_fraction[12]))))


def losses(
    plane: OpenPlane,
    surroundings: Surroundings,
    names: tuple[Names, ...],
    blocking: SunBlocking,
    month_hour: Ints,
) -> Losses:
    """Losses by layer, interval of azimuth, month and hour."""
    beam = plane.light.beam_wm2[blocking.row]
    sunward = beam + plane.light.circumsolar_wm2[blocking.row]
    cell = month_hour[blocking.row]
    month = cell // HOURS
    hidden = blocking.hidden

    def by_hour(watts: Floats) -> Floats:
        sums = np.bincount(cell, watts, minlength=MONTHS * HOURS)
        return floats(sums.reshape(MONTHS, HOURS) * KWH_A_MINUTE)

    sky = block_sky(surroundings, names, plane.plane.tilt_deg, plane.plane.azimuth_deg)
    by_interval = []
    for k, n in enumerate(names):
        sums = np.bincount(
            blocking.interval[k] * MONTHS + month,
            sunward * blocking.taken[k],
            minlength=len(n.cut_deg) * MONTHS,
        )
        by_interval.append(
            floats(sums.reshape(-1, MONTHS) * KWH_A_MINUTE + sky[k] * plane.sky_kwh_m2)
        )
    return Losses(
        by_hour(beam * hidden),
        by_hour(sunward * hidden),
        floats(np.sum([s.sum(axis=0) for s in sky], axis=0)),
        tuple(by_interval),
    )
