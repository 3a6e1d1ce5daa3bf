"""Corner by corner: hold still on a corner, crest or mast and press.

A still hold is a vertex with a standard error of its own. A recording that is mostly such holds
is read as the line that joins them; in any other a held vertex is a firm point on the swept path.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from firmware_protocol import PRESS_KEY
from logger.arrays import Floats, Ints, floats, freeze_columns
from logger.geometry import angle_between, great_circle_elevation, unwrapped, wrap360
from logger.horizon_fit.settings import HorizonSettings
from logger.orientation.sight_lines import SightLines
from logger.recording.samples import KeyPress, Note

STRAIGHT = "straight"
"""Value of a note's `join` that makes the way to the next vertex a straight edge in space."""


@dataclass(frozen=True)
class Vertex:
    """A corner of the skyline that was sighted while holding still."""

    t_s: float  # When the key was pressed. [s]
    # [deg]
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
    sight: SightLines,
    keys: Sequence[KeyPress],
    notes: Sequence[Note],
    settings: HorizonSettings,
) -> tuple[Vertex, ...]:
    """The vertices of a recording: presses of the mark key at the end of a still hold."""
    row = np.flatnonzero(sight.used)
    time = sight.t_s[row]
    found: list[Vertex] = []
    for key in keys:
        if key.key != PRESS_KEY or not key.down or row.size == 0:
            continue
        vertex = _held(sight, row, time, key.t_s, _straight_at(notes, key.t_s), settings)
        if vertex is not None and (not found or vertex.from_s >= found[-1].to_s):
            found.append(vertex)
    return tuple(found)


def _straight_at(notes: Sequence[Note], t_s: float) -> bool:
    # Notes made within the same hold belong to the press: half a second of grace.
    before = [n for n in notes if n.t_s <= t_s + 0.5]
    if not before:
        return False
    join = before[-1].more.get("join")
    return bool(join == STRAIGHT) if join is not None else before[-1].kind == "building"


def _held(
    sight: SightLines,
    row: Ints,
    time: Floats,
    t_s: float,
    straight: bool,
    settings: HorizonSettings,
) -> Vertex | None:
    """The still hold that a key press ends, if there is one."""
    shortest, longest = settings.hold_s, settings.longest_hold_s
    at = int(np.searchsorted(time, t_s))
    start = int(np.searchsorted(time, t_s - shortest))
    if at - start < 4 or time[at - 1] - time[start] < 0.7 * shortest:
        return None
    path = unwrapped(sight.azimuth_deg[row[max(0, start - 400) : at + 100]])
    offset = start - max(0, start - 400)
    elevation = sight.elevation_deg[row[max(0, start - 400) : at + 100]]
    t = time[max(0, start - 400) : at + 100]
    a, b = offset, offset + at - start
    cosine = max(float(np.cos(np.radians(np.median(elevation[a:b])))), 0.02)
    across = path * cosine
    if not _still(t[a:b], across[a:b], elevation[a:b], settings):
        return None
    # Take the hold as far as it goes, in steps of a tenth of a second.
    step = max(1, round(0.1 * (b - a) / max(t[b - 1] - t[a], 1e-6)))
    here = np.median(across[a:b]), np.median(elevation[a:b])
    spread = float(np.hypot(np.std(across[a:b]), np.std(elevation[a:b])))
    reach = max(settings.still_deg / 2.0, 1.5 * spread / np.sqrt(step))

    def stays(i: int, j: int) -> bool:
        away = np.hypot(across[i:j].mean() - here[0], elevation[i:j].mean() - here[1])
        return bool(away < reach)

    while a - step >= 0 and t[b - 1] - t[a - step] < longest and stays(a - step, a):
        a -= step
    while b + step <= t.size and t[b + step - 1] - t_s < 0.6 and stays(b, b + step):
        b += step
    seconds = float(t[b - 1] - t[a])
    error = float(
        np.hypot(
            _mean_error(across[a:b], seconds, settings),
            _mean_error(elevation[a:b], seconds, settings),
        )
    ) / np.sqrt(2.0)
    return Vertex(
        t_s,
        float(wrap360(np.mean(path[a:b]))),
        float(np.mean(elevation[a:b])),
        float(np.hypot(error, settings.pass_error_deg)),
        float(t[a]),
        float(t[b - 1]),
        straight,
    )


def _mean_error(value: Floats, seconds: float, settings: HorizonSettings) -> float:
    """Error of the mean of rows: their own jitter averages row by row, the hand's slowly. [deg]."""
    jitter = float(np.mean(np.diff(value) ** 2)) / 2.0
    slow = max(float(np.var(value)) - jitter, 0.0)
    return float(np.sqrt(jitter / value.size + slow / (1.0 + seconds / settings.hold_noise_time_s)))


def _still(t_s: Floats, across: Floats, elevation: Floats, settings: HorizonSettings) -> bool:
    """Whether the rows stay in one place: no drift beyond what their own scatter explains."""
    middle = t_s - t_s.mean()
    below = float((middle**2).sum())
    for value in (across, elevation):
        drift = float((middle * (value - value.mean())).sum()) / below
        scatter = float(np.std(np.diff(value))) / np.sqrt(2.0)
        allowed = settings.still_deg_s + 3.0 * scatter / np.sqrt(below)
        if abs(drift) > allowed or np.std(value) > settings.still_deg + 2.0 * scatter:
            return False
    return True


def corner_by_corner(
    sight: SightLines, vertices: Sequence[Vertex], settings: HorizonSettings
) -> bool:
    """Whether a recording is taken corner by corner: it is held still for much of its time."""
    if len(vertices) < 3:
        return False
    held = sum(v.to_s - v.from_s for v in vertices)
    span = vertices[-1].to_s - vertices[0].from_s
    return held > settings.held_share * span


@dataclass(frozen=True, eq=False)
class Line:
    """The line through vertices as closely set points."""

    path_deg: Floats  # Azimuth as a continuous angle. [deg] Shape (N,).
    elevation_deg: Floats  # [deg] Shape (N,)
    # 1 sigma of the vertices, and of what the skyline may do between them. [deg] Shape (N,).
    error_deg: Floats
    climbs: tuple[tuple[int, int], ...]  # First and last point of each vertical edge

    def __post_init__(self) -> None:
        freeze_columns(self, ("path_deg", "elevation_deg", "error_deg"))


def joined_line(vertices: Sequence[Vertex], settings: HorizonSettings) -> Line:
    """Join vertices in order.

    Two vertices of one azimuth, within their errors, are the foot and the head of a vertical
    edge. Ends of straight edges are joined by the great circle through them, others straight in
    azimuth and elevation unless they lie too far apart to say what is between.
    """
    path = [vertices[0].azimuth_deg]
    elevation = [vertices[0].elevation_deg]
    error = [vertices[0].error_deg]
    climbs: list[tuple[int, int]] = []
    for one, two in pairwise(vertices):
        turn = float(angle_between(two.azimuth_deg, one.azimuth_deg))
        rise = two.elevation_deg - one.elevation_deg
        if not one.straight and abs(turn) > settings.widest_join_deg:
            share = floats([1.0])
        else:
            way = max(abs(turn), abs(rise))
            count = max(1, int(np.ceil(2.0 * way / settings.step_deg)))
            share = floats(np.arange(1, count + 1) / count)
        if upright(one, two, settings):
            climbs.append((len(path) - 1, len(path) - 1 + share.size))
        if one.straight and abs(turn) > 0.5 and not _overhead(one, two, turn):
            start = one.azimuth_deg
            ends = (start, one.elevation_deg, start + turn, two.elevation_deg)
            between = floats(great_circle_elevation(start + share * turn, *ends))
            doubt = 0.0
        else:
            between = one.elevation_deg + share * rise
            doubt = settings.between_deg * min(1.0, abs(turn) / 10.0)
        path += (path[-1] + share * turn).tolist()
        elevation += between.tolist()
        held = one.error_deg + share * (two.error_deg - one.error_deg)
        error += np.hypot(held, doubt * 4.0 * share * (1.0 - share)).tolist()
    return Line(floats(path), floats(elevation), floats(error), tuple(climbs))


def _overhead(one: Vertex, two: Vertex, turn_deg: float) -> bool:
    """Whether an edge runs so near the zenith that its elevation is no function of azimuth."""
    flat = np.prod(np.cos(np.radians([one.elevation_deg, two.elevation_deg])))
    return bool(flat * abs(np.sin(np.radians(turn_deg))) < 1e-4)


def upright(one: Vertex, two: Vertex, settings: HorizonSettings) -> bool:
    """Whether two vertices are the foot and the head of a vertical edge, within their errors."""
    rise = abs(two.elevation_deg - one.elevation_deg)
    turn = abs(float(angle_between(two.azimuth_deg, one.azimuth_deg)))
    unsure = 2.0 * float(np.hypot(one.azimuth_error_deg, two.azimuth_error_deg))
    return rise > settings.least_climb_deg and turn < min(max(unsure, 0.4), 0.5 * rise)
