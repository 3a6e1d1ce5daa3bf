"""Recordings of one point, cut into passes along the skyline."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from logger.arrays import Bools, Floats, Ints, floats, freeze_columns
from logger.geometry import angle_between, unwrapped
from logger.horizon_fit.corners import Vertex, corner_by_corner, joined_line, vertices_of
from logger.horizon_fit.off_skyline import without_glances
from logger.horizon_fit.settings import HorizonSettings
from logger.orientation.sight_lines import SightLines
from logger.recording.samples import KeyPress, Note

BETWEEN_CORNERS = "between held corners"
"""Reason given to the rows of a corner-by-corner recording that are on the way."""


@dataclass(frozen=True, eq=False)
class Pass:
    """One recording at a point, as the estimator takes it."""

    sight: SightLines
    keys: tuple[KeyPress, ...] = ()
    notes: tuple[Note, ...] = ()
    name: str = ""  # How results refer to it, such as the recording's file name
    # Of the sight above the surface that the module's height is told from. [m]
    sight_height_m: float | None = None


@dataclass(frozen=True, eq=False)
class Leg:
    """A part of one recording along which the sight goes one way round."""

    recording: int  # Index of the pass it is part of
    row: Ints  # Rows of that recording's sight lines. Shape (N,).
    t_s: Floats  # [s] Shape (N,)
    path_deg: Floats  # Azimuth as a continuous angle that counts full turns. [deg] Shape (N,).
    elevation_deg: Floats  # [deg] Shape (N,)
    # Random error of one row along either axis that is soon another, 1 sigma. [deg] Shape (N,).
    noise_deg: Floats
    # The part that stays alike for long: of an attitude that a gyro carries on. [deg] Shape
    # (N,).
    slow_deg: Floats
    seconds: Floats  # Time each row stands for. [s] Shape (N,).
    clockwise: bool
    held: bool = False  # Whether it is the line through held vertices rather than a swept path
    # First and last row of the vertical edges of a held line; a swept path shows its own
    uprights: tuple[tuple[int, int], ...] = ()

    def __post_init__(self) -> None:
        n = freeze_columns(self, ("t_s", "path_deg", "elevation_deg", "noise_deg", "seconds"))
        freeze_columns(self, ("slow_deg",), length=n)
        freeze_columns(self, ("row",), dtype=np.int64, length=n)

    def __len__(self) -> int:
        return len(self.t_s)

    @property
    def span_deg(self) -> float:
        """Azimuth from the leg's one end to the other. [deg]."""
        return float(np.ptp(self.path_deg)) if len(self) else 0.0


@dataclass(frozen=True, eq=False)
class Trace:
    """One recording, cleaned: what is on the skyline, and how it was taken."""

    # With the rows taken out of use that are off the skyline or between held corners
    sight: SightLines
    vertices: tuple[Vertex, ...]
    held: bool  # Whether it was taken corner by corner


def traced(one: Pass, settings: HorizonSettings) -> Trace:
    """Clean one recording and find its held vertices."""
    sight = without_glances(one.sight, settings)
    vertices = vertices_of(sight, one.keys, one.notes, settings)
    held = corner_by_corner(sight, vertices, settings)
    if held:
        still = np.zeros(len(sight), dtype=bool)
        for v in vertices:
            still |= (sight.t_s >= v.from_s) & (sight.t_s <= v.to_s)
        sight = sight.without(~still, BETWEEN_CORNERS)
    return Trace(sight, vertices, held)


def legs_of(traces: Sequence[Trace], settings: HorizonSettings) -> tuple[Leg, ...]:
    """Every recording's path, cut wherever the sweep turns round."""
    legs: list[Leg] = []
    for index, trace in enumerate(traces):
        legs += _held_legs(index, trace, settings) if trace.held else _swept(index, trace, settings)
    return tuple(legs)


def _swept(index: int, trace: Trace, settings: HorizonSettings) -> list[Leg]:
    sight = trace.sight
    row = np.flatnonzero(sight.used)
    if row.size < 2:
        return []
    t_s = sight.t_s[row]
    path, middle = steadied_path(t_s, sight.azimuth_deg[row], sight.elevation_deg[row], settings)
    noise, slow = row_errors_deg(sight, row, settings)
    seconds = row_weight_s(t_s, settings.gap_s)
    # What jitter is left in the steadied path must not look like turning round.
    unsteady = 4.0 * float(np.std(np.diff(middle, 2))) if row.size > 9 else 0.0
    ends = [0, *turning_points(middle[::5], settings.turn_deg + unsteady, 5), row.size]
    return [
        Leg(
            index,
            row[a:b],
            t_s[a:b],
            path[a:b],
            sight.elevation_deg[row[a:b]],
            noise[a:b],
            slow[a:b],
            seconds[a:b],
            bool(path[b - 1] >= path[a]),
        )
        for a, b in pairwise(ends)
        if b - a > 1
    ]


def steadied_path(
    t_s: Floats, azimuth_deg: Floats, elevation_deg: Floats, settings: HorizonSettings
) -> tuple[Floats, Floats]:
    """The azimuth as a continuous angle, row by row and steadied over `steady_s`.

    The turns are counted on mean directions, so that a noisy row, or a steep one whose azimuth
    means little, does not count as a turn.
    """
    first = np.searchsorted(t_s, t_s - settings.steady_s / 2.0)
    last = np.searchsorted(t_s, t_s + settings.steady_s / 2.0, side="right")
    angle, flat = np.radians(azimuth_deg), np.cos(np.radians(elevation_deg))

    def total(column: Floats) -> Floats:
        sums = np.r_[0.0, np.cumsum(column)]
        return floats(sums[last] - sums[first])

    steadied = unwrapped(
        np.degrees(np.arctan2(total(flat * np.sin(angle)), total(flat * np.cos(angle))))
    )
    return floats(steadied + angle_between(azimuth_deg, steadied)), steadied


def _held_legs(index: int, trace: Trace, settings: HorizonSettings) -> list[Leg]:
    vertices = trace.vertices
    path = unwrapped([v.azimuth_deg for v in vertices])
    ends = [0, *turning_points(path, settings.turn_deg), len(vertices) - 1]
    legs: list[Leg] = []
    for a, b in pairwise(ends):
        if b <= a:
            continue
        line = joined_line(vertices[a : b + 1], settings)
        n = line.path_deg.size
        legs.append(
            Leg(
                index,
                np.full(n, -1),
                floats(np.arange(n) * 0.02),
                line.path_deg,
                line.elevation_deg,
                line.error_deg,
                floats(np.zeros(n)),
                # Each step of the grid counts like a noise time: errors are those of the line.
                floats(np.full(n, settings.noise_time_s / 2.0)),
                bool(line.path_deg[-1] >= line.path_deg[0]),
                True,
                line.climbs,
            )
        )
    return legs


def row_errors_deg(
    sight: SightLines, row: Ints, settings: HorizonSettings
) -> tuple[Floats, Floats]:
    """Random errors of rows: what is soon another, as if alike over `noise_time_s`, and the rest.

    An attitude found row by row, without a gyro, errs anew within a few hundredths of a second:
    its rows jitter by about what they say of themselves. One that a gyro carries on is smooth,
    and what it says of its error holds for long.
    """
    own = sight.standard_error_deg[row]
    own = np.where(np.isfinite(own), own, 0.0)
    jitter = row_jitter_deg(sight.elevation_deg[row])
    if jitter > 0.25 * float(np.median(own)):
        quick = own * min(1.0, np.sqrt(settings.row_noise_time_s / settings.noise_time_s))
        slow = np.zeros(row.size)
    else:
        quick, slow = np.zeros(row.size), own
    return floats(np.hypot(quick, settings.sight_noise_deg)), floats(slow)


def row_jitter_deg(elevation_deg: Floats) -> float:
    """Noise of single rows about a smooth path, robustly. [deg].

    A second difference of white noise has six times its variance.
    """
    if len(elevation_deg) < 9:
        return 0.0
    return float(1.4826 * np.median(np.abs(np.diff(elevation_deg, 2))) / np.sqrt(6.0))


def turning_points(path_deg: Floats, turn_deg: float, every: int = 1) -> list[int]:
    """Indices at which a path that goes to and fro has turned by more than a given angle."""
    points: list[int] = []
    low = high = 0
    going = 0
    values = path_deg.tolist()
    for i, here in enumerate(values):
        if here > values[high]:
            high = i
        if here < values[low]:
            low = i
        if going >= 0 and values[high] - here > turn_deg:
            if going > 0:
                points.append(high * every)
            going, low = -1, i
        elif going <= 0 and here - values[low] > turn_deg:
            if going < 0:
                points.append(low * every)
            going, high = 1, i
        if going > 0:
            low = i
        elif going < 0:
            high = i
    return points


def followed(leg: Leg, settings: HorizonSettings) -> Bools:
    """Whether the skyline between a row and the next was followed. Shape (N - 1,)."""
    near = np.abs(np.diff(leg.path_deg)) <= settings.gap_deg
    near &= np.diff(leg.t_s) <= settings.gap_s
    return np.asarray(near, dtype=bool)


def cells_crossed(leg: Leg, settings: HorizonSettings) -> Bools:
    """Which cells of the grid a leg saw; cell k runs from ``k * step`` to ``(k + 1) * step``."""
    n = round(360.0 / settings.step_deg)
    seen = np.zeros(n + 1, dtype=np.int64)
    if len(leg) < 2:
        return np.zeros(n, dtype=bool)
    a, b = leg.path_deg[:-1], leg.path_deg[1:]
    keep = followed(leg, settings)
    first = np.floor(np.minimum(a, b)[keep] / settings.step_deg).astype(np.int64)
    last = np.floor(np.maximum(a, b)[keep] / settings.step_deg).astype(np.int64)
    length = np.minimum(last - first + 1, n)
    start = first % n
    end = start + length
    np.add.at(seen, start, 1)
    np.add.at(seen, np.minimum(end, n), -1)
    wrapped = end > n
    seen[0] += int(wrapped.sum())
    np.add.at(seen, end[wrapped] - n, -1)
    return np.asarray(np.cumsum(seen[:-1]) > 0, dtype=bool)


def row_weight_s(t_s: Floats, longest_s: float) -> Floats:
    """Time that each row stands for, capped where the path was not followed. [s]."""
    if len(t_s) < 2:
        return floats(np.full(len(t_s), 0.02))
    step = np.minimum(np.diff(t_s), longest_s)
    return floats((np.r_[step, step[-1]] + np.r_[step[0], step]) / 2.0)
