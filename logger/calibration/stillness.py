"""Where in a recording the board is held still, or lies still."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from logger.arrays import Bools, Floats, floats
from logger.geometry import mean_azimuth
from logger.orientation.corrections import Vector, vector_of
from logger.orientation.running import rows_in, running_mean
from logger.recording.samples import Samples

SMOOTHING_S = 0.4
STILL_DEG_S = 4.0  # A smoothed direction that turns slower than this is still
# A hand that holds still shakes by less about the line of sight; one that rolls the board over
# turns faster
ROLLED_OVER_DEG_S = 30.0
TRIM_S = 0.3  # Left out at both ends of a stretch: the hand is still settling
# Scatter over half a second of gyro and accelerometer of a board that lies on something
QUIET_RATE_DEG_S, QUIET_FORCE_G = 0.5, 0.012


@dataclass(frozen=True)
class Hold:
    """Rows ``start`` to ``stop`` (not included) and their times."""

    start: int
    stop: int
    from_s: float
    to_s: float

    @property
    def rows(self) -> slice:
        """The rows as a slice."""
        return slice(self.start, self.stop)

    @property
    def seconds_s(self) -> float:
        """How long it lasts."""
        return self.to_s - self.from_s


def holds_of(mask: Bools, t_s: Floats, least_s: float, trim_s: float = TRIM_S) -> list[Hold]:
    """Runs of a mask that last long enough, shortened at both ends."""
    edges = np.flatnonzero(np.diff(np.r_[False, mask, False].astype(int)))
    found = []
    for a, b in zip(edges[::2], edges[1::2], strict=True):
        inside = a + np.flatnonzero(
            (t_s[a:b] >= t_s[a] + trim_s) & (t_s[a:b] <= t_s[b - 1] - trim_s)
        )
        if len(inside) and t_s[inside[-1]] - t_s[inside[0]] >= least_s:
            first, last = int(inside[0]), int(inside[-1])
            found.append(Hold(first, last + 1, float(t_s[first]), float(t_s[last])))
    return found


def held_still(t_s: Floats, matrix: Floats, least_s: float) -> list[Hold]:
    """Stretches in which the sight is held still; roll about it is measured and does no harm."""
    return holds_of(sight_is_still(t_s, matrix), t_s, least_s)


def sight_is_still(t_s: Floats, matrix: Floats) -> Bools:
    """Rows in which the line of sight is still and the board is not just being rolled over."""
    sight = slower(t_s, matrix[:, :, :1])
    return sight & slower(t_s, matrix[:, :, 1:], ROLLED_OVER_DEG_S)


def slower(t_s: Floats, axes: Floats, limit_deg_s: float = STILL_DEG_S) -> Bools:
    """Rows in which body axes (columns, in level components), smoothed, turn slower than that."""
    still = np.zeros(len(t_s), dtype=bool)
    known = np.flatnonzero(np.isfinite(axes).all(axis=(1, 2)))
    if len(known) < 3:
        return still
    t = t_s[known]
    rows = rows_in(t, SMOOTHING_S)
    smooth = running_mean(axes[known], rows)
    smooth /= np.maximum(np.linalg.norm(smooth, axis=1, keepdims=True), 1e-9)
    i, half = np.arange(len(t)), max(1, rows // 2)
    before, after = np.maximum(i - half, 0), np.minimum(i + half, len(t) - 1)
    moved = np.linalg.norm(smooth[after] - smooth[before], axis=1).max(axis=1)
    slow = np.degrees(moved) / np.maximum(t[after] - t[before], 1e-6) < limit_deg_s
    still[known] = slow
    # A row without attitude between two slow ones belongs to the stretch.
    gaps = np.setdiff1d(np.arange(len(t_s)), known)
    left = np.clip(np.searchsorted(known, gaps) - 1, 0, len(known) - 1)
    still[gaps] = slow[left] & slow[np.clip(left + 1, 0, len(known) - 1)]
    return still


def mean_headings(holds: Sequence[Hold], azimuth_deg: Floats) -> Floats:
    """Mean azimuth of the sight in each hold. [deg]"""
    held = (azimuth_deg[hold.rows] for hold in holds)
    return floats([mean_azimuth(one[np.isfinite(one)]) for one in held])


def gyro_bias(samples: Samples) -> Vector | None:
    """Mean rate while the board lies still, about each axis; None where it never does. [deg/s]"""
    rows = samples.rows(samples.has_rate)
    if len(rows) < 20:
        return None
    window = rows_in(rows.t_s, 0.5)
    quiet = _scatter(rows.rate_deg_s, window).max(axis=1) < QUIET_RATE_DEG_S
    if np.isfinite(rows.force_g).all():
        quiet &= _scatter(rows.force_g, window).max(axis=1) < QUIET_FORCE_G
    found = holds_of(np.asarray(quiet), rows.t_s, least_s=1.0, trim_s=0.25)
    if not found:
        return None
    longest = max(found, key=lambda stretch: stretch.seconds_s)
    return vector_of(rows.rate_deg_s[longest.rows].mean(axis=0))


def _scatter(values: Floats, rows: int) -> Floats:
    square = running_mean(values**2, rows) - running_mean(values, rows) ** 2
    return np.sqrt(np.maximum(square, 0.0))
