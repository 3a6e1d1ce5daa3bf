"""The room's one function: passes in, a horizon with its checks out."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from logger.arrays import Bools, Floats, Ints, floats
from logger.checks import Check
from logger.geometry import interpolate_azimuthal
from logger.horizon import HorizonProfile, Obstruction
from logger.horizon_fit.corners import Vertex
from logger.horizon_fit.coverage import Coverage, Sector, sun_crosses
from logger.horizon_fit.drift import TimeBase, added, closed, drift_check, shifts_of, time_base
from logger.horizon_fit.edges import Edge, climbs_of, edges_of
from logger.horizon_fit.fit import (
    CellMeans,
    Fit,
    cell_means,
    fit_skyline,
    joined,
    misfit,
    nodes_for,
)
from logger.horizon_fit.heights import HEIGHT_CHECK, Heights, carried
from logger.horizon_fit.labels import obstructions_from
from logger.horizon_fit.passes import Leg, Pass, Trace, cells_crossed, legs_of, traced
from logger.horizon_fit.settings import HorizonSettings
from logger.orientation.sight_lines import SightLines

HELD_COUNTS = 2
"""As how many passes a line through held corners counts."""


@dataclass(frozen=True, eq=False)
class HorizonResult:
    """A point's horizon and how good it is."""

    # On the grid ``0, step, 2 step, ...`` with vertical edges as further pairs of rows
    profile: HorizonProfile
    checks: tuple[Check, ...]
    coverage: Coverage
    # As handed in, a recording each, with the rows that the estimator left out marked
    sight: tuple[SightLines, ...]
    vertices: tuple[tuple[Vertex, ...], ...]  # Corners held still and marked, a recording each
    legs: tuple[Leg, ...]  # The passes found in the recordings
    edges: tuple[Edge, ...]  # The vertical edges found
    time_base: TimeBase  # Lag, drift and turns found between passes
    settings: HorizonSettings


def horizon_from(
    passes: Sequence[Pass],
    settings: HorizonSettings | None = None,
    obstructions: Sequence[Obstruction] = (),
    distances_m: Mapping[str, float] | None = None,
    module_height_m: float | None = None,
) -> HorizonResult:
    """Fuse all recordings of a point into one horizon."""
    settings = settings or HorizonSettings()
    traces = [traced(one, settings) for one in passes]
    found = _fused(traces, settings)
    profile, legs, edges, base = found.profile, found.legs, found.edges, found.time_base
    named = obstructions_from(passes, legs, edges, obstructions, settings)
    profile = profile.with_obstructions(
        [
            replace(o, distance_m=(distances_m or {}).get(o.name)) if o.distance_m is None else o
            for o in named
        ]
    )
    checks = coverage_checks(found.coverage, settings)
    steady = drift_check(base, legs, settings)
    checks += (steady,) if steady is not None else ()
    profile, height = _at_module(profile, passes, module_height_m, settings)
    checks += (height,) if height is not None else ()
    return HorizonResult(
        profile,
        checks,
        found.coverage,
        tuple(t.sight for t in traces),
        tuple(t.vertices for t in traces),
        legs,
        edges,
        base,
        settings,
    )


@dataclass(frozen=True, eq=False)
class _Fused:
    """What all traces together say, before names and heights."""

    profile: HorizonProfile
    coverage: Coverage
    legs: tuple[Leg, ...]
    edges: tuple[Edge, ...]
    time_base: TimeBase


def _fused(traces: Sequence[Trace], settings: HorizonSettings) -> _Fused:
    """Cut into legs, close them on each other, fit one skyline, and see what it covers."""
    legs, seen = _legs_and_cells(traces, settings)
    n = seen.size
    middle = floats((np.arange(n) + 0.5) * settings.step_deg)
    crossed = sun_crosses(middle, settings.latitude_deg)
    if not legs:
        nothing = np.full(n, np.nan)
        profile = HorizonProfile(floats(np.arange(n) * settings.step_deg), nothing, nothing)
        coverage = Coverage(middle, seen, np.zeros(n, dtype=bool), crossed)
        return _Fused(profile, coverage, (), (), TimeBase(None, (), ()))
    edges, means, fit = fitted(legs, settings)
    base = TimeBase(None, (), ())
    for turn in range(settings.closing_rounds):
        found = time_base(shifts_of(legs, edges, means, fit, settings), legs, settings)
        legs, found = closed(legs, found, settings)
        base = added(base, found) if turn else found
        if not found.steps:
            break
        edges, means, fit = fitted(legs, settings)
    # Rows that only climbed say nothing of the skyline beside the edge.
    seen = np.where(near_any(middle, means.azimuth_deg, settings.gap_deg), seen, 0)
    apart, off = misfit(means, fit, middle, settings)
    apart = floats(np.where(seen > 1, apart, 0.0))
    coverage = Coverage(middle, seen, apart > settings.disagreement_limit_deg, crossed)
    doubt = doubt_deg(apart, off, settings)
    profile = _profile(fit, seen, doubt, traces, base.steps, settings)
    return _Fused(profile, coverage, legs, edges, base)


def _legs_and_cells(
    traces: Sequence[Trace], settings: HorizonSettings
) -> tuple[tuple[Leg, ...], Ints]:
    """The legs that crossed anything, and how many passes saw each cell of the grid."""
    seen = np.zeros(round(360.0 / settings.step_deg), dtype=np.int64)
    kept: list[Leg] = []
    for leg in legs_of(traces, settings):
        cells = cells_crossed(leg, settings)
        if cells.any():
            kept.append(leg)
            seen += cells * (HELD_COUNTS if leg.held else 1)
    return tuple(kept), seen


def _at_module(
    profile: HorizonProfile,
    passes: Sequence[Pass],
    module_height_m: float | None,
    settings: HorizonSettings,
) -> tuple[HorizonProfile, Check | None]:
    """The profile carried to the module, where heights are known."""
    sights = [p.sight_height_m for p in passes if p.sight_height_m is not None]
    if module_height_m is None or not sights:
        return profile, None
    spread = max(sights) - min(sights)
    if spread > settings.height_spread_m:
        why = (
            f"recordings were taken from heights {min(sights):g} to {max(sights):g} m: "
            "make a point of each height"
        )
        return profile, Check(
            HEIGHT_CHECK, False, round(spread, 3), settings.height_spread_m, "m", why
        )
    heights = Heights(sum(sights) / len(sights), module_height_m)
    if abs(heights.rise_m) < 0.005:
        return profile, None
    return carried(profile, heights, settings)


def fitted(
    legs: Sequence[Leg], settings: HorizonSettings
) -> tuple[tuple[Edge, ...], CellMeans, Fit]:
    """The edges that legs agree on, their mean directions between nodes, and the skyline."""
    climbs = [c for i, leg in enumerate(legs) for c in climbs_of(i, leg, settings)]
    edges = edges_of(climbs, legs, settings)
    nodes = nodes_for(edges, settings.step_deg)
    means = joined([cell_means(i, leg, edges, nodes, settings) for i, leg in enumerate(legs)])
    return edges, means, fit_skyline(means, nodes, settings)


def _profile(
    fit: Fit,
    seen: Ints,
    doubt: Floats,
    traces: Sequence[Trace],
    done: tuple[str, ...],
    settings: HorizonSettings,
) -> HorizonProfile:
    node, elevation, error = on_grid(fit, settings.step_deg)
    # A node was measured when the cells on both sides were; reading between two nodes needs
    # both, so nothing is claimed beyond the last node that a pass touched.
    whole = (seen > 0) & (np.roll(seen, 1) > 0)
    cell = np.floor(node / settings.step_deg + 1e-9).astype(np.int64) % seen.size
    at_node = np.abs(node - cell * settings.step_deg) < 1e-9
    measured = np.where(at_node, whole[cell], seen[cell] > 0)
    error = np.hypot(error, np.maximum(doubt[cell], np.where(at_node, np.roll(doubt, 1)[cell], 0)))
    used = [t.sight for t in traces if t.sight.used.any()]
    heading = max((s.heading_error_deg for s in used), default=0.0)
    level = max((s.level_error_deg for s in used), default=0.0)
    steps = tuple(dict.fromkeys(step for s in used for step in s.steps))
    return HorizonProfile(
        node,
        np.where(measured, np.clip(elevation, -90.0, 90.0), np.nan),
        np.where(measured, error, np.nan),
        measured,
        heading_error_deg=heading,
        level_error_deg=float(np.hypot(level, settings.tracing_bias_deg)),
        correlation_deg=fit.correlation_deg,
        steps=(*steps, *done, f"skyline fitted on a {settings.step_deg:g}° grid"),
    )


def near_any(azimuth_deg: Floats, places_deg: Floats, reach_deg: float) -> Bools:
    """Whether azimuths lie within reach of any of some places, round the circle. Shape (K,)."""
    if places_deg.size == 0:
        return np.zeros(azimuth_deg.size, dtype=bool)
    around = np.sort(np.concatenate([places_deg - 360.0, places_deg, places_deg + 360.0]))
    after = np.searchsorted(around, azimuth_deg)
    apart = np.minimum(around[after] - azimuth_deg, azimuth_deg - around[after - 1])
    return np.asarray(apart <= reach_deg, dtype=bool)


def doubt_deg(apart_deg: Floats, off_deg: Floats, settings: HorizonSettings) -> Floats:
    """What passes that differ, or a fit that misses them, add to the standard error. [deg]."""
    usual = settings.usual_difference_deg
    differing = np.maximum(apart_deg - usual, 0.0) / 2.0
    missed = np.maximum(off_deg - usual / 2.0, 0.0)
    return floats(np.hypot(differing, missed))


def on_grid(fit: Fit, step_deg: float) -> tuple[Floats, Floats, Floats]:
    """A fit on the whole grid, its vertical edges as further pairs of rows."""
    grid = np.arange(round(360.0 / step_deg)) * step_deg
    missing = grid[~np.isin(np.round(grid, 9), np.round(fit.node_deg, 9))]
    node = np.concatenate([fit.node_deg, missing])
    elevation = np.concatenate(
        [fit.elevation_deg, interpolate_azimuthal(missing, fit.node_deg, fit.elevation_deg)]
    )
    error = np.concatenate(
        [
            fit.standard_error_deg,
            interpolate_azimuthal(missing, fit.node_deg, fit.standard_error_deg),
        ]
    )
    order = np.argsort(node, kind="stable")
    return floats(node[order]), floats(elevation[order]), floats(error[order])


def coverage_checks(coverage: Coverage, settings: HorizonSettings) -> tuple[Check, ...]:
    """Whether enough of what the sun crosses was seen, twice, and alike."""
    return (
        _sector_check(
            "sun-crossed sectors measured",
            coverage.unmeasured,
            settings.unmeasured_limit_deg,
            "of the azimuths the sun crosses were not measured",
            "go back to",
        ),
        _sector_check(
            "sun-crossed sectors seen twice",
            coverage.thin,
            settings.thin_limit_deg,
            "of the azimuths the sun crosses were seen in one pass only",
            "sweep again over",
        ),
        _sector_check(
            "passes agree",
            coverage.disputed,
            settings.disagreeing_limit_deg,
            "of the azimuths the sun crosses lie where passes differ by more than "
            f"{settings.disagreement_limit_deg:g}°",
            "trace again",
        ),
    )


def _sector_check(
    name: str, found: tuple[Sector, ...], limit_deg: float, what: str, advice: str
) -> Check:
    value = float(sum(s.width_deg for s in found))
    passed = value <= limit_deg
    why = f"{value:.1f}° {what}"
    if not passed:
        widest = sorted(found, key=lambda s: -s.width_deg)[:4]
        why += f": {advice} " + ", ".join(str(s) for s in widest)
    return Check(name, passed, value, limit_deg, "deg", why)
