"""The calculator: what does not depend on the horizon once, every horizon after that quickly."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from logger.access.best_plane import BestPlane, SkyLight, best_plane, gather, irradiation
from logger.access.blocking import SunBlocking, block_sky, block_sun, disc_above, layouts
from logger.access.bounds import (
    BlockingTable,
    blocking_table,
    direction_cells,
    draw_layers,
    drawn_losses,
)
from logger.access.irradiance import (
    HOURS,
    KWH_A_MINUTE,
    MONTHS,
    Directional,
    PlaneLight,
    directional,
    on_plane,
    sun_vectors,
)
from logger.access.light import Light, light_of
from logger.access.result import AccessResult, Bounded, ObstructionLoss, PlaneResult
from logger.access.settings import BOUND_PERCENTILES, AccessSettings, Plane
from logger.access.sky_view import unobstructed_view
from logger.access.surroundings import UNNAMED, Names, Surroundings
from logger.access.weather import Weather
from logger.access.window import solar_window
from logger.columns import Floats, Ints, floats
from logger.draws import DrawnHorizons, has_errors
from logger.profile import HorizonProfile
from logger.site import Site
from logger.sun import SunYear, sun_year


class SiteYear:
    """A site's sun and sky through a year, and the planes asked for: all but the horizon.

    Parameters
    ----------
    site : Site
    planes : sequence of Plane
    settings : AccessSettings
    weather : Weather, optional
        Without it the sky is clear all year.
    """

    def __init__(
        self,
        site: Site,
        planes: Sequence[Plane],
        settings: AccessSettings | None = None,
        weather: Weather | None = None,
    ) -> None:
        self.site = site
        self.settings = settings or AccessSettings()
        self.sun: SunYear = sun_year(site, self.settings.year)
        self.light: Light = light_of(weather, self.sun, self.settings)
        self.split: Directional = directional(self.sun, self.light, self.settings)
        self.vectors: Floats = sun_vectors(self.sun)
        self.open_disc: Floats = disc_above(self.sun.elevation_deg, self.settings.disc_radius_deg)
        hour = np.minimum(self.sun.solar_hour.astype(np.int64), HOURS - 1)
        self.month_hour: Ints = self.sun.month * HOURS + hour
        self.planes = tuple(PlaneYear(self, plane) for plane in planes)

    @cached_property
    def cells(self) -> Ints:
        """Direction cell of every row, for the tables behind the bounds."""
        return direction_cells(self.sun)

    @cached_property
    def open_sky(self) -> SkyLight:
        """The year's light over a level horizon, by direction."""
        ground = (
            np.zeros(len(self.sun))
            if self.settings.model == "beam-only"
            else self.light.ghi_wm2 * self.settings.monthly_albedo[self.sun.month]
        )
        return gather(
            self.vectors,
            self.sun.azimuth_deg,
            self.sun.elevation_deg,
            (self.split.beam_wm2 + self.split.circumsolar_wm2) * self.open_disc,
            self.split.isotropic_wm2,
            ground,
        )

    @cached_property
    def best_unshaded(self) -> BestPlane:
        """The fixed plane that would receive most over a level horizon."""
        return best_plane(self.open_sky)

    def assess(self, horizon: HorizonProfile | Surroundings) -> AccessResult:
        """Access, loss, window and bounds under one horizon.

        Parameters
        ----------
        horizon : HorizonProfile or Surroundings
        """
        surroundings = Surroundings.of(horizon)
        taken_open = surroundings.filled(0.0)
        names = layouts(taken_open)
        blocking = block_sun(
            taken_open, names, self.sun, self.open_disc, self.settings.disc_radius_deg
        )
        window = solar_window(self.sun, blocking, names, self.settings)
        notes = [*self.light.notes, *surroundings.changes]
        drawn = any(x.measured and has_errors(x.profile) for x in surroundings.layers)
        drawn = drawn and self.settings.draws > 0
        if not drawn:
            notes.append(
                "the horizon comes without errors: low and high say nothing of them"
                if self.settings.draws > 0
                else "no horizons were drawn: low and high say nothing of the horizon's errors"
            )
        fills = [0.0]
        if not surroundings.complete:
            notes.append(
                "parts of the horizon were not measured: value takes them as open, "
                "low as fully blocked, high as open"
            )
            fills.append(90.0)
        draws = [
            draw_layers(surroundings, self.settings.draws, self.settings.seed, fill)
            for fill in fills
            if drawn
        ]
        results = []
        for plane in self.planes:
            loss = plane.losses(taken_open, names, blocking)
            worst = loss
            if not surroundings.complete:
                worst = plane.losses_under(surroundings.filled(90.0))
            beam, solar = loss.access(plane)
            worst_beam, worst_solar = worst.access(plane)
            spread = [plane.spread(layers, surroundings.transmittance) for layers in draws]
            results.append(
                PlaneResult(
                    plane.plane,
                    _bounded(solar, worst_solar, [s[1] for s in spread]),
                    _bounded(beam, worst_beam, [s[0] for s in spread]),
                    plane.unshaded_kwh_m2,
                    plane.unshaded_kwh_m2 - loss.total_kwh_m2,
                    plane.unshaded_beam_kwh_m2,
                    loss.hourly_solar(plane),
                    loss.hourly_beam(plane),
                    plane.view - float(loss.sky_view.mean()),
                    plane.orientation_factor,
                    self.best_unshaded,
                    window,
                    loss.by_obstruction(plane, names),
                )
            )
        return AccessResult(
            self.site, self.settings, tuple(results), self.light.source, tuple(notes)
        )


def _bounded(value: Floats, worst: Floats, spread: Sequence[Floats]) -> Bounded:
    """The interval of the draws, wide enough for value and worst case."""
    low, high = np.minimum(value, worst), value
    if spread:
        # The first spread takes unmeasured sectors as open, the last as blocked.
        low = np.fmin(low, np.percentile(spread[-1], BOUND_PERCENTILES[0], axis=0))
        high = np.fmax(high, np.percentile(spread[0], BOUND_PERCENTILES[1], axis=0))
    return Bounded(value, np.clip(low, 0.0, 1.0), np.clip(high, 0.0, 1.0))


class PlaneYear:
    """One plane's year under an open sky.

    Parameters
    ----------
    year : SiteYear
    plane : Plane
    """

    def __init__(self, year: SiteYear, plane: Plane) -> None:
        self._year = year
        self.plane = plane
        self.light: PlaneLight = on_plane(
            plane, year.vectors, year.sun.month, year.split, year.light, year.settings
        )
        self.view = unobstructed_view(plane.tilt_deg)
        light, disc = self.light, year.open_disc
        self.beam = self._by_hour(light.beam_wm2 * disc)
        self.sunward = self._by_hour((light.beam_wm2 + light.circumsolar_wm2) * disc)
        self.isotropic = self._by_hour(light.isotropic_wm2)
        self.unshaded = self.sunward + self.isotropic + self._by_hour(light.ground_wm2)

    def _by_hour(self, watts: Floats) -> Floats:
        """Sum over the year by month and solar hour. Shape (12, 24). [kWh/m2]"""
        sums = np.bincount(self._year.month_hour, watts, minlength=MONTHS * HOURS)
        return floats(sums.reshape(MONTHS, HOURS) * KWH_A_MINUTE)

    @property
    def unshaded_kwh_m2(self) -> Floats:
        """By month. [kWh/m2]"""
        return floats(self.unshaded.sum(axis=1))

    @property
    def unshaded_beam_kwh_m2(self) -> Floats:
        """By month. [kWh/m2]"""
        return floats(self.beam.sum(axis=1))

    @cached_property
    def orientation_factor(self) -> float:
        """Unshaded, against the best fixed plane."""
        here = irradiation(
            self._year.open_sky,
            floats([self.plane.tilt_deg]),
            floats([self.plane.azimuth_deg]),
        )[0]
        best = self._year.best_unshaded.irradiation_kwh_m2
        return float(min(here / best, 1.0)) if best > 0 else float("nan")

    @cached_property
    def table(self) -> BlockingTable:
        """What drawn horizons are looked up in."""
        return blocking_table(self.plane, self._year.sun, self._year.cells, self.light)

    def losses_under(self, surroundings: Surroundings) -> Losses:
        """Losses under complete surroundings."""
        names = layouts(surroundings)
        year = self._year
        blocking = block_sun(
            surroundings, names, year.sun, year.open_disc, year.settings.disc_radius_deg
        )
        return self.losses(surroundings, names, blocking)

    def losses(
        self, surroundings: Surroundings, names: tuple[Names, ...], blocking: SunBlocking
    ) -> Losses:
        """Losses by layer, interval of azimuth, month and hour.

        Parameters
        ----------
        surroundings : Surroundings
            Complete.
        names : tuple of Names
        blocking : SunBlocking
            Of the same surroundings.
        """
        year, light = self._year, self.light
        beam = light.beam_wm2[blocking.row]
        sunward = beam + light.circumsolar_wm2[blocking.row]
        hour = year.month_hour[blocking.row]
        month = year.sun.month[blocking.row]
        hidden = blocking.hidden
        beam_loss = np.bincount(hour, beam * hidden, minlength=MONTHS * HOURS)
        sun_loss = np.bincount(hour, sunward * hidden, minlength=MONTHS * HOURS)
        sky = block_sky(surroundings, names, self.plane.tilt_deg, self.plane.azimuth_deg)
        if year.settings.model == "beam-only":
            sky = tuple(np.zeros_like(s) for s in sky)
        by_interval = []
        for k, n in enumerate(names):
            j = len(n.cut_deg)
            sums = np.bincount(
                blocking.interval[k] * MONTHS + month,
                sunward * blocking.taken[k],
                minlength=j * MONTHS,
            )
            diffuse = sky[k] * (self.isotropic.sum(axis=1) / self.view)
            by_interval.append(sums.reshape(j, MONTHS) * KWH_A_MINUTE + diffuse)
        return Losses(
            floats(beam_loss.reshape(MONTHS, HOURS) * KWH_A_MINUTE),
            floats(sun_loss.reshape(MONTHS, HOURS) * KWH_A_MINUTE),
            floats(np.sum([s.sum(axis=0) for s in sky], axis=0)),
            self.isotropic / self.view,
            tuple(by_interval),
        )

    def spread(
        self, drawn: tuple[DrawnHorizons, ...], transmittance: Floats
    ) -> tuple[Floats, Floats]:
        """Beam and solar access under every drawn horizon. Each of shape (n, 13)."""
        loss = drawn_losses(self.table, drawn, transmittance)
        solar = loss.sunward_kwh_m2
        if self._year.settings.model != "beam-only":
            solar = solar + loss.sky_view * (self.isotropic.sum(axis=1) / self.view)
        return (
            _access(loss.beam_kwh_m2, self.unshaded_beam_kwh_m2),
            _access(solar, self.unshaded_kwh_m2),
        )


def _access(loss: Floats, offered: Floats) -> Floats:
    """``1 - loss / offered`` by month, and for the year as the last column; NaN without sun."""
    loss = np.concatenate([loss, loss.sum(axis=-1, keepdims=True)], axis=-1)
    offered = np.append(offered, offered.sum())
    share = np.divide(loss, offered, out=np.full(loss.shape, np.nan), where=offered > 0)
    return floats(1.0 - share)


@dataclass(frozen=True, eq=False)
class Losses:
    """What one horizon takes from one plane.

    Parameters
    ----------
    beam, sunward : array, shape (12, 24)
        By month and solar hour: of the beam, of beam and circumsolar. [kWh/m2]
    sky_view : array, shape (12,)
        Loss of the sky view factor.
    isotropic : array, shape (12, 24)
        Isotropic sky diffuse by unit of sky view factor. [kWh/m2]
    by_interval : tuple of array, shape (J, 12)
        One a layer: all losses, by interval of azimuth and month. [kWh/m2]
    """

    beam: Floats
    sunward: Floats
    sky_view: Floats
    isotropic: Floats
    by_interval: tuple[Floats, ...]

    @property
    def total_kwh_m2(self) -> Floats:
        """By month. [kWh/m2]"""
        return floats(self.sunward.sum(axis=1) + self.sky_view * self.isotropic.sum(axis=1))

    def access(self, plane: PlaneYear) -> tuple[Floats, Floats]:
        """Beam and solar access, months and year. Each of shape (13,)."""
        return (
            _access(self.beam.sum(axis=1), plane.unshaded_beam_kwh_m2),
            _access(self.total_kwh_m2, plane.unshaded_kwh_m2),
        )

    def hourly_beam(self, plane: PlaneYear) -> Floats:
        """Beam access by month and solar hour. Shape (12, 24)."""
        return 1.0 - _share(self.beam, plane.beam)

    def hourly_solar(self, plane: PlaneYear) -> Floats:
        """Solar access by month and solar hour. Shape (12, 24)."""
        lost = self.sunward + self.sky_view[:, None] * self.isotropic
        return 1.0 - _share(lost, plane.unshaded)

    def by_obstruction(
        self, plane: PlaneYear, names: tuple[Names, ...]
    ) -> tuple[ObstructionLoss, ...]:
        """Loss of every name, largest first; an unnamed rest only where it takes something."""
        offered = np.append(plane.unshaded_kwh_m2, plane.unshaded_kwh_m2.sum())
        found = []
        for n, lost in zip(names, self.by_interval, strict=True):
            by_name = n.share.T @ lost
            for name, sector, row in zip(n.names, n.sectors, by_name, strict=True):
                if name == UNNAMED and not row.any():
                    continue
                whole = np.append(row, row.sum())
                share = _share(whole, offered)
                start, end = sector or (None, None)
                found.append(ObstructionLoss(name, start, end, share))
        return tuple(sorted(found, key=lambda o: -float(np.nan_to_num(o.loss_fraction[12]))))


def _share(part: Floats, whole: Floats) -> Floats:
    return floats(np.divide(part, whole, out=np.full(whole.shape, np.nan), where=whole > 0))


def assess(
    horizon: HorizonProfile | Surroundings,
    site: Site,
    planes: Sequence[Plane],
    settings: AccessSettings | None = None,
    weather: Weather | None = None,
) -> AccessResult:
    """Solar access of planes at one point.

    Parameters
    ----------
    horizon : HorizonProfile or Surroundings
    site : Site
    planes : sequence of Plane
    settings : AccessSettings, optional
    weather : Weather, optional
        Without it the sky is clear all year.
    """
    return SiteYear(site, planes, settings, weather).assess(horizon)
