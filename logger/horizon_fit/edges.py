"""Vertical edges: where the sight climbed or fell along a wall, a mast or the side of a crown.

Along the path in time such a climb is plain to see: the elevation runs, the azimuth stands. Its
rows say where the edge is and nothing about the skyline beside it, so they are taken out of the
fit and become an edge, which the fit then does not smooth across.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from logger.arrays import Floats, floats
from logger.geometry import angle_between, mean_azimuth, wrap360
from logger.horizon_fit.passes import Leg, row_jitter_deg
from logger.horizon_fit.settings import HorizonSettings


@dataclass(frozen=True)
class Climb:
    """A run of one leg's rows along which the sight moved up or down on the spot."""

    leg: int  # Index of the leg
    # Rows of the leg, both belonging to the climb
    first: int
    last: int
    path_deg: float  # Its azimuth, in the leg's continuous angle. [deg]
    # Elevations it runs between. [deg]
    low_deg: float
    high_deg: float
    rises: bool  # Whether the skyline is higher on the clockwise side
    error_deg: float  # 1 sigma of the azimuth. [deg]
    # Degrees across, on the sky, for each degree up; positive the way a slope leans
    lean: float = 0.0
    lean_allowed: float = 1.0  # What a vertical edge may show by tremor and noise


@dataclass(frozen=True)
class Edge:
    """A vertical edge that the passes agree on."""

    azimuth_deg: float  # [deg]
    error_deg: float  # 1 sigma. [deg]
    rises: bool
    climbs: tuple[Climb, ...]  # At most one a leg


def velocity(t_s: Floats, value: Floats, window_s: float) -> Floats:
    """Rate of change by a straight line through the rows within a window. Shape (N,)."""
    first = np.searchsorted(t_s, t_s - window_s / 2 - 1e-9)
    last = np.searchsorted(t_s, t_s + window_s / 2 + 1e-9)
    middle = value - value.mean()
    time = t_s - t_s.mean()

    def total(column: Floats) -> Floats:
        sums = np.r_[0.0, np.cumsum(column)]
        return floats(sums[last] - sums[first])

    count = (last - first).astype(float)
    mean_t, mean_v = total(time) / count, total(middle) / count
    above = total(time * middle) / count - mean_t * mean_v
    below = total(time**2) / count - mean_t**2
    return floats(np.where(below > 1e-12, above / np.maximum(below, 1e-12), 0.0))


def leg_jitter_deg(leg: Leg) -> float:
    """Noise of single rows on the sky, the greater of both axes. [deg]."""
    across = leg.path_deg * np.cos(np.radians(leg.elevation_deg))
    return max(row_jitter_deg(leg.elevation_deg), row_jitter_deg(floats(across)))


def detection_window_s(leg: Leg, settings: HorizonSettings) -> float:
    """Shortest window in which the rows' own jitter does not look like motion. [s].

    The slope over a window T of rows with jitter s at spacing d has a standard error of
    ``s sqrt(12 d / T^3)``; it is held to a tenth of the climbing speed expected.
    """
    if len(leg) < 8:
        return settings.edge_window_s
    jitter = row_jitter_deg(leg.elevation_deg)
    spacing = float(np.median(np.diff(leg.t_s)))
    allowed = settings.climb_speed_deg_s / 10.0
    return float(max(settings.edge_window_s, (12 * spacing * (jitter / allowed) ** 2) ** (1 / 3)))


def climbs_of(index: int, leg: Leg, settings: HorizonSettings) -> tuple[Climb, ...]:
    """The climbs and falls along one leg, in order of time."""
    if leg.held:
        found = [_upright(index, leg, a, b, settings) for a, b in leg.uprights]
        return tuple(found)
    if len(leg) < 8:
        return ()
    window = detection_window_s(leg, settings)
    up = velocity(leg.t_s, leg.elevation_deg, window)
    across = velocity(leg.t_s, leg.path_deg, window) * np.cos(np.radians(leg.elevation_deg))
    steep = np.abs(up) > settings.climb_speed_deg_s / 2
    if leg_jitter_deg(leg) < settings.jittery_deg:
        # On a jittery stream only the climb as a whole can tell that it does not move across.
        steep &= np.abs(across) < np.abs(up) / settings.climb_steepness
    moving = np.abs(up) > settings.climb_speed_deg_s / 4
    swept: list[Climb] = []
    way = np.sign(up)
    runs = _runs(leg, np.where(steep, way, 0), np.where(moving, way, 0), settings)
    for first, last in runs:
        climb = _climb(index, leg, first, last, settings)
        if climb is None:
            continue
        if swept:
            # Pieces of one climb that tremor broke stand above one another.
            before = swept[-1]
            whole = _climb(index, leg, before.first, climb.last, settings)
            if _pieces(before, climb, leg, settings) and whole is not None:
                swept[-1] = whole
                continue
        swept.append(climb)
    return tuple(swept)


def _pieces(one: Climb, two: Climb, leg: Leg, settings: HorizonSettings) -> bool:
    cosine = float(np.cos(np.radians(min(one.high_deg, two.high_deg))))
    beside = abs(one.path_deg - two.path_deg) * cosine <= settings.edge_width_deg
    soon = leg.t_s[two.first] - leg.t_s[one.last] <= settings.break_s
    return bool(one.rises == two.rises and beside and soon)


def _upright(index: int, leg: Leg, first: int, last: int, settings: HorizonSettings) -> Climb:
    a, e = leg.path_deg[[first, last]], leg.elevation_deg[[first, last]]
    cosine = max(float(np.cos(np.radians(e.mean()))), 0.02)
    error = float(np.hypot(*leg.noise_deg[[first, last]])) / 2.0 / cosine
    # The vertices at both ends belong to the sides; only what lies between is the climb.
    return Climb(
        index,
        first + 1,
        last - 1,
        float(a.mean()),
        float(e.min()),
        float(e.max()),
        bool((e[1] > e[0]) == leg.clockwise),
        error,
    )


def _runs(
    leg: Leg, steep: Floats, moving: Floats, settings: HorizonSettings
) -> list[tuple[int, int]]:
    """Runs of steep rows of one direction, joined over breaks that tremor makes in a climb.

    Over such a break the sight moves on the same way, and not far across: on a roof slope that
    follows it does.
    """
    change = np.flatnonzero(np.diff(steep)) + 1
    starts, ends = np.r_[0, change], np.r_[change, len(steep)] - 1
    runs: list[tuple[int, int]] = []
    for a, b in zip(starts.tolist(), ends.tolist(), strict=True):
        if steep[a] == 0:
            continue
        if runs and np.all(moving[runs[-1][0] : b + 1] == steep[a]):
            end = runs[-1][1]
            up = abs(leg.elevation_deg[a] - leg.elevation_deg[end])
            across = abs(leg.path_deg[a] - leg.path_deg[end])
            across *= np.cos(np.radians(leg.elevation_deg[a]))
            if across * settings.climb_steepness < up + settings.break_deg:
                runs[-1] = (runs[-1][0], b)
                continue
        runs.append((a, b))
    return runs


def _climb(index: int, leg: Leg, first: int, last: int, settings: HorizonSettings) -> Climb | None:
    height = leg.elevation_deg[last] - leg.elevation_deg[first]
    if last - first < 2 or abs(height) < settings.least_climb_deg:
        return None
    rows = slice(first, last + 1)
    e, a = leg.elevation_deg[rows], leg.path_deg[rows]
    # Rows count by the height they stand for, so that lingering at an end does not pull.
    weight = np.abs(np.gradient(e)) + 1e-9
    mean_a = float(np.average(a, weights=weight))
    mean_e = float(np.average(e, weights=weight))
    spread = float(np.average((e - mean_e) ** 2, weights=weight))
    lean = float(np.average((e - mean_e) * (a - mean_a), weights=weight)) / max(spread, 1e-9)
    cosine = max(float(np.cos(np.radians(mean_e))), 0.02)
    seconds = max(float(leg.t_s[last] - leg.t_s[first]), 0.02)
    noise = float(np.mean(leg.noise_deg[rows])) / cosine
    # Tremor is allowed for in the settings; what rows are noisier than that, here.
    noisier = max(noise * cosine - 1.5 * settings.sight_noise_deg, 0.0)
    allowed = min(settings.edge_lean, settings.edge_width_deg / abs(height) + settings.tall_lean)
    allowed += 2.0 * noisier / abs(height)
    rises = bool((height > 0) == leg.clockwise)
    outward = lean * cosine if rises else -lean * cosine
    # A single pass may lean further by tremor; all passes together decide.
    if abs(outward) > settings.doubtful_lean * allowed:
        return None
    error = noise / np.sqrt(1.0 + seconds / settings.noise_time_s)
    if error * cosine > settings.edge_error_deg:
        return None
    return Climb(
        index,
        first,
        last,
        mean_a,
        float(min(e[0], e[-1])),
        float(max(e[0], e[-1])),
        rises,
        float(np.hypot(error, settings.pass_error_deg)),
        outward,
        allowed,
    )


def edges_of(
    climbs: Sequence[Climb], legs: Sequence[Leg], settings: HorizonSettings
) -> tuple[Edge, ...]:
    """Climbs of different legs that are the same edge, brought together.

    A low edge needs a climb in more than half of the legs that passed it: tremor can make one
    leg climb upright where the others climb a slope.
    """
    waiting = sorted(climbs, key=lambda c: c.low_deg - c.high_deg)
    taken: set[int] = set()
    edges: list[Edge] = []
    for i, seed in enumerate(waiting):
        if i in taken:
            continue
        group = {seed.leg: i}
        for j in range(i + 1, len(waiting)):
            other = waiting[j]
            if j in taken or other.rises != seed.rises or other.leg == seed.leg:
                continue
            if not _same_edge(seed, other, settings):
                continue
            apart = _apart(seed, other)
            if other.leg not in group or apart < _apart(seed, waiting[group[other.leg]]):
                group[other.leg] = j
        taken |= set(group.values())
        members = [waiting[k] for k in group.values()]
        weight = floats([1 / c.error_deg**2 for c in members])
        azimuth = mean_azimuth([c.path_deg for c in members], weight)
        passed = sum(_passes_by(leg, azimuth) for leg in legs)
        high = max(c.high_deg - c.low_deg for c in members)
        if not _upright_together(members):
            continue
        if 2 * len(members) > passed or high > settings.plain_climb_deg:
            edges.append(Edge(azimuth, float(weight.sum() ** -0.5), seed.rises, tuple(members)))
    return tuple(sorted(_apart_enough(edges, settings), key=lambda e: e.azimuth_deg))


def _apart_enough(edges: Sequence[Edge], settings: HorizonSettings) -> list[Edge]:
    """Edges without those so near a higher one that the grid cannot hold what is between."""
    kept: list[Edge] = []
    for edge in sorted(edges, key=lambda e: -max(c.high_deg - c.low_deg for c in e.climbs)):
        away = [abs(float(angle_between(edge.azimuth_deg, k.azimuth_deg))) for k in kept]
        if min(away, default=360.0) > 0.6 * settings.step_deg:
            kept.append(edge)
    return kept


def _upright_together(members: Sequence[Climb]) -> bool:
    """Whether climbs of one edge, of which each leans a little by tremor, lean together."""
    height = floats([c.high_deg - c.low_deg for c in members])
    lean = float(np.average([c.lean for c in members], weights=height))
    allowed = float(np.average([c.lean_allowed for c in members], weights=height))
    return bool(abs(lean) <= allowed / np.sqrt(len(members)))


def _apart(one: Climb, other: Climb) -> float:
    return abs(float(angle_between(wrap360(one.path_deg), wrap360(other.path_deg))))


def _same_edge(one: Climb, other: Climb, settings: HorizonSettings) -> bool:
    cosine = max(float(np.cos(np.radians(max(one.high_deg, other.high_deg)))), 0.02)
    if _apart(one, other) * cosine > settings.edge_match_deg:
        return False
    shared = min(one.high_deg, other.high_deg) - max(one.low_deg, other.low_deg)
    shorter = min(one.high_deg - one.low_deg, other.high_deg - other.low_deg)
    return shared > 0.5 * shorter


def _passes_by(leg: Leg, azimuth_deg: float) -> bool:
    low, high = float(leg.path_deg.min()), float(leg.path_deg.max())
    return float(wrap360(azimuth_deg - low)) <= high - low
