"""The calculator: what does not depend on the horizon once, every horizon after that quickly."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np

from logger.access.best_plane import (
    BestPlane,
    PlaneMap,
    SkyLight,
    Skyline,
    best_plane,
    gather,
    irradiation,
    plane_map,
)
from logger.access.blocking import SunBlocking, block_sun, disc_above, layouts, skyline_at
from logger.access.bounds import (
    FULL_REACH,
    BlockingTable,
    blocking_table,
    direction_cells,
    draw_layers,
    look_up,
    reach_of,
    sky_by_cell,
)
from logger.access.draws import DrawnHorizons, has_errors, sector_middles
from logger.access.electricity import power_w
from logger.access.irradiance import (
    HOURS,
    KWH_A_MINUTE,
    MONTHS,
    Directional,
    directional,
    on_plane,
)
from logger.access.light import Light, light_of
from logger.access.losses import Losses, OpenPlane, access, losses, open_plane
from logger.access.plane import Plane
from logger.access.result import AccessResult, Bounded, Energy, Interval, PlaneResult
from logger.access.rules import Rules, Verdict
from logger.access.surroundings import UNNAMED, Names, Surroundings
from logger.access.weather import Weather
from logger.access.window import SunInWindow, WindowResult, solar_window, sun_in_window
from logger.arrays import Floats, Ints, floats
from logger.checks import Check
from logger.horizon import HorizonProfile
from logger.settings import Settings
from logger.site import Site
from logger.sun import DISC_RADIUS_DEG, SunYear, sun_year

BOUND_PERCENTILES = (2.5, 97.5)
"""The interval that low and high bound: 95 % of the drawn horizons."""

YEAR = 12
"""Column of the year behind the twelve months."""

_BLOCK = 1000
_AT_ONCE = 100
"""Draws in memory at a time, and draws looked up together."""

_WORTH_TELLING = 0.005
"""Share of the year's light."""


class SiteYear:
    """A site's sun and sky through a year, and the planes asked for: all but the horizon.

    Make it once, then `assess` any number of horizons: points, draws, what-ifs.

    Parameters
    ----------
    site : Site
    planes : sequence of Plane
    settings : Settings, optional
    weather : Weather, optional
        Without it the sky is clear all year.
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
        self.checks: tuple[Check, ...] = () if weather is None else weather.checks(site)
        self.sun: SunYear = sun_year(site, self.settings.year)
        self.light: Light = light_of(weather, self.sun, self.settings)
        self.split: Directional = directional(self.sun, self.light, self.settings)
        self.open_disc: Floats = disc_above(self.sun.elevation_deg, DISC_RADIUS_DEG)
        hour = np.minimum(self.sun.solar_hour.astype(np.int64), HOURS - 1)
        self.month_hour: Ints = self.sun.month * HOURS + hour
        self.planes: tuple[OpenPlane, ...] = tuple(
            open_plane(
                plane,
                on_plane(plane, self.sun, self.split, self.light, self.settings),
                self.open_disc,
                self.month_hour,
            )
            for plane in planes
        )
        self._table_of_planes: BlockingTable | None = None
        self._table_of_window: BlockingTable | None = None
        self._reach: Ints | None = None

    @cached_property
    def _cells(self) -> tuple[Ints, Ints]:
        return direction_cells(self.sun)

    @cached_property
    def _window(self) -> SunInWindow:
        return sun_in_window(self.sun, self.settings.solar_window, self.timezone)

    def _window_table(self, reach: Ints) -> BlockingTable:
        if self._table_of_window is None or self._table_of_window.reach is not reach:
            inside = [self._window.inside.astype(float)]
            self._table_of_window = blocking_table(self.sun, self._cells, inside, (), reach)
        return self._table_of_window

    def _table(self, reach: Ints = FULL_REACH) -> BlockingTable:
        """Beam and all sunlight of each plane, then the view of the sky of each."""
        if self._table_of_planes is None or self._table_of_planes.reach is not reach:
            amounts = []
            for plane in self.planes:
                both = plane.light.beam_wm2 + plane.light.circumsolar_wm2
                amounts += [plane.light.beam_wm2 * KWH_A_MINUTE, both * KWH_A_MINUTE]
            skies = [sky_by_cell(plane.plane, reach) for plane in self.planes]
            self._table_of_planes = blocking_table(self.sun, self._cells, amounts, skies, reach)
        return self._table_of_planes

    def _reach_for(self, layers: Sequence[DrawnHorizons]) -> Ints:
        """How high the tables must be: for these horizons and all that came before."""
        needed = reach_of(layers)
        if self._reach is None or (needed > self._reach).any():
            self._reach = needed if self._reach is None else np.maximum(needed, self._reach)
        return self._reach

    def sky_light(self, horizon: HorizonProfile | Surroundings | None = None) -> SkyLight:
        """The year's light at the point, ready for any plane; without a horizon an open sky."""
        seen, skyline = self.open_disc, None
        if horizon is not None:
            surroundings = Surroundings.of(horizon).filled(0.0)
            blocking = self._block(surroundings, layouts(surroundings))
            seen = seen.copy()
            seen[blocking.row] -= blocking.hidden
            skyline = self._skyline(surroundings)
        ground = self.light.ghi_wm2 * floats(self.settings.monthly_reflectance)[self.sun.month]
        return gather(
            self.sun,
            (self.split.beam_wm2 + self.split.circumsolar_wm2) * seen,
            self.split.isotropic_wm2,
            ground,
            skyline,
        )

    def _skyline(self, surroundings: Surroundings) -> Skyline:
        at = sector_middles(1.0)
        height = np.stack([skyline_at(layer.profile, at) for layer in surroundings.layers])
        order = np.argsort(height, axis=0, kind="stable")
        diffuse = np.bincount(self.sun.month, self.split.isotropic_wm2, minlength=MONTHS)
        weight = floats(diffuse / max(float(diffuse.sum()), 1e-12))
        # What passes a slice passes every layer that reaches above it; months by their diffuse.
        by_month = surroundings.transmittance[order]
        passes = np.cumprod(by_month[::-1], axis=0)[::-1] @ weight
        return Skyline(at, np.take_along_axis(height, order, axis=0), floats(passes))

    @cached_property
    def open_sky(self) -> SkyLight:
        """The year's light over a level horizon."""
        return self.sky_light()

    @cached_property
    def best_unshaded(self) -> BestPlane:
        """The fixed plane that would receive most over a level horizon."""
        return best_plane(self.open_sky)

    def best_under(self, horizon: HorizonProfile | Surroundings) -> BestPlane:
        """The fixed plane that receives most under a horizon."""
        return best_plane(self.sky_light(horizon))

    def map_under(self, horizon: HorizonProfile | Surroundings | None = None) -> PlaneMap:
        """Yearly irradiation over tilt and azimuth, under a horizon or an open sky."""
        return plane_map(self.open_sky if horizon is None else self.sky_light(horizon))

    def orientation_factor(self, plane: Plane) -> float:
        """A plane's unshaded irradiation against the best fixed plane's; NaN without sun."""
        here = irradiation(self.open_sky, floats([plane.tilt_deg]), floats([plane.azimuth_deg]))
        best = self.best_unshaded.irradiation_kwh_m2
        return float(min(here[0] / best, 1.0)) if best > 0 else float("nan")

    def _block(self, surroundings: Surroundings, names: tuple[Names, ...]) -> SunBlocking:
        return block_sun(surroundings, names, self.sun, self.open_disc, DISC_RADIUS_DEG)

    def assess(self, horizon: HorizonProfile | Surroundings) -> AccessResult:
        """Access, loss, window and bounds under one horizon."""
        given = Surroundings.of(horizon)
        best_case, worst_case = self._cases(given)
        spreads = self._spreads(given)
        window = solar_window(self._window, best_case.blocking, best_case.names)
        if not given.complete:
            least = solar_window(self._window, worst_case.blocking, worst_case.names)
            unknown = floats(window.monthly_clear_fraction - least.monthly_clear_fraction)
            window = replace(window, monthly_unmeasured_fraction=unknown)
        planes = tuple(
            self._plane_result(k, given, best_case, worst_case, spreads, window)
            for k in range(len(self.planes))
        )
        names = naming_notes(given, planes)
        notes = (
            *self.light.notes,
            *given.changes,
            *self._notes(given, bool(spreads)),
            *(note for note, _ in names),
        )
        return AccessResult(
            self.site,
            self.settings,
            planes,
            self.light.source,
            notes,
            tuple(hint for _, hint in names),
            self.checks,
        )

    def solar_access(self, horizon: HorizonProfile | Surroundings) -> tuple[Bounded, ...]:
        """Solar access of each plane as `assess` gives it, without the rest, in less time."""
        given = Surroundings.of(horizon)
        cases, spreads = self._cases(given), self._spreads(given)
        return tuple(
            self._losses(k, *cases, spreads).solar_access() for k in range(len(self.planes))
        )

    def _cases(self, given: Surroundings) -> tuple[_Case, _Case]:
        """Unmeasured sectors open, and blocked."""
        best_case = _Case(self, given.filled(0.0))
        return best_case, best_case if given.complete else _Case(self, given.filled(90.0))

    def _losses(
        self, k: int, best_case: _Case, worst_case: _Case, spreads: Sequence[_Spread]
    ) -> _PlaneLosses:
        plane = self.planes[k]
        loss = best_case.losses(plane)
        worst = loss if worst_case is best_case else worst_case.losses(plane)
        beam, total = [], []
        for spread in spreads:
            sums = spread.of_plane(k)
            sky = sums[:, 2] * plane.sky_kwh_m2
            beam.append(sums[:, 0])
            total.append(floats(sums[:, 1] + sky))
        return _PlaneLosses(plane, loss, worst, tuple(beam), tuple(total))

    def _spreads(self, given: Surroundings) -> tuple[_Spread, ...]:
        """Drawn losses with unmeasured sectors open and, where there are any, blocked."""
        n = self.settings.draws
        if n == 0 or not any(x.measured and has_errors(x.profile) for x in given.layers):
            return ()
        fills = (0.0,) if given.complete else (0.0, 90.0)
        return tuple(self._spread(given, n, fill) for fill in fills)

    def _spread(self, given: Surroundings, n: int, unmeasured_deg: float) -> _Spread:
        tau = given.transmittance
        needs_window = self.rules.minimum_window_clear is not None
        rng = np.random.default_rng(self.settings.seed)
        sums, window = [], []
        # In blocks, so that any number of draws takes the memory of one block.
        for start in range(0, n, _BLOCK):
            layers = draw_layers(given, min(_BLOCK, n - start), rng, unmeasured_deg)
            reach = self._reach_for(layers)
            table = self._table(reach)
            for at in range(0, len(layers[0]), _AT_ONCE):
                some = [layer.rows(slice(at, at + _AT_ONCE)) for layer in layers]
                lookup = look_up(some, tau, reach)
                sums.append(lookup.losses(table))
                if needs_window:
                    window.append(lookup.losses(self._window_table(reach))[:, 0])
        return _Spread(np.concatenate(sums), np.concatenate(window) if window else None)

    def _notes(self, given: Surroundings, drawn: bool) -> list[str]:
        notes = []
        if not drawn:
            notes.append(
                "no horizons were drawn: low and high say nothing of the horizon's errors"
                if self.settings.draws == 0
                else "the horizon comes without errors: low and high say nothing of them"
            )
        if not given.complete:
            notes.append(
                "parts of the horizon were not measured: value takes them as open, "
                "low as fully blocked, high as open"
            )
        return notes

    def _plane_result(
        self,
        k: int,
        given: Surroundings,
        best_case: _Case,
        worst_case: _Case,
        spreads: Sequence[_Spread],
        window: WindowResult,
    ) -> PlaneResult:
        plane = self.planes[k]
        lost = self._losses(k, best_case, worst_case, spreads)
        loss, solar = lost.value, lost.solar_access()
        orientation = self.orientation_factor(plane.plane)
        return PlaneResult(
            plane=plane.plane,
            solar_access=solar,
            beam_access=lost.beam_access(),
            unshaded_kwh_m2=plane.monthly_kwh_m2,
            received_kwh_m2=floats(plane.monthly_kwh_m2 - loss.total_kwh_m2(plane)),
            unshaded_beam_kwh_m2=plane.monthly_beam_kwh_m2,
            hourly_solar_access=loss.hourly_solar_access(plane),
            hourly_beam_access=loss.hourly_beam_access(plane),
            sky_view_factor=plane.view - float(loss.sky_view.mean()),
            orientation_factor=orientation,
            best_unshaded=self.best_unshaded,
            window=window,
            by_obstruction=loss.by_obstruction(plane, best_case.names),
            drawn_access=lost.drawn_access,
            energy=self._energy(plane, best_case.blocking, loss),
            verdicts=self._verdicts(solar, orientation, window, worst_case, spreads),
        )

    def _energy(self, plane: OpenPlane, blocking: SunBlocking, loss: Losses) -> Energy | None:
        size = plane.plane.size_kwp
        if size is None:
            return None
        light, month = plane.light, self.sun.month
        sunward = light.beam_wm2 + light.circumsolar_wm2
        seen = self.open_disc.copy()
        seen[blocking.row] -= blocking.hidden
        sky = 1.0 - loss.sky_view / plane.view
        unshaded = sunward * self.open_disc + light.isotropic_wm2 + light.ground_wm2
        received = sunward * seen + light.isotropic_wm2 * sky[month] + light.ground_wm2

        def kwh(irradiance: Floats) -> Floats:
            power = power_w(
                irradiance,
                size,
                self.settings,
                self.light.temperature_c,
                self.light.wind_ms,
            )
            return floats(np.bincount(month, power, minlength=MONTHS) * KWH_A_MINUTE)

        return Energy(
            size,
            kwh(received),
            kwh(unshaded),
            self.settings,
            self.light.temperature_c is not None,
        )

    def _verdicts(
        self,
        solar: Bounded,
        orientation: float,
        window: WindowResult,
        worst_case: _Case,
        spreads: Sequence[_Spread],
    ) -> tuple[Verdict, ...]:
        rules = self.rules
        year = solar.year
        found = []
        if rules.minimum_solar_access is not None:
            found.append(
                Verdict("solar access", rules.minimum_solar_access, year.value, year.low, year.high)
            )
        if rules.minimum_total_solar_resource_fraction is not None:
            resource = [orientation * float(x[YEAR]) for x in (solar.value, solar.low, solar.high)]
            found.append(
                Verdict(
                    "total solar resource fraction",
                    rules.minimum_total_solar_resource_fraction,
                    *resource,
                )
            )
        if rules.minimum_window_clear is not None:
            clear = self._worst_month_clear(window, worst_case, spreads)
            found.append(
                Verdict(
                    "clear solar window in the worst month",
                    rules.minimum_window_clear,
                    clear.value,
                    clear.low,
                    clear.high,
                )
            )
        return tuple(found)

    def _worst_month_clear(
        self,
        window: WindowResult,
        worst_case: _Case,
        spreads: Sequence[_Spread],
    ) -> Interval:
        """Clear share of the window in the month with the least."""
        sunlit = np.isfinite(window.monthly_clear_fraction)
        if not sunlit.any():
            return Interval(float("nan"), float("nan"), float("nan"))
        minutes = self._window.minutes
        worst = solar_window(self._window, worst_case.blocking, worst_case.names)
        drawn = []
        for spread in spreads:
            if spread.window is not None:
                clear = 1.0 - spread.window[:, sunlit] / minutes[sunlit]
                drawn.append(floats(clear.min(axis=1, keepdims=True)))
        found = bound(
            floats([window.monthly_clear_fraction[sunlit].min()]),
            floats([worst.monthly_clear_fraction[sunlit].min()]),
            drawn,
        )
        return Interval(float(found.value[0]), float(found.low[0]), float(found.high[0]))


@dataclass(frozen=True, eq=False)
class _Spread:
    """Losses of every draw."""

    planes: Floats  # In the order of `SiteYear._table`. Shape (n, 3 * planes, 12).
    window: Floats | None  # Shape (n, 12)

    def of_plane(self, k: int) -> Floats:
        """Beam and all sunlight [kWh/m2], view of the sky. Shape (n, 3, 12)."""
        skies = 2 * (self.planes.shape[1] // 3)
        return self.planes[:, [2 * k, 2 * k + 1, skies + k]]


class _Case:
    """Complete surroundings, with what they block of the sun."""

    def __init__(self, year: SiteYear, surroundings: Surroundings) -> None:
        self._year = year
        self.surroundings = surroundings
        self.names = layouts(surroundings)
        self.blocking = year._block(surroundings, self.names)

    def losses(self, plane: OpenPlane) -> Losses:
        return losses(
            plane,
            self.surroundings,
            self.names,
            self.blocking,
            self._year.month_hour,
        )


@dataclass(frozen=True, eq=False)
class _PlaneLosses:
    """What is lost on a plane: unmeasured sectors open, and blocked; and of every draw."""

    plane: OpenPlane
    value: Losses
    worst: Losses
    drawn_beam: tuple[Floats, ...]
    drawn_total: tuple[Floats, ...]

    def solar_access(self) -> Bounded:
        value, worst = (case.total_kwh_m2(self.plane) for case in (self.value, self.worst))
        offered = self.plane.monthly_kwh_m2
        return bound(
            access(value, offered),
            access(worst, offered),
            [access(drawn, offered) for drawn in self.drawn_total],
        )

    @property
    def drawn_access(self) -> tuple[Floats, ...]:
        """Of the year, a number a draw."""
        offered = self.plane.monthly_kwh_m2
        return tuple(access(drawn, offered)[:, YEAR] for drawn in self.drawn_total)

    def beam_access(self) -> Bounded:
        value, worst = (case.beam.sum(axis=1) for case in (self.value, self.worst))
        offered = self.plane.monthly_beam_kwh_m2
        return bound(
            access(value, offered),
            access(worst, offered),
            [access(drawn, offered) for drawn in self.drawn_beam],
        )


def bound(value: Floats, worst: Floats, spread: Sequence[Floats]) -> Bounded:
    """The interval of the draws, wide enough to hold the value and the worst case."""
    low, high = np.minimum(value, worst), value
    if spread:
        low = np.fmin(low, np.percentile(spread[-1], BOUND_PERCENTILES[0], axis=0))
        high = np.fmax(high, np.percentile(spread[0], BOUND_PERCENTILES[1], axis=0))
    return Bounded(value, np.clip(low, 0.0, 1.0), np.clip(high, 0.0, 1.0))


def naming_notes(given: Surroundings, planes: Sequence[PlaneResult]) -> list[tuple[str, str]]:
    """What a reader would not guess of the names, and what mends it: bare trees, and no names."""
    taken: dict[str, float] = {}
    for plane in planes:
        of_plane: dict[str, float] = {}
        for o in plane.by_obstruction:
            of_plane[o.name] = of_plane.get(o.name, 0.0) + float(np.nan_to_num(o.loss_fraction[12]))
        taken = {n: max(taken.get(n, 0.0), of_plane.get(n, 0.0)) for n in {*taken, *of_plane}}
    opaque = (layer for layer in given.layers if not any(layer.transmittance))
    trees = dict.fromkeys(
        o.name for layer in opaque for o in layer.obstructions if o.kind == "deciduous"
    )
    trees_worth_it = [name for name in trees if taken.get(name, 0.0) >= _WORTH_TELLING]
    notes = []
    if trees_worth_it:
        options = " ".join(f'--leafy "{name}"' for name in trees_worth_it)
        notes.append(
            (
                f"deciduous, and taken as opaque all year: {', '.join(trees_worth_it)}",
                f"with light through bare crowns: horizon-logger assess HORIZON.csv {options}",
            )
        )
    if taken.get(UNNAMED, 0.0) >= _WORTH_TELLING:
        notes.append(
            (
                f"{UNNAMED} takes {100 * taken[UNNAMED]:.1f} % of the year's light",
                "name it at the mark key while sweeping, with horizon-logger edit name-sector, or "
                "in the obstruction column of a horizon file",
            )
        )
    return notes


def assess(
    horizon: HorizonProfile | Surroundings,
    site: Site,
    planes: Sequence[Plane],
    settings: Settings | None = None,
    weather: Weather | None = None,
) -> AccessResult:
    """Solar access of planes at one point."""
    return SiteYear(site, planes, settings, weather).assess(horizon)
