"""One horizon under a site's year: what is lost, how sure that is, and whether it is enough."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from functools import cached_property
from typing import TYPE_CHECKING

import numpy as np

from logger.access.blocking import SunBlocking, block_sun
from logger.access.electricity import power_w
from logger.access.heights import carried
from logger.access.intervals import (
    Drawn,
    Shares,
    Taken,
    Uncertainty,
    interval_of,
    parts_of,
    taken_by,
)
from logger.access.irradiance import KWH_A_MINUTE, MONTHS
from logger.access.leaf import middle_leaf
from logger.access.losses import Losses, OpenPlane, access, losses, share_of
from logger.access.result import (
    YEAR,
    Bounded,
    Energy,
    Interval,
    ObstructionLoss,
    PlaneResult,
)
from logger.access.rules import Verdict
from logger.access.surroundings import Layer, layers_of
from logger.access.window import WindowResult, solar_window
from logger.arrays import Floats, floats
from logger.geometry import interpolate_azimuthal
from logger.horizon import HorizonProfile

if TYPE_CHECKING:
    from logger.access.calculator import SiteYear

GAP_POINTS = 0.02
"""Between worst and best case of annual solar access: more, and no value is told."""

NOT_MEASURED = "not measured"


class Case:
    """A complete skyline, with what it blocks."""

    def __init__(self, year: SiteYear, profile: HorizonProfile) -> None:
        self._year = year
        leaf = middle_leaf(year.site, profile.leaf_seen).monthly()[0]
        self.layers: tuple[Layer, ...] = layers_of(profile, leaf)
        self.blocking: SunBlocking = block_sun(self.layers, year.sun, year.open_disc)

    def losses(self, plane: OpenPlane) -> Losses:
        """What is lost on a plane."""
        return losses(plane, self.layers, self.blocking, self._year.month_hour)

    @cached_property
    def window(self) -> WindowResult:
        """How clear the solar window is."""
        return solar_window(self._year.window, self.blocking, self.layers)


def measured_alone(profile: HorizonProfile) -> HorizonProfile:
    """A skyline straight across what was not measured, and at its least; level if nothing was."""
    known = profile.known
    if not known.any():
        return profile.filled(0.0)
    if known.all():
        return profile
    if profile.least_deg is not None:
        at, seen = profile.azimuth_deg, profile.elevation_deg[known]
        line = interpolate_azimuthal(at, at[known], seen)
        elevation = np.where(known, profile.elevation_deg, np.maximum(line, profile.least_at(at)))
        return replace(profile, elevation_deg=elevation, measured=np.ones(len(at), dtype=bool))
    return replace(
        profile,
        azimuth_deg=profile.azimuth_deg[known],
        elevation_deg=profile.elevation_deg[known],
        standard_error_deg=profile.standard_error_deg[known],
        measured=known[known],
        distance_m=profile.distance_m[known],
    )


class Point:
    """A horizon under a site's year."""

    def __init__(self, year: SiteYear, horizon: HorizonProfile) -> None:
        self.year, self.horizon = year, horizon
        seen_from_module = carried(horizon)
        self.across = Case(year, measured_alone(seen_from_module))
        self.is_complete = bool(horizon.known.all())
        # What was not measured open, and blocked.
        self.best = self.worst = self.across
        if not self.is_complete:
            self.best, self.worst = (Case(year, seen_from_module.filled(f)) for f in (0.0, 90.0))
        self.uncertainty = Uncertainty(measured_alone(horizon), year.site, year.settings)

    @cached_property
    def _taken(self) -> list[tuple[Taken, Taken | None]]:
        skylines = self.uncertainty
        return taken_by(skylines.solid_deg, skylines.crowns_deg, self.year.tables, self.year.grid)

    def result(self, k: int) -> PlaneResult:
        """All of one plane."""
        year, plane = self.year, self.year.planes[k]
        cases = (self.across,) if self.is_complete else (self.across, self.best, self.worst)
        lost = [case.losses(plane) for case in cases]
        solar = [access(one.total_kwh_m2(plane), plane.monthly_kwh_m2) for one in lost]
        beam = [access(one.beam.sum(axis=1), plane.monthly_beam_kwh_m2) for one in lost]
        gap = 0.0 if self.is_complete else float(solar[1][YEAR] - solar[2][YEAR])
        is_known = not gap > GAP_POINTS
        shown, loss = (self.across, lost[0]) if is_known else (self.best, lost[1])
        exact = Shares(solar[0][None], beam[0][None])
        drawn = Drawn(exact, exact, exact, {})
        if year.settings.draws:
            drawn = self.uncertainty.of_plane(plane, self._taken[k], year.skies, exact)
        solar_access = _bounded(solar, drawn, "solar", is_known)
        factor, factors = year.orientation_factor(plane.plane)
        resource = _resource(solar, drawn, factor, factors, is_known)
        has_energy = is_known and year.skies.sky.is_known
        blank = floats(np.where(has_energy, 1.0, np.nan))
        unshaded = plane.monthly_kwh_m2
        window = self._window(shown)
        # The stretches add up to what is lost under the median sky as well.
        lost_here = 1.0 - (solar[0] if is_known else solar[1])
        fit = share_of(np.clip(lost_here + solar[0] - drawn.median.solar[0], 0.0, 1.0), lost_here)
        fit = np.nan_to_num(fit, nan=1.0)
        best = year.best_unshaded
        return PlaneResult(
            plane=plane.plane,
            solar_access=solar_access,
            beam_access=_bounded(beam, drawn, "beam", is_known),
            orientation_factor=_interval(factor, factors),
            total_solar_resource_fraction=resource,
            unshaded_kwh_m2=unshaded * blank,
            received_kwh_m2=(unshaded - loss.total_kwh_m2(plane)) * blank,
            hourly_solar_access=loss.hourly_solar_access(plane),
            hourly_beam_access=loss.hourly_beam_access(plane),
            sky_view_factor=plane.view - float(loss.sky_view.mean()),
            best_unshaded=best if has_energy else replace(best, annual_kwh_per_m2=np.nan),
            window=window,
            by_obstruction=tuple(
                ObstructionLoss(**vars(s), loss_fraction=share * fit)
                for s, share in loss.by_stretch
            ),
            parts=parts_of({**drawn.widths, NOT_MEASURED: gap}),
            energy=self._energy(plane, shown.blocking, loss) if has_energy else None,
            verdicts=self._verdicts(solar_access, resource, window),
            drawn_resource=factors * drawn.whole.solar[:, YEAR]
            if year.settings.draws
            else np.empty(0),
        )

    def _window(self, shown: Case) -> WindowResult:
        if self.is_complete:
            return shown.window
        best, worst = self.best.window, self.worst.window
        return replace(
            best,
            monthly_unmeasured_fraction=best.monthly_clear_fraction - worst.monthly_clear_fraction,
            annual_unmeasured_fraction=best.annual_clear_fraction - worst.annual_clear_fraction,
        )

    def _energy(self, plane: OpenPlane, blocking: SunBlocking, loss: Losses) -> Energy | None:
        size = plane.plane.size_kwp
        if size is None:
            return None
        year, light, month = self.year, plane.light, self.year.sun.month
        sunward = light.beam_wm2 + light.circumsolar_wm2
        seen = year.open_disc.copy()
        seen[blocking.row] -= blocking.hidden
        sky = 1.0 - loss.sky_view / plane.view
        (air,) = year.skies.lights

        def kwh(irradiance: Floats) -> Floats:
            power = power_w(irradiance, size, year.settings, air.temperature_c, air.wind_ms)
            return floats(np.bincount(month, power, minlength=MONTHS) * KWH_A_MINUTE)

        return Energy(
            size,
            kwh(sunward * seen + light.isotropic_wm2 * sky[month] + light.ground_wm2),
            kwh(sunward * year.open_disc + light.isotropic_wm2 + light.ground_wm2),
            year.settings,
            air.temperature_c is not None,
        )

    def _verdicts(
        self, solar: Bounded, resource: Interval, window: WindowResult
    ) -> tuple[Verdict, ...]:
        rules, found = self.year.rules, []
        if rules.minimum_solar_access is not None:
            found.append(Verdict("solar access", rules.minimum_solar_access, *solar.year.ends))
        if (least := rules.minimum_total_solar_resource_fraction) is not None:
            found.append(Verdict("total solar resource fraction", least, *resource.ends))
        if (least := rules.minimum_window_clear) is not None:
            worst = self._worst_month_clear(window)
            found.append(Verdict("clear solar window in the worst month", least, *worst.ends))
        return tuple(found)

    def _worst_month_clear(self, window: WindowResult) -> Interval:
        """Clear share of the window in the month with the least."""
        sunlit = np.isfinite(window.monthly_clear_fraction)
        if not sunlit.any():
            return Interval(float("nan"), float("nan"), float("nan"))
        lost = self.uncertainty.window_lost(self.year.grid, self.year.window_table)
        drawn = (1.0 - lost[:, sunlit] / self.year.window.minutes[sunlit]).min(axis=1)
        cases = (self.across,) if self.is_complete else (self.across, self.best, self.worst)
        clear = [float(c.window.monthly_clear_fraction[sunlit].min()) for c in cases]
        shifts = [c - clear[0] for c in clear]
        low, high = interval_of(drawn[1:] - drawn[0] + clear[0], floats(clear[0]), shifts)
        is_known = max(clear) - min(clear) <= GAP_POINTS
        return Interval(clear[0] if is_known else float("nan"), float(low), float(high))


def _bounded(cases: Sequence[Floats], drawn: Drawn, which: str, is_known: bool) -> Bounded:
    """The value at the median sky, and intervals that hold best and worst case as well."""
    whole, survey, median = (getattr(s, which) for s in (drawn.whole, drawn.survey, drawn.median))
    value = np.clip(median[0], 0.0, 1.0)
    shifts = [case - cases[0] for case in cases]
    low, high = interval_of(whole, value, shifts)
    survey_low, survey_high = interval_of(survey + (value - cases[0]), value, shifts)
    # The survey is part of the whole, though other causes may happen to narrow a draw's spread.
    return Bounded(
        value if is_known else np.full(len(value), np.nan),
        np.fmin(low, survey_low),
        np.fmax(high, survey_high),
        survey_low,
        survey_high,
    )


def _interval(value: float, drawn: Floats, shifts: Sequence[float] = (0.0,)) -> Interval:
    low, high = interval_of(drawn, floats(value), shifts)
    return Interval(value, float(low), float(high))


def _resource(
    cases: Sequence[Floats], drawn: Drawn, factor: float, factors: Floats, is_known: bool
) -> Interval:
    """Orientation factor times annual solar access, both under the same drawn sky."""
    shifts = [factor * float(case[YEAR] - cases[0][YEAR]) for case in cases]
    value = factor * float(drawn.median.solar[0, YEAR])
    found = _interval(value, factors * drawn.whole.solar[:, YEAR], shifts)
    return found if is_known else replace(found, value=float("nan"))
