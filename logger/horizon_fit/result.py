"""The room's one function: sweeps of a point in, a horizon with its checks out."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from logger.arrays import Floats, Ints, floats
from logger.checks import Check
from logger.horizon import HorizonProfile, Obstruction
from logger.horizon_fit.agreement import agreement_of, over_stretch
from logger.horizon_fit.cells import CellMeans, cell_means, nodes_for
from logger.horizon_fit.corners import corner_by_corner, held_only, held_passes, vertices_of
from logger.horizon_fit.coverage import DISAGREEMENT_DEG, Coverage
from logger.horizon_fit.drift import Misclosure, added, closed, drift_check, misclosures
from logger.horizon_fit.edges import Edge, edges_of
from logger.horizon_fit.fit import Fit, caution_of, fit_skyline, slope_at
from logger.horizon_fit.labels import obstructions_from
from logger.horizon_fit.off_skyline import on_skyline
from logger.horizon_fit.passes import (
    CELLS,
    GAP_DEG,
    STEP_DEG,
    Pass,
    SightedSweep,
    cell_of,
    cells_crossed,
    swept_passes,
)
from logger.orientation.sight_lines import SightLines
from logger.settings import Settings
from logger.sun_range import sun_crosses

# As how many passes a line through held corners counts (common practice, no source)
HELD_COUNTS = 2
CLOSING_ROUNDS = 4  # Of finding what shifts passes against each other and taking it out, at most


@dataclass(frozen=True, eq=False)
class HorizonResult:
    """A point's horizon and how good it is."""

    profile: HorizonProfile  # On the grid, with vertical edges as further pairs of rows
    checks: tuple[Check, ...]
    coverage: Coverage
    sweeps: tuple[SightedSweep, ...]  # As handed in, with the rows left out marked
    passes: tuple[Pass, ...]
    edges: tuple[Edge, ...]  # Vertical edges
    misclosures: tuple[Misclosure, ...]  # What passes show against each other

    @property
    def sight(self) -> tuple[SightLines, ...]:
        """The sight lines of each sweep."""
        return tuple(one.sight for one in self.sweeps)


def horizon_from(
    sweeps: Sequence[SightedSweep],
    latitude_deg: float,
    settings: Settings | None = None,
    obstructions: Sequence[Obstruction] = (),
    distances_m: Mapping[str, float] | None = None,
) -> HorizonResult:
    """Fuse all sweeps of a point into one horizon.

    The latitude tells which azimuths the sun crosses. Obstructions named beforehand go before the
    operator's names; distances are of obstructions by name, where they have none.
    """
    settings = settings or Settings()
    swept, passes = _traced(sweeps, settings.tremor_deg)
    kept, seen = _crossing(passes)
    kept, edges, means, fit, found = _closed_skyline(kept, settings.tremor_deg)
    apart, doubt, scale = agreement_of(means, fit)
    coverage = _covered(means, seen, apart, latitude_deg)
    profile = _profile(fit, doubt, scale, coverage.passes, swept, settings)
    closing = (str(m) for m in found if m.removed)
    named, given = obstructions_from(sweeps, kept, edges, obstructions), distances_m or {}
    profile = replace(
        profile,
        obstructions=tuple(replace(o, distance_m=o.distance_m or given.get(o.name)) for o in named),
        steps=(*profile.steps, *closing, f"skyline fitted on a {STEP_DEG:g}° grid"),
    )
    drift = drift_check(found, kept)
    checks = coverage.checks if drift is None else (*coverage.checks, drift)
    return HorizonResult(profile, checks, coverage, swept, kept, edges, found)


def _traced(
    sweeps: Sequence[SightedSweep], tremor_deg: float
) -> tuple[tuple[SightedSweep, ...], list[Pass]]:
    """The sweeps without what is off the skyline, and their passes."""
    swept, passes = [], []
    for index, one in enumerate(sweeps):
        sight = on_skyline(one.sight)
        corners = vertices_of(sight, one.keys, one.notes)
        if corner_by_corner(corners):
            sight = held_only(sight, corners)
            passes += held_passes(index, corners)
        else:
            passes += swept_passes(index, sight, tremor_deg)
        swept.append(replace(one, sight=sight))
    return tuple(swept), passes


def _crossing(passes: Sequence[Pass]) -> tuple[tuple[Pass, ...], Ints]:
    """The passes that crossed anything, and how many saw each cell of the grid."""
    seen = np.zeros(CELLS, dtype=np.int64)
    kept: list[Pass] = []
    for one in passes:
        cells = cells_crossed(one)
        if cells.any():
            kept.append(one)
            seen += cells * (HELD_COUNTS if one.held else 1)
    return tuple(kept), seen


def _closed_skyline(
    passes: tuple[Pass, ...], tremor_deg: float
) -> tuple[tuple[Pass, ...], tuple[Edge, ...], CellMeans, Fit, tuple[Misclosure, ...]]:
    """Fit one skyline, take out of the passes what it shows of them, and fit again."""
    found: tuple[Misclosure, ...] = ()
    for turn in range(CLOSING_ROUNDS + 1):
        edges = edges_of(passes, tremor_deg)
        nodes = nodes_for(edges)
        means = cell_means(passes, edges, nodes, tremor_deg)
        fit = fit_skyline(means, nodes)
        if turn == CLOSING_ROUNDS:
            break
        more = misclosures(passes, edges, means, fit)
        found = added(found, more)
        if not any(m.removed for m in more):
            break
        passes = closed(passes, more)
    return passes, edges, means, fit_skyline(means, nodes, caution_of(means, nodes)), found


def _covered(means: CellMeans, seen: Ints, apart_deg: Floats, latitude_deg: float) -> Coverage:
    """What was seen of each cell; rows that only climbed say nothing of what is beside the edge."""
    told = np.zeros(CELLS)
    told[cell_of(means.azimuth_deg)] = 1.0
    near = over_stretch(told, 2 * round(GAP_DEG / STEP_DEG)) > 0.5
    seen = np.where(near, seen, 0)
    middle = floats((np.arange(CELLS) + 0.5) * STEP_DEG)
    disagreeing = (seen > 1) & (apart_deg > DISAGREEMENT_DEG)
    return Coverage(middle, seen, disagreeing, sun_crosses(middle, latitude_deg))


def _profile(
    fit: Fit,
    doubt_deg: Floats,
    scale: float,
    seen: Ints,
    sweeps: Sequence[SightedSweep],
    settings: Settings,
) -> HorizonProfile:
    """The skyline with its standard error, where it was measured."""
    node, cell = fit.node_deg, cell_of(fit.node_deg)
    at_grid = np.abs(node - cell * STEP_DEG) < 1e-9
    before = np.where(at_grid, cell - 1, cell)
    # A node was measured when the cells on both sides were; reading between two nodes needs
    # both, so nothing is claimed beyond the last node that a pass touched.
    measured = (seen[cell] > 0) & (seen[before] > 0)
    # An error of the azimuth, less where more passes went, counts at slopes and edges.
    flat = np.maximum(np.cos(np.radians(fit.elevation_deg)), 0.05)
    reach = settings.tremor_deg / np.sqrt(np.maximum(seen[cell], 1)) / flat
    across = reach * slope_at(node, node, fit.elevation_deg, reach)
    doubt = np.maximum(doubt_deg[cell], doubt_deg[before])
    error = np.hypot(np.hypot(scale * fit.standard_error_deg, across), doubt)
    used = [one.sight for one in sweeps if one.sight.used.any()]
    level = max((s.level_error_deg for s in used), default=0.0)
    return HorizonProfile(
        node,
        np.where(measured, np.clip(fit.elevation_deg, -90.0, 90.0), np.nan),
        np.where(measured, error, np.nan),
        measured,
        heading_error_deg=max((s.heading_error_deg for s in used), default=0.0),
        level_error_deg=float(np.hypot(level, settings.tracing_bias_deg)),
        correlation_deg=fit.correlation_deg,
        steps=tuple(dict.fromkeys(step for s in used for step in s.steps)),
    )
