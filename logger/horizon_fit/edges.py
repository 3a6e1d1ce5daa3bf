"""Vertical edges: where the sight climbed or fell along a wall, a mast or the side of a crown.

Along the path in time such a climb is plain to see: the elevation runs, the azimuth stands. Its
rows say where the edge is and nothing about the skyline beside it, so they are taken out of the
fit and become an edge, which the fit then does not smooth across. The limits of this file are
common practice, no source; they were tried on the sweeps of benchmarks/accuracy.py.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from logger.arrays import floats
from logger.geometry import angle_between, mean_azimuth, wrap360
from logger.horizon_fit.passes import NOISE_TIME_S, STEP_DEG, Pass, row_jitter_deg, velocity

# Typical speed of the sight up or down a vertical edge; half of it counts as climbing. [deg/s]
CLIMB_DEG_S = 12.0
STEEPNESS = 2.2  # A climb goes up or down at least this many degrees for every degree across
LEAST_CLIMB_DEG = 2.5  # Lowest vertical edge worth keeping as an edge
PLAIN_CLIMB_DEG = 8.0  # A climb higher than this is an edge even if one pass alone shows it upright
# An edge drifts across by less than this, and a share of its height besides, and never by more
# than the greater share: else it is a slope
EDGE_WIDTH_DEG, TALL_LEAN, MOST_LEAN = 0.9, 0.05, 0.2
# One pass may lean by this many times as much, if all passes of the edge do not
DOUBTFUL_LEAN = 2.0
# Pieces of one climb that tremor broke follow each other sooner than this, and no further
# across than this and their height allow. [s], [deg]
BREAK_S, BREAK_DEG = 0.6, 1.0
JITTERY_DEG = 0.15  # Rows that jitter by more than this are those of an attitude without a gyro
PASS_ERROR_DEG = 0.1  # What differs from pass to pass but hardly along one: attitude drift, 1 sigma
EDGE_ERROR_DEG = 0.5  # A climb whose azimuth is less sure than this is no edge
MATCH_DEG = 1.5  # Climbs of two passes at most this far apart can be one edge
WINDOW_S = 0.1  # Window over which speeds are taken to find climbs; wider on noisy streams


@dataclass(frozen=True)
class Climb:
    """A run of one pass's rows along which the sight moved up or down on the spot."""

    index: int  # Of the pass
    # Rows of the pass, both belonging to the climb
    first: int
    last: int
    path_deg: float  # Its azimuth, in the pass's continuous angle. [deg]
    # Elevations it runs between. [deg]
    low_deg: float
    high_deg: float
    rises: bool  # Whether the skyline is higher on the clockwise side
    error_deg: float  # 1 sigma of the azimuth. [deg]
    # Degrees across, on the sky, for each degree up; positive the way a slope leans
    lean: float = 0.0
    lean_allowed: float = 1.0  # What a vertical edge may show by tremor and noise

    @property
    def height_deg(self) -> float:
        """From its foot to its head. [deg]."""
        return self.high_deg - self.low_deg


@dataclass(frozen=True)
class Edge:
    """A vertical edge that the passes agree on."""

    azimuth_deg: float  # [deg]
    error_deg: float  # 1 sigma. [deg]
    climbs: tuple[Climb, ...]  # At most one a pass

    def climb_of(self, index: int) -> Climb | None:
        """How one pass climbed it; None where it did not."""
        return next((c for c in self.climbs if c.index == index), None)


def edges_of(passes: Sequence[Pass], tremor_deg: float) -> tuple[Edge, ...]:
    """Climbs of different passes that are the same edge, brought together.

    A low edge needs a climb in more than half of the passes that went by it: tremor can make one
    pass climb upright where the others climb a slope.
    """
    climbs = [c for i, one in enumerate(passes) for c in _climbs_of(i, one, tremor_deg)]
    waiting = sorted(climbs, key=lambda c: -c.height_deg)
    edges: list[Edge] = []
    while waiting:
        members = _same_edge(waiting)
        waiting = [c for c in waiting if c not in members]
        weight = floats([1 / c.error_deg**2 for c in members])
        azimuth = mean_azimuth([c.path_deg for c in members], weight)
        spans = [(one.path_deg.min(), np.ptp(one.path_deg)) for one in passes]
        went_by = sum(bool(wrap360(azimuth - low) <= width) for low, width in spans)
        enough = 2 * len(members) > went_by or members[0].height_deg > PLAIN_CLIMB_DEG
        # Nodes so near a higher edge could not hold what is between.
        away = [abs(float(angle_between(azimuth, e.azimuth_deg))) for e in edges]
        if enough and _upright_together(members) and min(away, default=360.0) > 0.6 * STEP_DEG:
            edges.append(Edge(azimuth, float(weight.sum() ** -0.5), tuple(members)))
    return tuple(sorted(edges, key=lambda e: e.azimuth_deg))


def _same_edge(waiting: Sequence[Climb]) -> list[Climb]:
    """The first climb and, of every other pass, the nearest that can be the same edge."""
    seed = waiting[0]
    nearest = {seed.index: seed}
    for other in waiting[1:]:
        if other.index == seed.index or other.rises != seed.rises:
            continue
        cosine = max(float(np.cos(np.radians(max(seed.high_deg, other.high_deg)))), 0.02)
        shared = min(seed.high_deg, other.high_deg) - max(seed.low_deg, other.low_deg)
        if shared <= 0.5 * min(seed.height_deg, other.height_deg):
            continue
        apart = _apart(seed, other)
        best = nearest.get(other.index)
        if apart * cosine <= MATCH_DEG and (best is None or apart < _apart(seed, best)):
            nearest[other.index] = other
    return list(nearest.values())


def _apart(one: Climb, other: Climb) -> float:
    return abs(float(angle_between(one.path_deg, other.path_deg)))


def _upright_together(members: Sequence[Climb]) -> bool:
    """Whether climbs of one edge, of which each leans a little by tremor, lean together."""
    height = [c.height_deg for c in members]
    lean = float(np.average([c.lean for c in members], weights=height))
    allowed = float(np.average([c.lean_allowed for c in members], weights=height))
    return bool(abs(lean) <= allowed / np.sqrt(len(members)))


def _climbs_of(index: int, one: Pass, tremor_deg: float) -> list[Climb]:
    """The climbs and falls along one pass, in order of time."""
    if one.held:
        return [_joined_upright(index, one, a, b) for a, b in one.uprights]
    if len(one) < 8:
        return []
    found: list[Climb] = []
    for first, last in _steep_runs(one):
        climb = _climb(index, one, first, last, tremor_deg)
        if climb is None:
            continue
        if found and _pieces(found[-1], climb, one):
            # Pieces of one climb that tremor broke stand above one another.
            whole = _climb(index, one, found[-1].first, last, tremor_deg)
            if whole is not None:
                climb = whole
                found.pop()
        found.append(climb)
    return found


def _steep_runs(one: Pass) -> list[tuple[int, int]]:
    """Runs of rows that climb or fall steeply, joined over breaks that tremor makes in a climb.

    Over such a break the sight moves on the same way, and not far across: on a roof slope that
    follows it does.
    """
    cosine = np.cos(np.radians(one.elevation_deg))
    jitter = row_jitter_deg(one.elevation_deg)
    # The slope over a window T of rows with jitter s at spacing d has a standard error of
    # s sqrt(12 d / T^3); it is held to a tenth of the climbing speed expected.
    spacing = float(np.median(np.diff(one.t_s)))
    window = (12 * spacing * (10.0 * jitter / CLIMB_DEG_S) ** 2) ** (1 / 3)
    window = max(WINDOW_S, window)
    up = velocity(one.t_s, one.elevation_deg, window)
    across = velocity(one.t_s, one.path_deg, window) * cosine
    steep = np.abs(up) > CLIMB_DEG_S / 2
    if max(jitter, row_jitter_deg(floats(one.path_deg * cosine))) < JITTERY_DEG:
        # On a jittery stream only the climb as a whole can tell that it does not move across.
        steep &= np.abs(across) < np.abs(up) / STEEPNESS
    way = np.sign(up)
    climbing = np.where(steep, way, 0)
    moving = np.where(np.abs(up) > CLIMB_DEG_S / 4, way, 0)
    change = np.flatnonzero(np.diff(climbing)) + 1
    runs: list[tuple[int, int]] = []
    for a, b in zip([0, *change.tolist()], [*(change - 1).tolist(), len(one) - 1], strict=True):
        if climbing[a] == 0:
            continue
        if runs and np.all(moving[runs[-1][0] : b + 1] == climbing[a]):
            end = runs[-1][1]
            rise = abs(one.elevation_deg[a] - one.elevation_deg[end])
            aside = abs(one.path_deg[a] - one.path_deg[end]) * cosine[a]
            if aside * STEEPNESS < rise + BREAK_DEG:
                runs[-1] = (runs[-1][0], b)
                continue
        runs.append((a, b))
    return runs


def _pieces(one: Climb, two: Climb, where: Pass) -> bool:
    cosine = float(np.cos(np.radians(min(one.high_deg, two.high_deg))))
    beside = abs(one.path_deg - two.path_deg) * cosine <= EDGE_WIDTH_DEG
    soon = where.t_s[two.first] - where.t_s[one.last] <= BREAK_S
    return bool(one.rises == two.rises and beside and soon)


def _joined_upright(index: int, one: Pass, first: int, last: int) -> Climb:
    """A vertical edge of a line through held corners.

    The corners at both ends belong to the sides; only what lies between is the climb.
    """
    a, e = one.path_deg[[first, last]], one.elevation_deg[[first, last]]
    cosine = max(float(np.cos(np.radians(e.mean()))), 0.02)
    error = float(np.hypot(*one.noise_deg[[first, last]])) / 2.0 / cosine
    rises = bool((e[1] > e[0]) == one.clockwise)
    middle, low, high = float(a.mean()), float(e.min()), float(e.max())
    return Climb(index, first + 1, last - 1, middle, low, high, rises, error)


def _climb(index: int, one: Pass, first: int, last: int, tremor_deg: float) -> Climb | None:
    """The climb of a run of rows; None where it is low, unsure, or leans like a slope."""
    rows = slice(first, last + 1)
    e, a = one.elevation_deg[rows], one.path_deg[rows]
    height = float(e[-1] - e[0])
    if e.size < 3 or abs(height) < LEAST_CLIMB_DEG:
        return None
    # Rows count by the height they stand for, so that lingering at an end does not pull.
    weight = np.abs(np.gradient(e)) + 1e-9
    weight /= weight.sum()
    mean_a, mean_e = float(weight @ a), float(weight @ e)
    spread = float(weight @ (e - mean_e) ** 2)
    lean = float(weight @ ((e - mean_e) * (a - mean_a))) / max(spread, 1e-9)
    cosine = max(float(np.cos(np.radians(mean_e))), 0.02)
    noise = float(np.mean(one.noise_deg[rows]))
    # Tremor is allowed for in the limits; what rows are noisier than that, here.
    allowed = min(MOST_LEAN, EDGE_WIDTH_DEG / abs(height) + TALL_LEAN)
    allowed += 2.0 * max(noise - 1.5 * tremor_deg, 0.0) / abs(height)
    rises = bool((height > 0) == one.clockwise)
    outward = lean * cosine if rises else -lean * cosine
    seconds = max(float(one.t_s[last] - one.t_s[first]), 0.02)
    error = noise / cosine / np.sqrt(1.0 + seconds / NOISE_TIME_S)
    # A single pass may lean further by tremor; all passes together decide.
    if abs(outward) > DOUBTFUL_LEAN * allowed or error * cosine > EDGE_ERROR_DEG:
        return None
    low, high = float(min(e[0], e[-1])), float(max(e[0], e[-1]))
    error = float(np.hypot(error, PASS_ERROR_DEG))
    return Climb(index, first, last, mean_a, low, high, rises, error, outward, allowed)
