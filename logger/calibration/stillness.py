"""Where in a recording the board is held still, or lies still."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.ndimage import uniform_filter1d

from logger.arrays import Bools, Floats, floats
from logger.orientation.running import rows_in
from logger.recording.samples import Samples

SMOOTHING_S = 0.4


@dataclass(frozen=True)
class Stretch:
    """Rows ``start`` to ``stop`` (not included) and their times."""

    start: int
    stop: int
    # [s]
    from_s: float
    to_s: float

    @property
    def rows(self) -> slice:
        """The rows as a slice."""
        return slice(self.start, self.stop)


def stretches_of(mask: Bools, t_s: Floats, least_s: float, trim_s: float = 0.0) -> list[Stretch]:
    """Runs of a mask that last long enough, shortened at both ends."""
    edges = np.flatnonzero(np.diff(np.r_[False, mask, False].astype(int)))
    found = []
    for a, b in zip(edges[::2], edges[1::2], strict=True):
        inside = a + np.flatnonzero(
            (t_s[a:b] >= t_s[a] + trim_s) & (t_s[a:b] <= t_s[b - 1] - trim_s)
        )
        if len(inside) and t_s[inside[-1]] - t_s[inside[0]] >= least_s:
            first, last = int(inside[0]), int(inside[-1])
            found.append(Stretch(first, last + 1, float(t_s[first]), float(t_s[last])))
    return found


def held_still(
    t_s: Floats, matrix: Floats, least_s: float, speed_deg_s: float = 4.0, trim_s: float = 0.3
) -> list[Stretch]:
    """Stretches in which the attitude, smoothed, turns slowly about every axis."""
    known = np.flatnonzero(np.isfinite(matrix).all(axis=(1, 2)))
    if len(known) < 3:
        return []
    t = t_s[known]
    rows = rows_in(t, SMOOTHING_S)
    axes = floats(matrix[known].transpose(0, 2, 1))  # three body axes in level components
    smooth = uniform_filter1d(axes, rows, axis=0, mode="nearest")
    smooth /= np.maximum(np.linalg.norm(smooth, axis=2, keepdims=True), 1e-9)
    half = max(1, rows // 2)
    i = np.arange(len(t))
    before, after = np.maximum(i - half, 0), np.minimum(i + half, len(t) - 1)
    moved = np.linalg.norm(smooth[after] - smooth[before], axis=2).max(axis=1)
    speed = np.degrees(moved) / np.maximum(t[after] - t[before], 1e-6)
    mask = np.zeros(len(t_s), dtype=bool)
    slow = speed < speed_deg_s
    # A row without attitude between two slow ones belongs to the stretch.
    mask[known] = slow
    gaps = np.setdiff1d(np.arange(len(t_s)), known)
    if len(gaps):
        left = np.clip(np.searchsorted(known, gaps) - 1, 0, len(known) - 1)
        right = np.clip(left + 1, 0, len(known) - 1)
        mask[gaps] = slow[left] & slow[right]
    return stretches_of(mask, t_s, least_s, trim_s)


def gyro_bias(samples: Samples, least_s: float = 1.0) -> tuple[float, float, float] | None:
    """Mean rate while the board lies still, about each axis; None where it never does. [deg/s]."""
    rows = samples.rows(samples.has_rate)
    if len(rows) < 20:
        return None
    window = rows_in(rows.t_s, 0.5)
    noise = _spread(rows.rate_deg_s, window).max(axis=1)
    quiet = noise < 0.5
    if np.isfinite(rows.force_g).all():
        quiet &= _spread(rows.force_g, window).max(axis=1) < 0.012
    found = stretches_of(np.asarray(quiet), rows.t_s, least_s, 0.25)
    if not found:
        return None
    longest = max(found, key=lambda s: s.to_s - s.from_s)
    x, y, z = rows.rate_deg_s[longest.rows].mean(axis=0)
    return float(x), float(y), float(z)


def _spread(values: Floats, rows: int) -> Floats:
    mean = uniform_filter1d(values, rows, axis=0, mode="nearest")
    square = uniform_filter1d(values**2, rows, axis=0, mode="nearest") - mean**2
    return floats(np.sqrt(np.maximum(square, 0.0)))
