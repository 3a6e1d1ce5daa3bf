"""Corner by corner: hold still on a corner, crest or mast and press.

A still hold is a vertex with a standard error of its own. A sweep that is mostly such holds is
read as the line that joins them; in any other a held vertex is a firm point on the swept path.
The limits of this file are common practice, no source.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from logger.arrays import Floats, floats
from logger.geometry import angle_between, great_circle_elevation, unwrapped, wrap360
from logger.horizon_fit.passes import NOISE_TIME_S, STEP_DEG, Pass, turning_points
from logger.orientation.sight_lines import SightLines
from logger.recording.samples import KeyPress, Note, presses

# Reason given to the rows of a corner-by-corner sweep that are on the way
BETWEEN_CORNERS = "between held corners"
# Shortest still hold before a press that makes a vertex, and the longest used
HOLD_S, LONGEST_HOLD_S = 0.8, 4.0
AFTER_PRESS_S = 0.6  # A hold goes on for no longer than this after its press
# Drift and scatter while holding still, at most, besides the rows' jitter. [deg/s], [deg]
STILL_DEG_S, STILL_DEG = 1.0, 0.5
HOLD_NOISE_TIME_S = 0.3  # Time over which errors while holding still are alike
HOLD_ERROR_DEG = 0.1  # What all rows of one hold have in common, 1 sigma
HELD_SHARE = 0.3  # A sweep held still for more than this share of its time is read corner by corner
# How far the skyline may depart from the straight way between two vertices that are so far
# apart or further and no ends of a straight edge, 1 sigma
BETWEEN_DEG, BETWEEN_OVER_DEG = 0.5, 10.0
WIDEST_JOIN_DEG = 40.0  # Vertices further apart are not joined unless a straight edge joins them
LEAST_UPRIGHT_DEG = 2.5  # Lowest vertical edge worth keeping as an edge


@dataclass(frozen=True)
class Vertex:
    """A corner of the skyline that was sighted while holding still."""

    t_s: float  # When the key was pressed. [s]
    azimuth_deg: float
    elevation_deg: float
    # 1 sigma along either axis on the sky; in azimuth it is this over cos(elevation). [deg]
    error_deg: float
    # The still hold. [s]
    from_s: float
    to_s: float
    straight: bool = False  # Whether a straight edge leads to the next vertex

    @property
    def azimuth_error_deg(self) -> float:
        """1 sigma of the azimuth: a degree on the sky turns further round the steeper. [deg]."""
        return self.error_deg / max(float(np.cos(np.radians(self.elevation_deg))), 0.01)


def vertices_of(
    sight: SightLines, keys: Sequence[KeyPress], notes: Sequence[Note] = ()
) -> tuple[Vertex, ...]:
    """The vertices of a sweep: presses at the end of a still hold."""
    found: list[Vertex] = []
    for t_s in presses(keys):
        vertex = _held(sight, t_s, _straight_at(notes, t_s))
        if vertex is not None and (not found or vertex.from_s >= found[-1].to_s):
            found.append(vertex)
    return tuple(found)


def _straight_at(notes: Sequence[Note], t_s: float) -> bool:
    # Notes made within the same hold belong to the press: half a second of grace.
    named = [n for n in notes if n.label is not None and n.t_s <= t_s + 0.5]
    return bool(named) and named[-1].kind == "building"


def _held(sight: SightLines, t_s: float, straight: bool) -> Vertex | None:
    """The still hold that a key press ends, if there is one."""
    rows = slice(*np.searchsorted(sight.t_s, [t_s - LONGEST_HOLD_S, t_s + AFTER_PRESS_S]))
    used = np.arange(len(sight))[rows][sight.used[rows]]
    t, elevation = sight.t_s[used], sight.elevation_deg[used]
    a, b = np.searchsorted(t, [t_s - HOLD_S, t_s]).tolist()
    if b - a < 4 or t[b - 1] - t[a] < 0.7 * HOLD_S:
        return None
    path = unwrapped(sight.azimuth_deg[used])
    cosine = max(float(np.cos(np.radians(np.median(elevation[a:b])))), 0.02)
    across = path * cosine
    if not (_still(t[a:b], across[a:b]) and _still(t[a:b], elevation[a:b])):
        return None
    a, b = _whole_hold(t, across, elevation, a, b)
    held, seconds = slice(a, b), float(t[b - 1] - t[a])
    errors = floats([_mean_error(column[held], seconds) for column in (across, elevation)])
    azimuth, mean = float(wrap360(np.mean(path[held]))), float(np.mean(elevation[held]))
    error = float(np.hypot(np.sqrt(np.mean(errors**2)), HOLD_ERROR_DEG))
    return Vertex(t_s, azimuth, mean, error, float(t[a]), float(t[b - 1]), straight)


def _whole_hold(t: Floats, across: Floats, elevation: Floats, a: int, b: int) -> tuple[int, int]:
    """A hold as far as it goes to both sides, in steps of a tenth of a second."""
    step = max(1, round(0.1 * (b - a) / max(t[b - 1] - t[a], 1e-6)))
    here = np.median(across[a:b]), np.median(elevation[a:b])
    spread = float(np.hypot(np.std(across[a:b]), np.std(elevation[a:b])))
    reach = max(STILL_DEG / 2.0, 1.5 * spread / np.sqrt(step))

    def stays(i: int, j: int) -> bool:
        away = np.hypot(across[i:j].mean() - here[0], elevation[i:j].mean() - here[1])
        return bool(away < reach)

    while a >= step and stays(a - step, a):
        a -= step
    while b + step <= t.size and stays(b, b + step):
        b += step
    return a, b


def _mean_error(value: Floats, seconds: float) -> float:
    """Error of the mean of rows: their own jitter averages row by row, the hand's slowly. [deg]."""
    jitter = float(np.mean(np.diff(value) ** 2)) / 2.0
    slow = max(float(np.var(value)) - jitter, 0.0)
    return float(np.sqrt(jitter / value.size + slow / (1.0 + seconds / HOLD_NOISE_TIME_S)))


def _still(t_s: Floats, value: Floats) -> bool:
    """Whether rows stay in one place: no drift beyond what their own scatter explains."""
    time = t_s - t_s.mean()
    below = float((time**2).sum())
    drift = float((time * (value - value.mean())).sum()) / below
    scatter = float(np.std(np.diff(value))) / np.sqrt(2.0)
    steady = abs(drift) <= STILL_DEG_S + 3.0 * scatter / np.sqrt(below)
    return bool(steady and np.std(value) <= STILL_DEG + 2.0 * scatter)


def corner_by_corner(vertices: Sequence[Vertex]) -> bool:
    """Whether a sweep is taken corner by corner: it is held still for much of its time."""
    if len(vertices) < 3:
        return False
    held = sum(v.to_s - v.from_s for v in vertices)
    return held > HELD_SHARE * (vertices[-1].to_s - vertices[0].from_s)


def held_only(sight: SightLines, vertices: Sequence[Vertex]) -> SightLines:
    """The sight lines of the holds; what is between them is out of use."""
    still = np.zeros(len(sight), dtype=bool)
    for v in vertices:
        still |= (sight.t_s >= v.from_s) & (sight.t_s <= v.to_s)
    return sight.without(~still, BETWEEN_CORNERS)


def held_passes(index: int, vertices: Sequence[Vertex]) -> list[Pass]:
    """The lines that join a sweep's corners, cut wherever they turn round."""
    path = unwrapped([v.azimuth_deg for v in vertices])
    ends = [0, *turning_points(path), len(vertices) - 1]
    return [joined_line(vertices[a : b + 1], index) for a, b in pairwise(ends) if b > a]


def joined_line(vertices: Sequence[Vertex], index: int = 0) -> Pass:
    """The pass that joins vertices in order, as closely set points.

    Two vertices of one azimuth, within their errors, are the foot and the head of a vertical
    edge. Ends of straight edges are joined by the great circle through them, others straight in
    azimuth and elevation unless they lie too far apart to say what is between.
    """
    path, elevation = [vertices[0].azimuth_deg], [vertices[0].elevation_deg]
    error = [vertices[0].error_deg]
    uprights: list[tuple[int, int]] = []
    for one, two in pairwise(vertices):
        turn = float(angle_between(two.azimuth_deg, one.azimuth_deg))
        rise = two.elevation_deg - one.elevation_deg
        count = max(1, int(np.ceil(2.0 * max(abs(turn), abs(rise)) / STEP_DEG)))
        if not one.straight and abs(turn) > WIDEST_JOIN_DEG:
            count = 1
        share = np.arange(1, count + 1) / count
        if _upright(one, two):
            uprights.append((len(path) - 1, len(path) - 1 + count))
        # An edge near the zenith has an elevation that is no function of azimuth.
        flat = np.prod(np.cos(np.radians([one.elevation_deg, two.elevation_deg])))
        overhead = bool(flat * abs(np.sin(np.radians(turn))) < 1e-4)
        if one.straight and abs(turn) > 0.5 and not overhead:
            start = one.azimuth_deg
            ends = (start, one.elevation_deg, start + turn, two.elevation_deg)
            between = great_circle_elevation(start + share * turn, *ends)
            doubt = 0.0
        else:
            between = one.elevation_deg + share * rise
            doubt = BETWEEN_DEG * min(1.0, abs(turn) / BETWEEN_OVER_DEG)
        path += (path[-1] + share * turn).tolist()
        elevation += between.tolist()
        held = one.error_deg + share * (two.error_deg - one.error_deg)
        error += np.hypot(held, doubt * 4.0 * share * (1.0 - share)).tolist()
    n = len(path)
    # Each step of the grid counts like a noise time: errors are those of the line.
    time, seconds = floats(np.arange(n) * 0.02), np.full(n, NOISE_TIME_S / 2.0)
    line = floats(path), floats(elevation), floats(error)
    return Pass(index, time, *line, np.zeros(n), seconds, held=True, uprights=tuple(uprights))


def _upright(one: Vertex, two: Vertex) -> bool:
    """Whether two vertices are the foot and the head of a vertical edge, within their errors."""
    rise = abs(two.elevation_deg - one.elevation_deg)
    turn = abs(float(angle_between(two.azimuth_deg, one.azimuth_deg)))
    unsure = 2.0 * float(np.hypot(one.azimuth_error_deg, two.azimuth_error_deg))
    return rise > LEAST_UPRIGHT_DEG and turn < min(max(unsure, 0.4), 0.5 * rise)
