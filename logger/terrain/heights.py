"""The ground around a site: tiles joined, and heights between their posts.

Tiles whose posts lie on one lattice are joined into one grid of 16-bit numbers, cut to what the
eye can reach, so that nothing of a seam is left and memory does not grow with the folder.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from logger.arrays import Floats, floats
from logger.errors import InputError
from logger.files import read_within
from logger.geometry import angle_between
from logger.site import Site
from logger.terrain.tiles import (
    ENDINGS,
    MOST_POSTS,
    VOID,
    Box,
    Tile,
    TileSource,
    tile_name,
    tiles_of,
)

NEAREST_POLE_DEG = 5.0
BLOCK = 8
"""Posts along the side of the blocks whose highest post is known beforehand."""


@dataclass(frozen=True, eq=False)
class Grid:
    """Posts on one lattice; rows run from north to south, columns from west to east."""

    value: NDArray[np.uint16]  # Shape (rows, columns), both whole blocks
    highest: NDArray[np.uint16]  # Of each block and the next ones around it
    # Of the first post; longitudes may run beyond 180. [deg]
    north_deg: float
    west_deg: float
    # Between posts. [deg]
    step_lat_deg: float
    step_lon_deg: float
    base_m: float  # Height in metres = base + scale * value. [m]
    scale_m: float

    def place(self, latitude_deg: Floats, longitude_deg: Floats) -> tuple[Floats, Floats]:
        """Row and column, with decimals; longitudes as this grid counts them."""
        return (
            (self.north_deg - latitude_deg) / self.step_lat_deg,
            (longitude_deg - self.west_deg) / self.step_lon_deg,
        )

    def block_top_m(self, row: Floats, column: Floats) -> Floats:
        """Height that nothing within a block's length overtops; -inf where nothing is known."""
        rows, columns = self.highest.shape
        r, c = np.floor(row).astype(int) // BLOCK, np.floor(column).astype(int) // BLOCK
        # Whoever stands beside the grid may look into its outermost block.
        inside = (r >= -1) & (c >= -1) & (r <= rows) & (c <= columns)
        top = self.highest[np.clip(r, 0, rows - 1), np.clip(c, 0, columns - 1)]
        known = inside & (top != VOID)
        return np.where(known, self.base_m + self.scale_m * top, -np.inf)

    def height_m(self, row: Floats, column: Floats) -> tuple[Floats, Floats]:
        """Bilinear height, and the highest of the four posts around; NaN where one is void. [m]"""
        rows, columns = self.value.shape
        r, c = np.floor(row), np.floor(column)
        inside = (row >= 0) & (column >= 0) & (row <= rows - 1) & (column <= columns - 1)
        i = np.clip(r, 0, rows - 2).astype(np.int64)
        j = np.clip(c, 0, columns - 2).astype(np.int64)
        y, x = row - i, column - j
        at = i * columns + j
        flat = self.value.reshape(-1)
        corner = [flat[at], flat[at + 1], flat[at + columns], flat[at + columns + 1]]
        share = [(1 - y) * (1 - x), (1 - y) * x, y * (1 - x), y * x]
        whole = inside.copy()
        mean, top = np.zeros(row.shape), np.zeros(row.shape, dtype=np.uint16)
        for value, part in zip(corner, share, strict=True):
            # A void post beside the line on which the others lie does not count.
            whole &= (value != VOID) | (part == 0)
            mean += np.where(part > 0, value, 0) * part
            np.maximum(top, value, out=top)
        mean = np.where(whole, self.base_m + self.scale_m * mean, np.nan)
        return floats(mean), np.where(whole, self.base_m + self.scale_m * top, np.nan)


@dataclass(frozen=True, eq=False)
class Heights:
    """The ground around a site."""

    grids: tuple[Grid, ...]  # One a lattice, finest first
    sources: tuple[TileSource, ...]
    longitude_deg: float  # That longitudes are counted from. [deg]

    def at(self, latitude_deg: float, longitude_deg: float) -> float:
        """Height of one place; NaN where no tile tells. [m]"""
        east = self.longitude_deg + float(angle_between(longitude_deg, self.longitude_deg))
        for grid in self.grids:
            height, _ = grid.height_m(*grid.place(floats([latitude_deg]), floats([east])))
            if np.isfinite(height[0]):
                return float(height[0])
        return float("nan")

    @property
    def highest_m(self) -> float:
        """The highest post of all. [m]"""
        return max(g.base_m + g.scale_m * float(g.highest.max()) for g in self.grids)


def read_heights(folder: Path, site: Site, reach_m: float) -> Heights:
    """The ground within reach of a site from all tiles of a folder."""
    if abs(site.latitude_deg) > 90.0 - NEAREST_POLE_DEG:
        raise InputError("elevation data are not read within 5° of a pole", str(folder))
    try:
        paths = sorted(p for p in folder.iterdir() if p.name.lower().endswith(ENDINGS))
    except OSError as error:
        raise InputError(f"cannot be read: {error.strerror}", str(folder)) from error
    if not paths:
        raise InputError(
            "holds no elevation tile", str(folder), "files such as N46E014.hgt, or GeoTIFF (.tif)"
        )
    box = Box.around(site, reach_m)
    joined: dict[tuple[int, ...], _Joining] = {}
    sources = []
    for path in paths:
        for tile in tiles_of(path, box):
            key = _lattice(tile)
            if key not in joined:
                joined[key] = _Joining(tile, box)
            joined[key].add(tile)
            sources.append(tile.source)
    if not sources:
        raise InputError(
            f"no tile here comes within {reach_m / 1000:.0f} km of the site",
            str(folder),
            f"the tile {tile_name(site.latitude_deg, site.longitude_deg)} holds the site itself",
        )
    grids = [one.grid() for one in joined.values()]
    if all((grid.highest == VOID).all() for grid in grids):
        raise InputError("every height in these tiles is void", str(folder), "other tiles")
    grids.sort(key=lambda grid: grid.step_lat_deg)
    return Heights(tuple(grids), tuple(sources), site.longitude_deg)


def _lattice(tile: Tile) -> tuple[int, ...]:
    """Alike for tiles whose posts continue each other, to a fiftieth of their distance."""
    phase = [
        round(50 * ((corner / step) % 1.0)) % 50
        for corner, step in (
            (tile.north_deg, tile.step_lat_deg),
            (tile.west_deg, tile.step_lon_deg),
        )
    ]
    steps = [round(1e7 * step) for step in (tile.step_lat_deg, tile.step_lon_deg)]
    return (*steps, *phase, round(1000 * tile.scale_m))


class _Joining:
    """A grid while tiles are laid into it."""

    def __init__(self, first: Tile, box: Box) -> None:
        self.first = first
        lat, lon = first.step_lat_deg, first.step_lon_deg
        # Whole steps from the first tile's corner, so that every tile falls on whole posts.
        self.north = first.north_deg + np.ceil((box.north - first.north_deg) / lat) * lat
        self.west = first.west_deg + np.floor((box.west - first.west_deg) / lon) * lon
        rows = int(np.ceil((self.north - box.south) / lat)) + 2
        columns = int(np.ceil((box.east - self.west) / lon)) + 2
        rows, columns = (-(-n // BLOCK) * BLOCK for n in (rows, columns))
        if rows * columns > MOST_POSTS:
            raise InputError(
                f"posts {lat * 3600:.2g} arc seconds apart are too many within reach",
                first.source.name,
                "tiles of 1 or 3 arc seconds",
            )
        self.value = np.zeros((rows, columns), dtype=np.uint16)

    def add(self, tile: Tile) -> None:
        """Lay a tile in; where two tell, the higher counts, and a void is the lowest of all."""
        top = round((self.north - tile.north_deg) / tile.step_lat_deg)
        left = round((tile.west_deg - self.west) / tile.step_lon_deg)
        rows, columns = self.value.shape
        high, wide = tile.value.shape
        r0, r1, c0, c1 = max(top, 0), min(top + high, rows), max(left, 0), min(left + wide, columns)
        if r0 < r1 and c0 < c1:
            mine = self.value[r0:r1, c0:c1]
            more = tile.value[r0 - top : r1 - top, c0 - left : c1 - left]
            np.maximum(mine, more, out=mine)

    def grid(self) -> Grid:
        """The joined posts."""
        rows, columns = self.value.shape
        top = self.value.reshape(-1, BLOCK, columns).max(axis=1)
        top = top.reshape(rows // BLOCK, -1, BLOCK).max(axis=2)
        for axis in (0, 1):
            here = np.moveaxis(top, axis, 0)
            around = here.copy()
            np.maximum(around[1:], here[:-1], out=around[1:])
            np.maximum(around[:-1], here[1:], out=around[:-1])
            top = np.moveaxis(around, 0, axis)
        one = self.first
        return Grid(
            self.value,
            np.ascontiguousarray(top),
            float(self.north),
            float(self.west),
            one.step_lat_deg,
            one.step_lon_deg,
            one.base_m,
            one.scale_m,
        )


def licence_of(folder: Path, sources: Sequence[TileSource]) -> str:
    """What is said of the rights to the tiles: by a file beside them, or within them."""
    for path in sorted(folder.glob("*")):
        if path.stem.lower() in ("licence", "license") and path.suffix.lower() in ("", ".txt"):
            text = read_within(path, 1 << 20, "licence note").decode("utf-8", "replace")
            return " ".join(text.split())[:500]
    return "; ".join(dict.fromkeys(one.note for one in sources if one.note))
