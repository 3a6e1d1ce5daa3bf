"""The calculator: what does not depend on the horizon once, every horizon after that quickly."""

from __future__ import annotations

from collections.abc import Sequence
from functools import cached_property

import numpy as np

from logger.access.best_plane import (
    BestPlane,
    SkyLight,
    Skyline,
    best_plane,
    direction_cells,
    irradiation,
)
from logger.access.blocking import disc_above
from logger.access.heights import carried
from logger.access.intervals import PlaneTable, plane_table
from logger.access.irradiance import HOURS, KWH_A_MINUTE, MONTHS, SplitLight, split_light
from logger.access.losses import OpenPlane, open_plane
from logger.access.notes import notes_of
from logger.access.orientation import LightByDirection, best_by_sky, light_by_direction, middle_of
from logger.access.plane import Plane
from logger.access.point import Case, Point
from logger.access.result import AccessResult
from logger.access.rules import Rules
from logger.access.skies import Skies, skies_of
from logger.access.sun_table import Singles, SunGrid, sun_grid
from logger.access.surroundings import Layer
from logger.access.weather import Weather
from logger.access.window import SunInWindow, sun_in_window
from logger.arrays import Floats, Ints, floats
from logger.checks import Check
from logger.horizon import HorizonProfile
from logger.settings import Settings
from logger.site import Site
from logger.sun import SunYear, sun_year


class SiteYear:
    """A site's sun and sky through a year, and the planes asked for: all but the horizon.

    Make it once, then `assess` any number of horizons: points, what-ifs.

    Parameters
    ----------
    site : Site
    planes : sequence of Plane
    settings : Settings, optional
    weather : Weather, optional
        Without it the sky is not known: shares come with an interval that says so, and no kWh.
    rules : Rules, optional
        Of a programme or permit, that every plane is held against.
    timezone : str, optional
        IANA name for clock times; without it UTC.
    """

    def __init__(
        self,
        site: Site,
        planes: Sequence[Plane],
        settings: Settings | None = None,
        weather: Weather | None = None,
        *,
        rules: Rules | None = None,
        timezone: str | None = None,
    ) -> None:
        self.site = site
        self.settings = settings or Settings()
        self.rules = rules or Rules()
        self.timezone = timezone
        self.sun: SunYear = sun_year(site, self.settings.year)
        self.skies: Skies = skies_of(weather, self.sun, self.settings)
        self.checks: tuple[Check, ...] = self.skies.checks
        self.splits: tuple[SplitLight, ...] = tuple(
            split_light(self.sun, light) for light in self.skies.lights
        )
        self.open_disc: Floats = disc_above(self.sun.elevation_deg)
        hour = np.minimum(self.sun.solar_hour.astype(np.int64), HOURS - 1)
        self.month_hour: Ints = self.sun.month * HOURS + hour
        self.planes: tuple[OpenPlane, ...] = tuple(open_plane(plane, self) for plane in planes)

    @cached_property
    def half_and_month(self) -> Ints:
        """Before noon (0) or after it (1), and the month: ``half * 12 + month``. Shape (N,)."""
        return np.asarray((self.sun.azimuth_deg >= 180.0) * MONTHS + self.sun.month, dtype=np.int64)

    @cached_property
    def direction_cell(self) -> Ints:
        """In which cell of the sky each minute's sun stands. Shape (N,)."""
        return direction_cells(self.sun)

    @cached_property
    def _middle_weights(self) -> Floats:
        """How much of each light makes the middle sky, minute by minute. Shape (K, N)."""
        return floats(self.skies.middle.reshape(len(self.splits), -1)[:, self.half_and_month])

    def middle(self, columns: Sequence[Floats]) -> Floats:
        """A mixture of minutes as in the middle sky, a column a light. Shape (N,)."""
        return floats(sum(w * c for w, c in zip(self._middle_weights, columns, strict=True)))

    @cached_property
    def grid(self) -> SunGrid:
        """Where the sun stands, for tables."""
        return sun_grid(self.sun)

    @cached_property
    def tables(self) -> tuple[PlaneTable, ...]:
        """What skylines take from each plane."""
        return tuple(plane_table(plane, self.grid) for plane in self.planes)

    @cached_property
    def window_table(self) -> Singles:
        """What skylines take of the sun's time in the window."""
        return self.grid.table([self.window.inside * self.open_disc])

    @cached_property
    def window(self) -> SunInWindow:
        """The sun in the solar window."""
        return sun_in_window(self.sun, self.open_disc, self.settings.solar_window, self.timezone)

    @cached_property
    def _directions(self) -> LightByDirection:
        return light_by_direction(self)

    @cached_property
    def _best_by_sky(self) -> Floats:
        """What the best plane receives under each drawn sky, over that under the middle one."""
        return best_by_sky(self._directions, self.best_unshaded, self.skies)

    def assess(self, horizon: HorizonProfile) -> AccessResult:
        """Access, loss, window and intervals of every plane under a horizon.

        Parameters
        ----------
        horizon : HorizonProfile
            As the sight saw it. Deciduous obstructions are in leaf and bare by season, and
            `HorizonProfile.rise_m` carries it to the module.
        """
        point = Point(self, horizon)
        planes = tuple(point.result(k) for k in range(len(self.planes)))
        notes, hints = notes_of(point, planes)
        return AccessResult(
            self.site,
            self.settings,
            planes,
            self.skies.sky,
            (*self.skies.notes, *notes),
            hints,
            self.checks,
        )

    def sky_light(self, horizon: HorizonProfile | None = None) -> SkyLight:
        """The year's light at the point, ready for any plane; without a horizon an open sky."""
        seen, skyline = self.open_disc, None
        if horizon is not None:
            case = Case(self, carried(horizon).filled(0.0))
            seen = seen.copy()
            seen[case.blocking.row] -= case.blocking.hidden
            skyline = self._skyline(case.layers)
        q = self.skies.circumsolar
        sunward = self.middle([s.beam_wm2 + q * s.circumsolar_wm2 for s in self.splits])
        isotropic = self.middle(
            [s.isotropic_wm2 + (1.0 - q) * s.circumsolar_level_wm2 for s in self.splits]
        )
        ground = (
            self.middle([s.ghi_wm2 for s in self.splits])
            * floats(self.settings.monthly_reflectance)[self.sun.month]
        )
        light = sunward * seen
        sums = np.stack([np.bincount(self.direction_cell, light * v) for v in self.sun.vectors])
        return SkyLight(
            floats(sums[:, sums.any(axis=0)] * KWH_A_MINUTE),
            float(isotropic.sum() * KWH_A_MINUTE),
            float(ground.sum() * KWH_A_MINUTE),
            skyline,
        )

    def _skyline(self, layers: Sequence[Layer]) -> Skyline:
        diffuse = np.bincount(
            self.sun.month, self.middle([s.isotropic_wm2 for s in self.splits]), minlength=MONTHS
        )
        weight = diffuse / max(float(diffuse.sum()), 1e-12)
        at = floats(np.arange(360) + 0.5)
        heights = tuple(layer.height_at(at) for layer in layers)
        return Skyline(at, heights, tuple(float(layer.opacity @ weight) for layer in layers))

    @cached_property
    def open_sky(self) -> SkyLight:
        """The year's light over a level horizon."""
        return self.sky_light()

    @cached_property
    def best_unshaded(self) -> BestPlane:
        """The fixed plane that would receive most over a level horizon."""
        return best_plane(self.open_sky)

    def best_under(self, horizon: HorizonProfile) -> BestPlane:
        """The fixed plane that receives most under a horizon."""
        return best_plane(self.sky_light(horizon))

    def orientation_factor(self, plane: Plane) -> tuple[float, Floats]:
        """A plane's unshaded irradiation against the best fixed plane's; and under drawn skies.

        NaN without sun. The second is of shape (n,).
        """
        here = irradiation(self.open_sky, floats([plane.tilt_deg]), floats([plane.azimuth_deg]))
        best = self.best_unshaded.annual_kwh_per_m2
        if not best > 0:
            return float("nan"), np.full(1, np.nan)
        factor = float(min(here[0] / best, 1.0))
        if self.settings.draws == 0:
            return factor, floats([factor])
        angles = plane.tilt_deg, plane.azimuth_deg
        drawn = self._directions.on_plane(*angles, self.skies.drawn, self.skies.drawn_circumsolar)
        drawn = drawn / middle_of(self._directions, *angles, self.skies) / self._best_by_sky
        return factor, np.minimum(factor * drawn, 1.0)
