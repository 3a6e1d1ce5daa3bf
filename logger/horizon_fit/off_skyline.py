"""Rows that are off the skyline: the operator looked at the ground, the phone or the sky."""

from __future__ import annotations

import numpy as np

from logger.arrays import Bools, Floats, Ints
from logger.geometry import unwrapped
from logger.horizon_fit.settings import HorizonSettings
from logger.orientation.sight_lines import SightLines

OFF_SKYLINE = "off the skyline"
"""Reason given to the rows left out."""


def without_glances(sight: SightLines, settings: HorizonSettings) -> SightLines:
    """Sight lines with the rows taken out of use at which the sight had left the skyline.

    Two signs, each enough: the sight is far below the level, which no skyline is; or it leaves a
    place, lingers away from it and comes back to the same place. A thin mast is no glance: it is
    climbed and left without lingering.
    """
    row = np.flatnonzero(sight.used)
    if row.size < 8:
        return sight
    t = sight.t_s[row]
    every = max(1, round(0.1 / max(float(np.median(np.diff(t))), 1e-3)))
    at = np.arange(0, row.size, every)
    time, path = t[at], unwrapped(sight.azimuth_deg[row])[at]
    elevation = sight.elevation_deg[row][at]
    off = _below_ground(time, path, elevation, settings) | _lingering(
        time, path, elevation, settings
    )
    if not off.any():
        return sight
    mask = np.zeros(len(sight), dtype=bool)
    mask[row] = off[np.minimum(np.arange(row.size) // every, at.size - 1)]
    return sight.without(mask, OFF_SKYLINE)


def _below_ground(
    t_s: Floats, path_deg: Floats, elevation_deg: Floats, settings: HorizonSettings
) -> Bools:
    """Rows far below the level, with the way down to there and back up."""
    off = elevation_deg < settings.ground_deg
    if not off.any():
        return np.asarray(off, dtype=bool)
    step = np.maximum(np.diff(t_s), 1e-6)
    speed = np.diff(elevation_deg) / step
    change = np.flatnonzero(np.diff(off.astype(int)))
    marked = off.copy()
    for k in change:
        # Entering goes back in time along the way down, leaving forward along the way up.
        way, i = (-1, k) if not off[k] else (1, k + 1)
        while 0 <= i < off.size:
            leg = i if way == -1 else i - 1
            if not 0 <= leg < speed.size or speed[leg] * way < settings.leaving_deg_s:
                break
            marked[i] = True
            i += way
    return np.asarray(marked, dtype=bool)


def _lingering(
    t_s: Floats, path_deg: Floats, elevation_deg: Floats, settings: HorizonSettings
) -> Bools:
    """Rows of loops that leave a place, stay away longer than the way takes, and come back."""
    off = np.zeros(t_s.size, dtype=bool)
    first, last = _returns(t_s, path_deg, elevation_deg, settings)
    if not first.size:
        return off
    seconds = t_s[last] - t_s[first]
    moved = np.hypot(np.diff(path_deg), np.diff(elevation_deg))
    way = np.r_[0.0, np.cumsum(moved)]
    length = way[last] - way[first]
    lingers = seconds > settings.loop_linger_s + 1.5 * length / settings.climb_speed_deg_s
    first, last = first[lingers], last[lingers]
    end = 0
    for i in np.argsort(first, kind="stable"):
        a, b = int(first[i]), int(last[i])
        if b <= end:
            continue
        away = np.abs(elevation_deg[a : b + 1] - elevation_deg[a]).max()
        if (
            away > settings.loop_depth_deg
            and np.ptp(path_deg[a : b + 1]) < settings.loop_wander_deg
        ):
            off[a + 1 : b] = True
            end = b
    return off


def _returns(
    t_s: Floats, path_deg: Floats, elevation_deg: Floats, settings: HorizonSettings
) -> tuple[Ints, Ints]:
    """Pairs of rows at the same place, later than it takes to linger and within the longest loop.

    Taken stretch by stretch: a board that lies still for an hour is at one place in every row,
    and all pairs of these at once would fill any memory.
    """
    from scipy.spatial import cKDTree

    place = np.column_stack([path_deg, elevation_deg])
    found = [np.zeros((0, 2), dtype=np.int64)]
    start = 0
    while start < t_s.size:
        half, stop = np.searchsorted(t_s, t_s[start] + settings.loop_longest_s * np.array([1, 2]))
        half = max(int(half), start + 1)
        if np.ptp(elevation_deg[start:stop]) > settings.loop_depth_deg:
            near = cKDTree(place[start:stop]).query_pairs(
                settings.loop_return_deg, output_type="ndarray"
            )
            pairs = np.sort(near, axis=1) + start
            seconds = t_s[pairs[:, 1]] - t_s[pairs[:, 0]]
            keep = (seconds > settings.loop_linger_s) & (seconds < settings.loop_longest_s)
            found.append(pairs[keep & (pairs[:, 0] < half)])
        start = half
    first, last = np.concatenate(found).T
    return first, last
