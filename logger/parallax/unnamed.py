"""Names for what nobody named: what stands out of the skyline, and which of it is one thing.

A run of the skyline without a name stands out where it is higher than what is around it and ends
upright on one side at least. Runs of two points are one thing where their bearings cross at a place
from which height and width come out alike, and nothing else comes near; any that are left are
things of their own, which the other points hold only by what they do not show. The limits of this
file are common practice, no source.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from logger.arrays import Floats, floats
from logger.geometry import angle_between, in_sector, wrap360
from logger.horizon import HorizonProfile, Obstruction
from logger.parallax.start import crossing_m
from logger.parallax.swept import PositionedPoint

STEP_DEG = 0.5
ABOVE_DEG, AROUND_DEG = 4.0, 60.0
"""Above a fifth of what is within so much on both sides, a run stands out."""

EDGE_DEG = 3.0
"""A step of the skyline within one cell that ends a thing."""

NARROWEST_DEG, WIDEST_DEG = 1.0, 150.0

TOP_SHARE, WIDTH_LOG, CLEARLY = 0.12, 0.5, 2.0
"""By how much tops may differ, over the distance; the logarithm of widths; and by how much the
next best match must be worse."""


@dataclass(frozen=True)
class Run:
    """A part of one point's skyline that may be a thing, or part of one."""

    name: str  # Empty where it has none
    from_deg: float
    to_deg: float
    top: float  # Tangent of its highest elevation

    @property
    def width_deg(self) -> float:
        """From one end to the other."""
        return float(wrap360(self.to_deg - self.from_deg))

    @property
    def middle_deg(self) -> float:
        """Azimuth half way."""
        return float(wrap360(self.from_deg + self.width_deg / 2))


def with_unnamed(points: Sequence[PositionedPoint], far: frozenset[str]) -> list[PositionedPoint]:
    """The points with a name on everything that stands out; what is far bears none."""
    runs = [[*unnamed_runs(p.horizon), *_named_runs(p.horizon, far)] for p in points]
    for i, own in enumerate(runs):
        for j in range(i):
            for a, b in _one_thing(points[i], own, points[j], runs[j]):
                name = own[a].name or runs[j][b].name
                name = name or f"{points[j].name}: {_sector(runs[j][b])}"
                own[a], runs[j][b] = replace(own[a], name=name), replace(runs[j][b], name=name)
    found = []
    for point, own in zip(points, runs, strict=True):
        known = {o.name for o in point.horizon.obstructions}
        more = [
            Obstruction(run.name or f"{point.name}: {_sector(run)}", run.from_deg, run.to_deg)
            for run in own
            if run.name not in known
        ]
        horizon = point.horizon.with_obstructions((*point.horizon.obstructions, *more))
        found.append(replace(point, horizon=horizon))
    return found


def _sector(run: Run) -> str:
    return f"{run.from_deg:.0f} to {run.to_deg:.0f}°"


def unnamed_runs(profile: HorizonProfile) -> list[Run]:
    """What stands out and bears no name at all, not even a far one."""
    azimuth = floats(np.arange(0.0, 360.0, STEP_DEG) + STEP_DEG / 2)
    height = np.maximum(profile.elevation_at(azimuth), 0.0)
    free = np.asarray(profile.measured_at(azimuth), dtype=bool)
    for o in profile.obstructions:
        free &= ~np.asarray(in_sector(azimuth, o.from_azimuth_deg, o.to_azimuth_deg))
    reach = round(AROUND_DEG / STEP_DEG)
    shifts = [np.roll(height, k) for k in range(-reach, reach + 1, 4)]
    out = free & (height > np.percentile(shifts, 20, axis=0) + ABOVE_DEG)
    ends = np.abs(height - np.roll(height, 1)) > EDGE_DEG
    starts = out & (~np.roll(out, 1) | ends)
    found = []
    for first in np.flatnonzero(starts):
        last = first
        while out[(last + 1) % len(out)] and not starts[(last + 1) % len(out)]:
            last += 1
        beside = (last + 1) % len(out)
        upright = ends[first] or ends[beside]
        width = (last - first + 1) * STEP_DEG
        if upright and NARROWEST_DEG <= width <= WIDEST_DEG:
            cells = np.arange(first, last + 1) % len(out)
            top = float(np.tan(np.radians(height[cells].max())))
            a = float(azimuth[first] - STEP_DEG / 2)
            found.append(Run("", a, float(wrap360(a + width)), top))
    return found


def _named_runs(profile: HorizonProfile, far: frozenset[str]) -> list[Run]:
    """The widest sector of each near thing."""
    widest: dict[str, Run] = {}
    for o in profile.obstructions:
        if o.name in far:
            continue
        middle = o.from_azimuth_deg + float(wrap360(o.to_azimuth_deg - o.from_azimuth_deg)) / 2
        width = float(wrap360(o.to_azimuth_deg - o.from_azimuth_deg))
        inside = floats(middle + np.linspace(-0.5, 0.5, 31) * width)
        top = float(np.tan(np.radians(np.nanmax(profile.elevation_at(inside)))))
        run = Run(o.name, o.from_azimuth_deg, o.to_azimuth_deg, top)
        if o.name not in widest or widest[o.name].width_deg < run.width_deg:
            widest[o.name] = run
    return list(widest.values())


def _one_thing(
    one: PositionedPoint, runs: Sequence[Run], other: PositionedPoint, others: Sequence[Run]
) -> list[tuple[int, int]]:
    """Pairs of runs that are one thing beyond doubt, where one of them has no name yet."""
    names = {r.name for r in runs} & {r.name for r in others} - {""}
    score = np.full((len(runs), len(others)), np.inf)
    for a, run in enumerate(runs):
        for b, against in enumerate(others):
            if not (run.name and against.name) and not {run.name, against.name} & names:
                score[a, b] = _apart(one.at_m, run, other.at_m, against)
    pairs = []
    for a, b in np.argwhere(score < 1.0):
        rest = np.concatenate([np.delete(score[a], b), np.delete(score[:, b], a)])
        if score[a, b] * CLEARLY < rest.min(initial=np.inf):
            pairs.append((int(a), int(b)))
    return pairs


def _apart(at_m: Floats, run: Run, other_m: Floats, other: Run) -> float:
    """How far two runs are from being one thing: below 1 they can be."""
    here = crossing_m(at_m, run.middle_deg, other_m, other.middle_deg)
    there = crossing_m(other_m, other.middle_deg, at_m, run.middle_deg)
    if not (np.isfinite(here) and np.isfinite(there)):
        return float("inf")
    tops = abs((at_m[2] + run.top * here) - (other_m[2] + other.top * there))
    pairs = ((here, run), (there, other))
    sizes = [d * np.sin(np.radians(min(r.width_deg, 170.0) / 2)) for d, r in pairs]
    aside = abs(float(angle_between(run.middle_deg, other.middle_deg)))
    # Bearings that hardly turn cross anywhere.
    doubt = max(1.0, 4.0 / max(aside, 0.1))
    of_top = tops / (TOP_SHARE * min(here, there) * doubt)
    return float(max(of_top, abs(np.log(sizes[0] / sizes[1])) / WIDTH_LOG))
