"""The room's one function: passes in, a horizon with its gates out."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from logger.angles import wrap360
from logger.columns import Ints, floats
from logger.horizon.coverage import Coverage, Sector, sun_crosses
from logger.horizon.estimator import (
    CellMeans,
    Fit,
    Smoothing,
    cell_means,
    disagreement,
    fit_skyline,
    joined,
)
from logger.horizon.passes import Leg, Pass, cells_crossed, legs_of, row_weight_s
from logger.horizon.settings import HorizonSettings
from logger.profile import HorizonProfile
from logger.quality import Gate
from logger.sightlines import SightLines


@dataclass(frozen=True, eq=False)
class HorizonResult:
    """A point's horizon and how good it is.

    Parameters
    ----------
    profile : HorizonProfile
        On the grid ``0, step, 2 step, ...`` with vertical edges as further pairs of rows.
    gates : tuple of Gate
    coverage : Coverage
    sight : tuple of SightLines
        As handed in, a recording each, with the rows that the estimator left out marked.
    legs : tuple of Leg
        The passes found in the recordings.
    settings : HorizonSettings
    """

    profile: HorizonProfile
    gates: tuple[Gate, ...]
    coverage: Coverage
    sight: tuple[SightLines, ...]
    legs: tuple[Leg, ...]
    settings: HorizonSettings


def horizon_from(passes: Sequence[Pass], settings: HorizonSettings | None = None) -> HorizonResult:
    """Fuse all recordings of a point into one horizon.

    Parameters
    ----------
    passes : sequence of Pass
        The point's recordings, in order.
    settings : HorizonSettings, optional
    """
    settings = settings or HorizonSettings()
    legs = tuple(leg for leg in legs_of(passes, settings) if len(leg) > 1)
    step = settings.step_deg
    n = round(360.0 / step)
    middle = floats((np.arange(n) + 0.5) * step)
    seen = np.zeros(n, dtype=np.int64)
    parts: list[CellMeans] = []
    for index, leg in enumerate(legs):
        crossed = cells_crossed(leg, settings)
        if not crossed.any():
            continue
        seen += crossed
        parts.append(
            cell_means(
                index,
                np.asarray(wrap360(leg.path_deg)),
                leg.elevation_deg,
                row_weight_s(leg.t_s, settings.gap_s),
                settings.sight_noise_deg,
                settings.noise_time_s,
                settings.pass_error_deg,
                step,
            )
        )
    crossed_by_sun = sun_crosses(middle, settings.latitude_deg)
    if not parts:
        nothing = np.full(n, np.nan)
        coverage = Coverage(middle, seen, np.zeros(n, dtype=bool), crossed_by_sun)
        profile = HorizonProfile(floats(np.arange(n) * step), nothing, nothing)
    else:
        means = joined(parts)
        fit = fit_skyline(means, step, Smoothing())
        differ = disagreement(means, fit, step, settings.disagreement_limit_deg)
        coverage = Coverage(middle, seen, differ & (seen > 1), crossed_by_sun)
        profile = _profile(fit, seen, passes, settings)
    return HorizonResult(
        profile,
        coverage_gates(coverage, settings),
        coverage,
        tuple(p.sight for p in passes),
        legs,
        settings,
    )


def _profile(
    fit: Fit, seen: Ints, passes: Sequence[Pass], settings: HorizonSettings
) -> HorizonProfile:
    # A node was measured when a cell on either side was; reading between two nodes then needs
    # both, so nothing is claimed beyond the last node that a pass touched.
    measured = (seen > 0) & (np.roll(seen, 1) > 0)
    used = [p.sight for p in passes if p.sight.used.any()]
    heading = max((s.heading_error_deg for s in used), default=0.0)
    level = max((s.level_error_deg for s in used), default=0.0)
    steps = tuple(dict.fromkeys(step for s in used for step in s.steps))
    return HorizonProfile(
        fit.node_deg,
        np.where(measured, np.clip(fit.elevation_deg, -90.0, 90.0), np.nan),
        np.where(measured, fit.standard_error_deg, np.nan),
        measured,
        heading_error_deg=heading,
        level_error_deg=float(np.hypot(level, settings.tracing_bias_deg)),
        correlation_deg=fit.correlation_deg,
        steps=(*steps, f"skyline fitted on a {settings.step_deg:g}° grid"),
    )


def coverage_gates(coverage: Coverage, settings: HorizonSettings) -> tuple[Gate, ...]:
    """Whether enough of what the sun crosses was seen, twice, and alike."""
    return (
        _sector_gate(
            "sun-crossed sectors measured",
            coverage.unmeasured,
            settings.unmeasured_limit_deg,
            "of the azimuths the sun crosses were not measured",
            "go back to",
        ),
        _sector_gate(
            "sun-crossed sectors seen twice",
            coverage.thin,
            settings.thin_limit_deg,
            "of the azimuths the sun crosses were seen in one pass only",
            "sweep again over",
        ),
        _sector_gate(
            "passes agree",
            coverage.disputed,
            settings.disagreeing_limit_deg,
            "of the azimuths the sun crosses lie where passes differ by more than "
            f"{settings.disagreement_limit_deg:g}°",
            "trace again",
        ),
    )


def _sector_gate(
    name: str, found: tuple[Sector, ...], limit_deg: float, what: str, advice: str
) -> Gate:
    value = float(sum(s.width_deg for s in found))
    passed = value <= limit_deg
    why = f"{value:.1f}° {what}"
    if not passed:
        widest = sorted(found, key=lambda s: -s.width_deg)[:4]
        why += f": {advice} " + ", ".join(str(s) for s in widest)
    return Gate(name, passed, value, limit_deg, "deg", why)
