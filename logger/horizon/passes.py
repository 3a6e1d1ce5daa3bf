"""Recordings of one point, cut into passes along the skyline."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from logger.angles import unwrapped
from logger.columns import Bools, Floats, Ints, floats, freeze_columns
from logger.horizon.settings import HorizonSettings
from logger.samples import KeyPress, Note
from logger.sightlines import SightLines


@dataclass(frozen=True, eq=False)
class Pass:
    """One recording at a point, as the estimator takes it.

    Parameters
    ----------
    sight : SightLines
    keys : tuple of KeyPress
    notes : tuple of Note
    name : str
        How results refer to it, such as the recording's file name.
    """

    sight: SightLines
    keys: tuple[KeyPress, ...] = ()
    notes: tuple[Note, ...] = ()
    name: str = ""


@dataclass(frozen=True, eq=False)
class Leg:
    """A part of one recording along which the sight goes one way round.

    Parameters
    ----------
    recording : int
        Index of the pass it is part of.
    row : int array, shape (N,)
        Rows of that recording's sight lines.
    t_s : array, shape (N,)
        [s]
    path_deg : array, shape (N,)
        Azimuth as a continuous angle that counts full turns. [deg]
    elevation_deg : array, shape (N,)
        [deg]
    noise_deg : array, shape (N,)
        Random error of one row along either axis, 1 sigma. [deg]
    clockwise : bool
    """

    recording: int
    row: Ints
    t_s: Floats
    path_deg: Floats
    elevation_deg: Floats
    noise_deg: Floats
    clockwise: bool

    def __post_init__(self) -> None:
        n = freeze_columns(self, ("t_s", "path_deg", "elevation_deg", "noise_deg"))
        freeze_columns(self, ("row",), dtype=np.int64, length=n)

    def __len__(self) -> int:
        return len(self.t_s)

    @property
    def span_deg(self) -> float:
        """Azimuth from the leg's one end to the other. [deg]."""
        return float(np.ptp(self.path_deg)) if len(self) else 0.0


def legs_of(passes: Sequence[Pass], settings: HorizonSettings) -> tuple[Leg, ...]:
    """Every recording's used rows, cut wherever the sweep turns round."""
    legs: list[Leg] = []
    for index, one in enumerate(passes):
        row = np.flatnonzero(one.sight.used)
        if row.size == 0:
            continue
        t_s = one.sight.t_s[row]
        path = unwrapped(one.sight.azimuth_deg[row])
        ends = [0, *turning_points(t_s, path, settings.turn_deg), row.size]
        for a, b in pairwise(ends):
            if b > a:
                legs.append(
                    Leg(
                        index,
                        row[a:b],
                        t_s[a:b],
                        path[a:b],
                        one.sight.elevation_deg[row[a:b]],
                        row_noise_deg(one.sight, settings)[row[a:b]],
                        bool(path[b - 1] >= path[a]),
                    )
                )
    return tuple(legs)


def row_noise_deg(sight: SightLines, settings: HorizonSettings) -> Floats:
    """Random error of each row: what the attitude says of itself, and the hand. [deg]."""
    own = np.where(np.isfinite(sight.standard_error_deg), sight.standard_error_deg, 0.0)
    return floats(np.hypot(own, settings.sight_noise_deg))


def turning_points(t_s: Floats, path_deg: Floats, turn_deg: float) -> list[int]:
    """Indices at which a path that goes to and fro has turned by more than a given angle.

    Parameters
    ----------
    t_s, path_deg : array, shape (N,)
        [s], [deg]
    turn_deg : float
        [deg]
    """
    points: list[int] = []
    low = high = 0
    going = 0
    # Every fifth row is plenty to see a reversal of many degrees and keeps the loop short.
    for i in range(0, len(path_deg), 5):
        here = path_deg[i]
        if here > path_deg[high]:
            high = i
        if here < path_deg[low]:
            low = i
        if going >= 0 and path_deg[high] - here > turn_deg:
            if going > 0:
                points.append(high)
            going, low = -1, i
        elif going <= 0 and here - path_deg[low] > turn_deg:
            if going < 0:
                points.append(low)
            going, high = 1, i
        if going > 0:
            low = i
        elif going < 0:
            high = i
    return points


def followed(leg: Leg, settings: HorizonSettings) -> Bools:
    """Whether the skyline between a row and the next was followed. Shape (N - 1,)."""
    near = (np.abs(np.diff(leg.path_deg)) <= settings.gap_deg) & (
        np.diff(leg.t_s) <= settings.gap_s
    )
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
