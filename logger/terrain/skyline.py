"""The far horizon of a place: what stands highest from 500 m to 150 km in every direction.

Light bends with the air, as if the Earth were larger: on a sphere of R / (1 - k) rays are straight.
A point at distance d along the ground, height h, seen from height h0, stands at the elevation

    tan e = ((R' + h) cos(d / R') - (R' + h0)) / ((R' + h) sin(d / R')),    R' = R / (1 - k)

No ridge is stepped over. Each direction is cut into stretches as long as a block of posts; a
stretch whose highest post could not be seen above what is known to be seen is left out, the others
are followed post by post, and where the skyline may be, the highest point of the bilinear surface
along the ray is found in closed form. (Steps would have to be a thousandth of the distance to miss
a ridge of 45° by no more than 0.02°.)
"""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from functools import partial

import numpy as np

from logger.arrays import Bools, Floats, Ints, floats, freeze_columns
from logger.geometry import interpolate_azimuthal
from logger.terrain.heights import BLOCK, Grid, Heights

NEAREST_M, FARTHEST_M = 500.0, 150_000.0
STEP_DEG = 0.25
"""Between azimuths. [deg]"""
REFRACTION, REFRACTION_ERROR = 0.13, 0.05
"""Coefficient of terrestrial refraction: Gauss's, from the triangulation of Hanover, as surveying
textbooks have it (from memory); by day over land it differs by some hundredths from that (common
practice, no source)."""
SEMI_MAJOR_M, FLATTENING = 6_378_137.0, 1 / 298.257223563
"""The ellipsoid of WGS 84 (NGA.STND.0036)."""
MARGIN_DEG = 0.002
"""What the elevation of a point may bend between the ends of a stretch. [deg]"""
AZIMUTHS_AT_ONCE, THREADS = 48, 2
"""Threads share the ground; numpy works in both at the same time."""


@dataclass(frozen=True, eq=False)
class FarHorizon:
    """The computed skyline; NaN where no tile tells anything."""

    azimuth_deg: Floats  # Even, from 0. [deg] Shape (N,).
    elevation_deg: Floats  # [deg] Shape (N,)
    distance_m: Floats  # Of what makes it. [m] Shape (N,)
    standard_error_deg: Floats  # Of heights and refraction. [deg] Shape (N,)
    # To the first place, if any, of which no tile tells and behind which the highest ground of all
    # tiles would stand above the skyline; else inf. [m] Shape (N,)
    gap_m: Floats
    eye_m: float  # Above the sea. [m]

    def __post_init__(self) -> None:
        names = ("azimuth_deg", "elevation_deg", "distance_m", "standard_error_deg", "gap_m")
        freeze_columns(self, names)

    @property
    def whole(self) -> Bools:
        """Where nothing unknown can stand higher. Shape (N,)."""
        return np.isinf(self.gap_m) & np.isfinite(self.elevation_deg)

    def at(self, azimuth_deg: Floats, column: Floats) -> Floats:
        """One of the columns between its azimuths; NaN next to NaN."""
        return floats(interpolate_azimuthal(azimuth_deg, self.azimuth_deg, column))


def elevation_of(height_m: Floats, distance_m: Floats, eye_m: float, radius_m: Floats) -> Floats:
    """Elevation at which a point is seen; the radius holds the refraction already. [deg]"""
    angle = distance_m / radius_m
    # Half angles, so that nothing is lost between two numbers as large as the Earth.
    rise = height_m * np.cos(angle) - eye_m - 2 * radius_m * np.sin(angle / 2) ** 2
    return floats(np.degrees(np.arctan2(rise, (radius_m + height_m) * np.sin(angle))))


def far_horizon(
    heights: Heights,
    latitude_deg: float,
    longitude_deg: float,
    eye_m: float,
    vertical_error_m: float,
) -> FarHorizon:
    """The far horizon as an eye sees it, whose height is told above the sea.

    The vertical error, 1 sigma, is of the tiles' heights; that of the eye's own is taken for alike.
    """
    azimuth = np.arange(0.0, 360.0, STEP_DEG)
    radius = _radius_m(latitude_deg, azimuth)
    starts = range(0, azimuth.size, AZIMUTHS_AT_ONCE)
    fans = [
        _Fan(latitude_deg, longitude_deg, azimuth[rows, None], radius[rows, None], eye_m)
        for rows in (slice(start, start + AZIMUTHS_AT_ONCE) for start in starts)
    ]
    with ThreadPoolExecutor(THREADS) as pool:
        parts = list(pool.map(partial(_highest, heights), fans))
    elevation, distance, gap = (np.concatenate(column) for column in zip(*parts, strict=True))
    curved = radius / (1 - REFRACTION)
    # Behind a gap the highest ground known may stand: where that stays below, the gap is harmless.
    reach = np.where(np.isfinite(gap), gap, FARTHEST_M)
    hidden = elevation_of(floats(heights.highest_m), reach, eye_m, curved) < elevation
    away = np.where(np.isfinite(distance), distance, NEAREST_M)
    height_error = np.hypot(vertical_error_m, vertical_error_m) / away
    bend_error = REFRACTION_ERROR * away / (2 * radius)
    error = np.degrees(np.hypot(height_error, bend_error))
    return FarHorizon(
        azimuth,
        elevation,
        distance,
        np.where(np.isfinite(elevation), error, np.nan),
        np.where(hidden, np.inf, gap),
        eye_m,
    )


def _radius_m(latitude_deg: float, azimuth_deg: Floats) -> Floats:
    """Radius of the ellipsoid's curvature in each direction (Euler's formula). [m]"""
    e2 = FLATTENING * (2 - FLATTENING)
    w2 = 1 - e2 * np.sin(np.radians(latitude_deg)) ** 2
    across = SEMI_MAJOR_M / np.sqrt(w2)
    along = across * (1 - e2) / w2
    north, east = np.cos(np.radians(azimuth_deg)) ** 2, np.sin(np.radians(azimuth_deg)) ** 2
    return floats(1 / (north / along + east / across))


@dataclass(frozen=True, eq=False)
class _Fan:
    """Rays from one eye over a range of azimuths, and where they go over ground."""

    latitude: float  # Of the eye. [deg]
    longitude: float
    azimuth: Floats  # [deg] Shape (n, 1)
    radius: Floats  # Of the Earth's curvature. [m] Shape (n, 1)
    eye_m: float

    @property
    def curved(self) -> Floats:
        """The radius with refraction in it. [m] Shape (n, 1)"""
        return self.radius / (1 - REFRACTION)

    def places(self, distance_m: Floats) -> tuple[Floats, Floats]:
        """Latitude and longitude at distances along every ray. Shape (azimuths, distances). [deg]

        The normal section's circle of curvature, then Bowring's formula (Survey Review 181, 1976)
        from the Earth's centre: within 1 m at 150 km.
        """
        lat, lon = np.radians(self.latitude), np.radians(self.longitude)
        e2 = FLATTENING * (2 - FLATTENING)
        up = floats([np.cos(lat) * np.cos(lon), np.cos(lat) * np.sin(lon), np.sin(lat)])
        east = floats([-np.sin(lon), np.cos(lon), 0.0])
        north = np.cross(up, east)
        across = SEMI_MAJOR_M / np.sqrt(1 - e2 * np.sin(lat) ** 2)
        start = across * up * floats([1, 1, 1 - e2])
        angle = distance_m / self.radius
        ahead, down = self.radius * np.sin(angle), self.radius * (np.cos(angle) - 1)
        turn = np.radians(self.azimuth)
        x, y, z = (
            start[k] + ahead * (np.cos(turn) * north[k] + np.sin(turn) * east[k]) + down * up[k]
            for k in range(3)
        )
        minor, level = SEMI_MAJOR_M * (1 - FLATTENING), np.hypot(x, y)
        t = np.arctan2(z * SEMI_MAJOR_M, level * minor)
        rise = z + e2 / (1 - e2) * minor * np.sin(t) ** 3
        latitude = np.degrees(np.arctan2(rise, level - e2 * SEMI_MAJOR_M * np.cos(t) ** 3))
        longitude = np.degrees(np.arctan2(y, x))
        return latitude, self.longitude + (longitude - self.longitude + 180.0) % 360.0 - 180.0


def _highest(heights: Heights, fan: _Fan) -> tuple[Floats, Floats, Floats]:
    """Elevation and distance of the highest point on each ray, and where the tiles first fail."""
    found = _Found(fan)
    for grid in heights.grids:
        _search(heights, grid, found)
    return np.where(np.isinf(found.best), np.nan, found.best), found.where, found.gap


class _Found:
    """What is known of each ray so far."""

    def __init__(self, fan: _Fan) -> None:
        self.fan, n = fan, fan.azimuth.size
        self.best, self.where = np.full(n, -np.inf), np.full(n, np.nan)
        self.gap = np.full(n, np.inf)

    def seen(self, of: _Stretches, height_m: Floats, away_m: Floats) -> Floats:
        """Elevation of points of stretches; -inf of what is not known. [deg]"""
        curved = self.fan.curved[of.ray]
        known = np.isfinite(height_m)
        angle = elevation_of(np.where(known, height_m, 0.0), away_m, self.fan.eye_m, curved)
        return np.where(known, angle, -np.inf)

    def take(self, of: _Stretches, height_m: Floats, away_m: Floats) -> None:
        """Keep the highest of some points of stretches. Shapes (n, m)."""
        if not of.ray.size:
            return
        each = self.seen(of, height_m, away_m)
        side, row = each.argmax(axis=1), np.arange(len(each))
        elevation, away = each[row, side], np.broadcast_to(away_m, each.shape)[row, side]
        order = np.argsort(elevation, kind="stable")
        last = np.full(self.best.size, -1)
        last[of.ray[order]] = order  # the last written is the highest
        rays = np.flatnonzero(last >= 0)
        rays = rays[elevation[last[rays]] > self.best[rays]]
        self.best[rays], self.where[rays] = elevation[last[rays]], away[last[rays]]

    def may_rise(self, of: _Stretches, top_m: Floats) -> Bools:
        """Whether stretches of which nothing is higher than that may hold what is seen highest."""
        _, _, ends = of.at(floats([[0.0, 1.0]]))
        angle = self.seen(of, np.where(np.isneginf(top_m), np.nan, top_m)[:, None], ends)
        return np.asarray(angle.max(axis=1) + MARGIN_DEG > self.best[of.ray])

    def note_gaps(self, heights: Heights, grid: Grid, of: _Stretches, height_m: Floats) -> None:
        """Where this grid is void, and no other tells."""
        of = of[np.isnan(height_m)]
        row, column, _ = of.at(floats([[0.5]]))
        latitude = grid.north_deg - row * grid.step_lat_deg
        longitude = grid.west_deg + column * grid.step_lon_deg
        unknown = np.ones(row.shape, dtype=bool)
        for other in heights.grids:
            if other is not grid:
                unknown &= np.isnan(other.height_m(*other.place(latitude, longitude))[0])
        rows = unknown[:, 0]
        np.minimum.at(self.gap, of.ray[rows], of.start[rows, 2])


@dataclass(frozen=True, eq=False)
class _Stretches:
    """Parts of rays, straight on the grid; one row each."""

    ray: Ints  # Which azimuth. Shape (n,)
    # Row, column and distance where it begins, and how far these go on to its end
    start: Floats  # Shape (n, 3)
    go: Floats  # Shape (n, 3)

    def __getitem__(self, rows: Bools) -> _Stretches:
        return _Stretches(self.ray[rows], self.start[rows], self.go[rows])

    def at(self, share: Floats) -> tuple[Floats, Floats, Floats]:
        """Row, column and distance at shares of the way. Shape of the shares, (n, m)."""
        row, column, away = (self.start[:, k, None] + self.go[:, k, None] * share for k in range(3))
        return row, column, away

    def cut(self, parts: int) -> _Stretches:
        """Each in equal parts."""
        share = np.arange(parts) / parts
        start = (self.start[:, None] + self.go[:, None] * share[None, :, None]).reshape(-1, 3)
        return _Stretches(
            np.repeat(self.ray, parts), start, np.repeat(self.go / parts, parts, axis=0)
        )


def _search(heights: Heights, grid: Grid, found: _Found) -> None:
    """Look along every ray over one grid, ever closer where the skyline may be."""
    fan = found.fan
    stretches = _whole_rays(grid, fan)
    row, column, away = stretches.at(floats([[0.5]]))
    height, _ = grid.height_m(row, column)
    found.note_gaps(heights, grid, stretches, height[:, 0])
    found.take(stretches, height, away)
    fine = stretches[found.may_rise(stretches, grid.block_top_m(row, column)[:, 0])].cut(BLOCK)

    row, column, away = fine.at(floats([[0.0, 1.0]]))
    height, top = grid.height_m(row, column)
    found.note_gaps(heights, grid, fine, height.sum(axis=1))
    found.take(fine, height, away)
    highest = np.where(np.isnan(top), -np.inf, top).max(axis=1)
    last = fine[found.may_rise(fine, highest)]

    row, column, away = last.at(_where_it_may_peak(grid, last))
    found.take(last, grid.height_m(row, column)[0], away)


def _whole_rays(grid: Grid, fan: _Fan) -> _Stretches:
    """Every ray of a fan in stretches as long as a block."""
    narrowest = min(grid.step_lat_deg, grid.step_lon_deg * np.cos(np.radians(fan.latitude)))
    # A tenth less, for columns that draw together towards the pole.
    post_m = 0.9 * np.radians(narrowest) * SEMI_MAJOR_M
    count = max(1, int(np.ceil((FARTHEST_M - NEAREST_M) / (BLOCK * post_m))))
    ends = np.linspace(NEAREST_M, FARTHEST_M, count + 1)
    row, column = grid.place(*fan.places(ends))
    corners = np.stack([row, column, np.broadcast_to(ends, row.shape)], axis=-1)
    go = corners[:, 1:] - corners[:, :-1]
    rays = np.repeat(np.arange(fan.azimuth.size), count)
    return _Stretches(rays, corners[:, :-1].reshape(-1, 3), go.reshape(-1, 3))


def _where_it_may_peak(grid: Grid, of: _Stretches) -> Floats:
    """Shares of the way at which a stretch no longer than a post can be highest. Shape (n, 10).

    It crosses one line of rows and one of columns at most; between crossings the height is a
    parabola, whose vertex three heights tell.
    """
    crossings = []
    for k in (0, 1):
        start, go = of.start[:, k], of.go[:, k]
        line = np.where(go > 0, np.floor(start) + 1, np.ceil(start) - 1)
        share = np.divide(line - start, go, out=np.zeros(start.shape), where=np.abs(go) > 1e-12)
        crossings.append(np.clip(share, 0.0, 1.0))
    bends = np.stack([np.zeros(of.ray.size), *crossings, np.ones(of.ray.size)], axis=1)
    bends.sort(axis=1)
    middles = (bends[:, :-1] + bends[:, 1:]) / 2
    at_bend, at_middle = (grid.height_m(*of.at(s)[:2])[0] for s in (bends, middles))
    first, last = at_bend[:, :-1], at_bend[:, 1:]
    bend = first - 2 * at_middle + last
    with np.errstate(divide="ignore", invalid="ignore"):
        shift = np.clip((first - last) / (2 * bend), -1.0, 1.0)  # from the middle, in half widths
    vertex = middles + np.nan_to_num(shift) * np.diff(bends, axis=1) / 2
    return np.concatenate([bends, middles, vertex], axis=1)
