"""The outline of an array on its plane, places on it, and the best place for a rectangle."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.lib.stride_tricks import sliding_window_view

from logger.access.plane import Plane
from logger.arrays import Bools, Floats, floats
from logger.errors import UsageError

STEP_M = 0.45
"""Of the grid where nothing else is asked for: finer than half a metre."""

OFF_PLANE_M = 0.5
"""Corners further than this from one plane of the array's tilt and azimuth are a mistake (common
practice, no source)."""

MOST_PLACES = 2500


def axes_of(plane: Plane) -> tuple[Floats, Floats, Floats]:
    """Unit vectors on a plane: across, to the right of one who looks up the slope; up; outwards."""
    a, t = np.radians([plane.azimuth_deg, plane.tilt_deg])
    across = floats([-np.cos(a), np.sin(a), 0.0])
    up = floats([-np.sin(a) * np.cos(t), -np.cos(a) * np.cos(t), np.sin(t)])
    return across, up, floats(np.cross(across, up))


def rectangle(
    corner_m: Sequence[float], width_m: float, height_m: float, plane: Plane
) -> tuple[tuple[float, float, float], ...]:
    """Corners of a rectangle on a plane from its lower left one, seen up the slope."""
    across, up, _ = axes_of(plane)
    corners = [floats(corner_m) + x * across + y * up
               for x, y in ((0, 0), (width_m, 0), (width_m, height_m), (0, height_m))]  # fmt: skip
    return tuple((float(e), float(n), float(u)) for e, n, u in np.round(corners, 3))


@dataclass(frozen=True, eq=False)
class Outline:
    """A polygon on a plane, in metres across and up the slope from its first corner."""

    plane: Plane
    origin_m: Floats  # The first corner
    corners_m: Floats  # Shape (K, 2)

    @property
    def area_m2(self) -> float:
        """Of the polygon."""
        x, y = self.corners_m.T
        return float(abs((x * np.roll(y, -1) - y * np.roll(x, -1)).sum()) / 2)

    def at_m(self, places: Floats) -> Floats:
        """East, north and up of places on the plane. Shape (n, 3)."""
        across, up, _ = axes_of(self.plane)
        return floats(self.origin_m + places[:, :1] * across + places[:, 1:] * up)

    def places_of(self, at_m: Floats) -> Floats:
        """Across and up the slope of places in space. Shape (n, 2)."""
        across, up, _ = axes_of(self.plane)
        away = at_m - self.origin_m
        return floats(np.stack([away @ across, away @ up], axis=1))

    def contains(self, places: Floats) -> Bools:
        """Whether places lie in it, by how often a line to the right crosses its sides."""
        inside = np.zeros(len(places), dtype=bool)
        x, y = places.T
        for (x0, y0), (x1, y1) in pairwise([*self.corners_m, self.corners_m[0]]):
            crosses = (y0 > y) != (y1 > y)
            with np.errstate(divide="ignore", invalid="ignore"):
                at = x0 + (y - y0) * (x1 - x0) / (y1 - y0)
            inside ^= crosses & (x < at)
        return inside


@dataclass(frozen=True, eq=False)
class Grid:
    """Even cells over an outline; rows run up the slope."""

    across_m: Floats  # Middles. Shape (C,)
    up_m: Floats  # Shape (R,)
    step_m: tuple[float, float]
    inside: Bools  # Shape (R, C)

    @property
    def places(self) -> Floats:
        """Middles of the cells inside, row by row. Shape (n, 2)."""
        x, y = np.meshgrid(self.across_m, self.up_m)
        return floats(np.stack([x[self.inside], y[self.inside]], axis=1))

    def spread_out(self, values: Floats) -> Floats:
        """Values of the places inside, as rows and columns; NaN outside. Shape (R, C)."""
        found = np.full(self.inside.shape, np.nan)
        found[self.inside] = values
        return found


def outline_of(plane: Plane, corners_m: Sequence[Sequence[float]]) -> Outline:
    """The outline that corners make on a plane; UsageError says why they make none."""
    hint = "corners in order around it: edit set-outline JOB PLANE --corner EAST,NORTH,UP …"
    corners = floats(corners_m)
    if len(corners) < 3:
        raise UsageError(f"the outline of {plane.name} has {len(corners)} corners", hint=hint)
    across, up, out = axes_of(plane)
    away = corners - corners[0]
    off = float(np.abs(away @ out).max())
    if off > OFF_PLANE_M:
        what = (
            f"a corner of {plane.name} lies {off:.2f} m off the plane through its first corner "
            f"(tilt {plane.tilt_deg:g}°, azimuth {plane.azimuth_deg:g}°)"
        )
        raise UsageError(what, hint="measure the corners' heights, or the plane, again")
    found = Outline(plane, corners[0], floats(np.stack([away @ across, away @ up], axis=1)))
    if found.area_m2 < 0.01:
        raise UsageError(f"the corners of {plane.name} lie in one line", hint=hint)
    if _crosses_itself(found.corners_m):
        raise UsageError(f"the sides of {plane.name} cross each other", hint=hint)
    return found


def _crosses_itself(corners: Floats) -> bool:
    sides = list(pairwise([*corners, corners[0]]))

    def left(a: Floats, b: Floats, c: Floats) -> float:
        return float((b[0] - a[0]) * (c[1] - a[1]) - (b[1] - a[1]) * (c[0] - a[0]))

    for i, (a, b) in enumerate(sides):
        for c, d in sides[i + 2 : len(sides) - (i == 0)]:
            if left(a, b, c) * left(a, b, d) < 0 and left(c, d, a) * left(c, d, b) < 0:
                return True
    return False


def grid_over(outline: Outline, step_m: float | None = None) -> Grid:
    """Cells no larger than a step; larger ones where there would be too many."""
    low, high = outline.corners_m.min(axis=0), outline.corners_m.max(axis=0)
    size = high - low
    step = STEP_M if step_m is None else step_m
    step = max(step, float(np.sqrt(size.prod() / MOST_PLACES)))
    count = np.maximum(np.ceil(size / step - 1e-9).astype(int), 1)
    x, y = (low[i] + (np.arange(count[i]) + 0.5) * size[i] / count[i] for i in (0, 1))
    xx, yy = np.meshgrid(x, y)
    inside = outline.contains(np.stack([xx.ravel(), yy.ravel()], axis=1)).reshape(xx.shape)
    if not inside.any():
        # Narrower than a cell: its middle stands for it.
        nearest = np.hypot(xx - outline.corners_m[:, 0].mean(), yy - outline.corners_m[:, 1].mean())
        inside.flat[int(np.argmin(nearest))] = True
    steps = float(size[0] / count[0]), float(size[1] / count[1])
    return Grid(floats(x), floats(y), steps, inside)


def best_rectangle(
    grid: Grid, values: Floats, width_m: float, height_m: float
) -> tuple[float, float, float, float, float] | None:
    """Where a rectangle of a size, either way round, has the highest mean.

    Left, bottom, width and height on the plane [m], and the mean; None where it fits nowhere.
    """
    table = grid.spread_out(values)
    best: tuple[float, float, float, float, float] | None = None
    for w, h in {(width_m, height_m), (height_m, width_m)}:
        c, r = (max(1, round(s / step)) for s, step in zip((w, h), grid.step_m, strict=True))
        if r > table.shape[0] or c > table.shape[1]:
            continue
        mean = sliding_window_view(table, (r, c)).mean(axis=(2, 3))  # NaN where one is outside
        if np.isnan(mean).all():
            continue
        i, j = np.unravel_index(int(np.nanargmax(mean)), mean.shape)
        left, bottom = (
            float(x[k] - step / 2)
            for x, k, step in zip((grid.across_m, grid.up_m), (j, i), grid.step_m, strict=True)
        )
        if best is None or mean[i, j] > best[4]:
            best = left, bottom, w, h, float(mean[i, j])
    return best
