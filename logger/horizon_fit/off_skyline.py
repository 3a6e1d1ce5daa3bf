"""Rows off the skyline: a look at the ground, the phone or the sky, and the way to a target.

The limits of this file are common practice, no source.
"""

from __future__ import annotations

import numpy as np

from logger.arrays import Bools, Floats, Ints
from logger.calibration.closing_target import AT_THE_ENDS_S
from logger.calibration.closing_target import REASON as TARGET_SIGHTED
from logger.geometry import unwrapped
from logger.horizon_fit.passes import velocity
from logger.orientation.sight_lines import SightLines

OFF_SKYLINE = "off the skyline"  # Reason given to the rows left out
GROUND_DEG = -10.0  # A sight below this looks at the ground, not at a skyline
LEAVING_DEG_S = 4.0  # Speed on the way down to there and back up, at least. [deg/s]
# A glance comes back this near to where it left, goes this far up or down, and does not wander
# further round than this
RETURN_DEG, DEPTH_DEG, WANDER_DEG = 1.2, 4.0, 3.0
# It lingers this much longer than the way takes, and is over by then
LINGER_S, LONGEST_S = 1.5, 90.0
WAY_DEG_S = 8.0  # Speed of the way to where a glance lingers and back, at least. [deg/s]
# The way from the closing target to the skyline, or back to it, is so much faster than the
# sweep's median speed, and is over where the speed falls to this share of that
SWING_SHARE, STANDING_SHARE = 1.5, 0.4
SWING_S, SPEED_OVER_S = 8.0, 0.3  # Such a way takes no longer than this; speeds are taken over this


def on_skyline(sight: SightLines) -> SightLines:
    """Sight lines with the rows taken out of use at which the sight had left the skyline.

    Three signs, each enough: the sight is far below the level, which no skyline is; it leaves a
    place, lingers away from it and comes back to the same place; or it swings between closing
    target and skyline. A thin mast is no glance: it is climbed and left without lingering.
    """
    sight = _without_swings(sight)
    row = np.flatnonzero(sight.used)
    if row.size < 8:
        return sight
    every = max(1, round(0.1 / max(float(np.median(np.diff(sight.t_s[row]))), 1e-3)))
    t_s, elevation = sight.t_s[row][::every], sight.elevation_deg[row][::every]
    path = unwrapped(sight.azimuth_deg[row])[::every]
    off = _below_ground(t_s, elevation) | _lingering(t_s, path, elevation)
    if not off.any():
        return sight
    mask = np.zeros(len(sight), dtype=bool)
    mask[row] = np.repeat(off, every)[: row.size]
    return sight.without(mask, OFF_SKYLINE)


def _below_ground(t_s: Floats, elevation_deg: Floats) -> Bools:
    """Rows far below the level, with the way down to there and back up."""
    off = elevation_deg < GROUND_DEG
    speed = np.diff(elevation_deg) / np.maximum(np.diff(t_s), 1e-6)
    marked = off.copy()
    for k in np.flatnonzero(np.diff(off)).tolist():
        i = k
        if off[k]:
            # Leaving the ground: forward in time along the way up.
            while i < speed.size and speed[i] >= LEAVING_DEG_S:
                i += 1
                marked[i] = True
        else:
            # Before it: back in time along the way down.
            while i >= 0 and speed[i] <= -LEAVING_DEG_S:
                marked[i] = True
                i -= 1
    return np.asarray(marked, dtype=bool)


def _lingering(t_s: Floats, path_deg: Floats, elevation_deg: Floats) -> Bools:
    """Rows of loops that leave a place, stay away longer than the way takes, and come back."""
    off = np.zeros(t_s.size, dtype=bool)
    first, last = _returns(t_s, path_deg, elevation_deg)
    way = np.r_[0.0, np.cumsum(np.hypot(np.diff(path_deg), np.diff(elevation_deg)))]
    lingers = t_s[last] - t_s[first] > LINGER_S + (way[last] - way[first]) / WAY_DEG_S
    order = np.argsort(first[lingers], kind="stable")
    end = 0
    for a, b in zip(first[lingers][order].tolist(), last[lingers][order].tolist(), strict=True):
        if b <= end:
            continue
        away = np.abs(elevation_deg[a : b + 1] - elevation_deg[a]).max()
        if away > DEPTH_DEG and np.ptp(path_deg[a : b + 1]) < WANDER_DEG:
            off[a + 1 : b] = True
            end = b
    return off


def _returns(t_s: Floats, path_deg: Floats, elevation_deg: Floats) -> tuple[Ints, Ints]:
    """Pairs of rows at the same place, later than it takes to linger and within the longest loop.

    Taken stretch by stretch: a board that lies still for an hour is at one place in every row,
    and all pairs of these at once would fill any memory.
    """
    from scipy.spatial import cKDTree

    place = np.column_stack([path_deg, elevation_deg])
    found = [np.zeros((0, 2), dtype=np.int64)]
    start = 0
    while start < t_s.size:
        half, stop = np.searchsorted(t_s, t_s[start] + LONGEST_S * np.array([1, 2]))
        half = max(int(half), start + 1)
        if np.ptp(elevation_deg[start:stop]) > DEPTH_DEG:
            near = cKDTree(place[start:stop]).query_pairs(RETURN_DEG, output_type="ndarray")
            pairs = np.sort(near, axis=1) + start
            seconds = t_s[pairs[:, 1]] - t_s[pairs[:, 0]]
            keep = (seconds > LINGER_S) & (seconds < LONGEST_S) & (pairs[:, 0] < half)
            found.append(pairs[keep])
        start = half
    first, last = np.concatenate(found).T
    return first, last


def _without_swings(sight: SightLines) -> SightLines:
    """Sight lines without the ways between the closing target and the skyline.

    What comes before the first sight of the target, and after the last, goes as well.
    """
    target = sight.t_s[sight.reason == TARGET_SIGHTED]
    used = np.flatnonzero(sight.used)
    if not target.size or used.size < 8:
        return sight
    t_s, elevation = sight.t_s[used], sight.elevation_deg[used]
    path = unwrapped(sight.azimuth_deg[used])
    across = velocity(t_s, path, SPEED_OVER_S) * np.cos(np.radians(elevation))
    speed = np.hypot(across, velocity(t_s, elevation, SPEED_OVER_S))
    speed = speed / max(float(np.median(speed)), 1e-9)
    start, end = float(sight.t_s[0]), float(sight.t_s[-1])
    # A target sighted half way is a look aside and no reason to drop what came before it.
    at_an_end = min(AT_THE_ENDS_S, (end - start) / 2.0)
    first, last = target[target < start + at_an_end], target[target > end - at_an_end]
    if first.size:
        start = _joined(first[-1], t_s, speed)
    if last.size:
        end = -_joined(-last[0], -t_s[::-1], speed[::-1])
    return sight.without((sight.t_s < start) | (sight.t_s > end), OFF_SKYLINE)


def _joined(left_s: float, t_s: Floats, speed: Floats) -> float:
    """When a sight that leaves the target has come to stand on the skyline. [s].

    The speed is told in units of the sweep's own. Where the sight never swings, or does not come
    to stand, it is taken to trace from the target on.
    """
    way = slice(*np.searchsorted(t_s, [left_s, left_s + SWING_S]))
    fast = np.flatnonzero(speed[way] > SWING_SHARE)
    slow = np.flatnonzero(speed[way] < STANDING_SHARE)
    slow = slow[slow > fast[0]] if fast.size else slow[:0]
    return float(t_s[way][slow[0]]) if slow.size else left_s
