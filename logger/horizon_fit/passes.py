"""Sweeps of one point, cut into passes along the skyline.

The limits of this file are common practice, no source.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from logger.arrays import Bools, Floats, Ints, floats, freeze_columns
from logger.geometry import angle_between, unwrapped
from logger.orientation.sight_lines import SightLines
from logger.recording.samples import KeyPress, Note

STEP_DEG = 0.25  # Spacing of the horizon's grid: half the sun's disc
CELLS = round(360.0 / STEP_DEG)
NOISE_TIME_S = 0.1  # Time over which tremor is alike; slower sweeping averages more of it
ROW_NOISE_TIME_S = 0.08  # The same for the errors of an attitude found row by row, without a gyro
STEADY_S = 0.5  # Directions are averaged over this to follow the sweep round
TURN_DEG = 12.0  # A reversal of the sweep by more than this begins a new pass
# Between rows further apart than this the skyline does not count as seen. [deg], [s]
GAP_DEG, GAP_S = 3.0, 1.0


@dataclass(frozen=True, eq=False)
class SightedSweep:
    """One sweep as the estimator takes it."""

    sight: SightLines
    keys: tuple[KeyPress, ...] = ()
    notes: tuple[Note, ...] = ()
    name: str = ""  # How results refer to it, such as the recording's file name
    # Of the sight above the surface that the module's height is told from. [m]
    sight_height_m: float | None = None


@dataclass(frozen=True, eq=False)
class Pass:
    """Once along the skyline in one direction: a part of a sweep, or a line through held corners.

    All columns have shape (N,).
    """

    sweep: int  # Index of the sweep it is part of
    t_s: Floats  # [s]
    path_deg: Floats  # Azimuth as a continuous angle that counts full turns. [deg]
    elevation_deg: Floats  # [deg]
    noise_deg: Floats  # Random error of a row along either axis, soon another, 1 sigma. [deg]
    slow_deg: Floats  # What stays alike for long: of an attitude that a gyro carries on. [deg]
    seconds: Floats  # Time each row stands for. [s]
    held: bool = False  # Whether it is the line through held corners
    # First and last row of the vertical edges of a held line; a swept path shows its own
    uprights: tuple[tuple[int, int], ...] = ()

    def __post_init__(self) -> None:
        columns = ("t_s", "path_deg", "elevation_deg", "noise_deg", "slow_deg", "seconds")
        freeze_columns(self, columns)

    def __len__(self) -> int:
        return len(self.t_s)

    @property
    def clockwise(self) -> bool:
        """Which way round it goes."""
        return bool(self.path_deg[-1] >= self.path_deg[0])


def swept_passes(index: int, sight: SightLines, tremor_deg: float) -> list[Pass]:
    """A sweep's path along the skyline, cut wherever it turns round."""
    row = np.flatnonzero(sight.used)
    if row.size < 2:
        return []
    t_s, elevation = sight.t_s[row], sight.elevation_deg[row]
    path, steadied = steadied_path(t_s, sight.azimuth_deg[row], elevation)
    noise, slow = row_errors_deg(sight.standard_error_deg[row], elevation, tremor_deg)
    step = np.minimum(np.diff(t_s), GAP_S)
    seconds = (np.r_[step, step[-1]] + np.r_[step[0], step]) / 2.0
    # What jitter is left in the steadied path must not look like turning round.
    unsteady = 4.0 * float(np.std(np.diff(steadied, 2))) if row.size > 9 else 0.0
    turns = [5 * k for k in turning_points(steadied[::5], TURN_DEG + unsteady)]
    return [
        Pass(index, t_s[k], path[k], elevation[k], noise[k], slow[k], seconds[k])
        for a, b in pairwise([0, *turns, row.size])
        if (k := slice(a, b)) and b - a > 1
    ]


def steadied_path(t_s: Floats, azimuth_deg: Floats, elevation_deg: Floats) -> tuple[Floats, Floats]:
    """The azimuth as a continuous angle, row by row and steadied over `STEADY_S`.

    The turns are counted on mean directions, so that a noisy row, or a steep one whose azimuth
    means little, does not count as a turn.
    """
    angle, flat = np.radians(azimuth_deg), np.cos(np.radians(elevation_deg))
    east = running_sum(t_s, floats(flat * np.sin(angle)), STEADY_S)
    north = running_sum(t_s, floats(flat * np.cos(angle)), STEADY_S)
    steadied = unwrapped(np.degrees(np.arctan2(east, north)))
    return floats(steadied + angle_between(azimuth_deg, steadied)), steadied


def running_sum(t_s: Floats, column: Floats, window_s: float) -> Floats:
    """Sum of a column over a window of time round each row. Shape (N,)."""
    half = window_s / 2.0 + 1e-9
    sums = np.r_[0.0, np.cumsum(column)]
    last = np.searchsorted(t_s, t_s + half, side="right")
    return floats(sums[last] - sums[np.searchsorted(t_s, t_s - half)])


def velocity(t_s: Floats, value: Floats, window_s: float) -> Floats:
    """Rate of change by a straight line through the rows within a window. Shape (N,)."""
    time, middle = t_s - t_s.mean(), value - value.mean()
    count = running_sum(t_s, np.ones(t_s.size), window_s)
    mean_t = running_sum(t_s, time, window_s) / count
    mean_v = running_sum(t_s, middle, window_s) / count
    above = running_sum(t_s, time * middle, window_s) / count - mean_t * mean_v
    below = running_sum(t_s, time**2, window_s) / count - mean_t**2
    return floats(np.where(below > 1e-12, above / np.maximum(below, 1e-12), 0.0))


def row_errors_deg(
    own_deg: Floats, elevation_deg: Floats, tremor_deg: float
) -> tuple[Floats, Floats]:
    """Random errors of rows: what is soon another, as if alike over `NOISE_TIME_S`, and the rest.

    An attitude found row by row, without a gyro, errs anew within a few hundredths of a second:
    its rows jitter by about what they say of themselves. One that a gyro carries on is smooth,
    and what it says of its error holds for long.
    """
    own = np.where(np.isfinite(own_deg), own_deg, 0.0)
    if row_jitter_deg(elevation_deg) > 0.25 * float(np.median(own)):
        quick, slow = own * np.sqrt(ROW_NOISE_TIME_S / NOISE_TIME_S), np.zeros(own.size)
    else:
        quick, slow = np.zeros(own.size), own
    return floats(np.hypot(quick, tremor_deg)), floats(slow)


def row_jitter_deg(value_deg: Floats) -> float:
    """Noise of single rows about a smooth path, robustly. [deg].

    A second difference of white noise has six times its variance.
    """
    if len(value_deg) < 9:
        return 0.0
    return float(1.4826 * np.median(np.abs(np.diff(value_deg, 2))) / np.sqrt(6.0))


def turning_points(path_deg: Floats, turn_deg: float = TURN_DEG) -> list[int]:
    """Indices at which a path that goes to and fro has turned by more than a given angle."""
    points: list[int] = []
    low = high = going = 0
    values = path_deg.tolist()
    for i, here in enumerate(values):
        if here > values[high]:
            high = i
        if here < values[low]:
            low = i
        if going >= 0 and values[high] - here > turn_deg:
            if going > 0:
                points.append(high)
            going, low = -1, i
        elif going <= 0 and here - values[low] > turn_deg:
            if going < 0:
                points.append(low)
            going, high = 1, i
        if going > 0:
            low = i
        elif going < 0:
            high = i
    return points


def cells_crossed(one: Pass) -> Bools:
    """Which cells of the grid a pass saw; cell k begins at ``k STEP_DEG``. Shape (CELLS,)."""
    near = (np.abs(np.diff(one.path_deg)) <= GAP_DEG) & (np.diff(one.t_s) <= GAP_S)
    cell = np.floor(one.path_deg / STEP_DEG).astype(np.int64)
    first, last = np.sort([cell[:-1][near], cell[1:][near]], axis=0)
    seen = np.zeros(CELLS, dtype=bool)
    for a, b in zip(first.tolist(), last.tolist(), strict=True):
        seen[np.arange(a, b + 1) % CELLS] = True
    return seen


def cell_of(azimuth_deg: Floats) -> Ints:
    """The cell of the grid that azimuths of 0 to 360 degrees lie in. Shape (K,)."""
    return np.asarray(np.floor(azimuth_deg / STEP_DEG + 1e-9), dtype=np.int64) % CELLS
