"""A stream's values over windows of time, and for how long its errors stay alike."""

from __future__ import annotations

import numpy as np
from scipy.fft import irfft, next_fast_len, rfft
from scipy.ndimage import median_filter, uniform_filter1d

from logger.arrays import Bools, Floats, floats

LONGEST_MEMORY_S = 3.0  # For longer than this no error is taken to stay alike


def rows_in(t_s: Floats, window_s: float) -> int:
    """How many rows, an odd number, a window of time spans in a stream; at least 1."""
    if len(t_s) < 2 or t_s[-1] <= t_s[0]:
        return 1
    spacing = (t_s[-1] - t_s[0]) / (len(t_s) - 1)
    return int(min(len(t_s), max(1, round(window_s / spacing)))) // 2 * 2 + 1


def running_mean(values: Floats, rows: int) -> Floats:
    """Mean over a window of rows; the ends' own values stand for what is beyond them."""
    return floats(uniform_filter1d(values, rows, axis=0, mode="nearest"))


def running_median(values: Floats, rows: int) -> Floats:
    """Median over a window of rows; ends are mirrored."""
    return values if rows <= 1 or not len(values) else floats(median_filter(values, size=rows))


def over_a_second(t_s: Floats, column: Floats, known: Bools) -> Floats:
    """Running mean of the known rows."""
    rows = rows_in(t_s, 1.0)
    share = running_mean(known.astype(float), rows)
    return floats(running_mean(np.where(known, column, 0.0), rows) / np.maximum(share, 1.0 / rows))


def rows_alike(t_s: Floats, residual: Floats, known: Bools, least_s: float) -> float:
    """How many rows in a stretch err alike: ``1 + 2 (sum of the autocorrelations)``.

    The sum runs to the first lag without correlation; ``least_s`` is the shortest memory to
    believe in.
    """
    spacing = max(float(t_s[-1] - t_s[0]) / max(len(t_s) - 1, 1), 1e-6)
    least = float(max(1.0, 2 * least_s / spacing))
    limit = min(int(LONGEST_MEMORY_S / spacing), len(t_s) // 4)
    # A few rude moments must not stand for the whole: clip before correlating.
    size = np.median(np.abs(residual[known])) * 4 if known.any() else 0.0
    series = np.where(known[:, None], np.clip(residual, -size, size), 0.0)
    length = next_fast_len(2 * len(series), real=True)
    spectrum = np.abs(rfft(series, length, axis=0)) ** 2
    lagged = irfft(spectrum.sum(axis=1), length)[: limit + 1]
    if not len(lagged) or lagged[0] <= 0:
        return least
    correlation = lagged[1:] / lagged[0]
    ends = np.flatnonzero(correlation <= 0.05)
    last = ends[0] if len(ends) else len(correlation)
    return max(least, float(1 + 2 * correlation[:last].sum()))
