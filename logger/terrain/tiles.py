"""Elevation data as surveyors have them on disk: ``.hgt`` tiles and GeoTIFF. Nothing is fetched.

Tiles whose posts lie on one lattice are joined into one grid of 16-bit numbers, cut to what the
eye can reach, so that nothing of a seam is left and memory does not grow with the folder.
"""

from __future__ import annotations

import hashlib
import io
import re
import zipfile
import zlib
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from logger.arrays import Floats, floats
from logger.errors import InputError
from logger.files import read_within
from logger.geometry import angle_between
from logger.site import Site

VOID = -32768
"""A post without a height, in ``.hgt`` tiles and in our grids."""
HGT_POSTS = {3601: 1.0, 1201: 3.0}
"""Posts along one side of an ``.hgt`` tile, and how far they are apart. [arc seconds]"""
FINE_M, MIDDLE_M = 0.2, 3000.0
"""Heights with decimals are kept in steps of a fifth of a metre around this one. [m]"""
HIGHEST_M, LOWEST_M = 9000.0, -500.0
"""No ground stands higher or lower: such a value is no height in metres. [m]"""
MOST_POSTS, LARGEST_FILE = 400_000_000, 1 << 30
NEAREST_POLE_DEG = 5.0
BLOCK = 8
"""Posts along the side of the blocks whose highest post is known beforehand."""
NAME = re.compile(r"([NS])(\d{2})([EW])(\d{3})", re.IGNORECASE)
ENDINGS = (".hgt", ".hgt.zip", ".tif", ".tiff")


@dataclass(frozen=True)
class TileSource:
    """A file that heights came from."""

    name: str
    sha256: str  # Of the file, in hex
    form: str  # "hgt" or "GeoTIFF"
    step_arc_s: float  # Between posts, south to north. [arc seconds]
    note: str = ""  # Who holds the rights to it, where the file says


@dataclass(frozen=True, eq=False)
class Grid:
    """Posts on one lattice; rows run from north to south, columns from west to east."""

    value: NDArray[np.int16]  # Shape (rows, columns), both whole blocks
    highest: NDArray[np.int16]  # Of each block and the next ones around it
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
        mean, top = np.zeros(row.shape), np.full(row.shape, VOID, dtype=np.int16)
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


@dataclass(frozen=True, eq=False)
class _Tile:
    """A file's posts before they are joined."""

    source: TileSource
    value: NDArray[np.int16]
    north_deg: float
    west_deg: float
    step_lat_deg: float
    step_lon_deg: float
    base_m: float = 0.0
    scale_m: float = 1.0


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
    box = _Box.around(site, reach_m)
    joined: dict[tuple[int, ...], _Joining] = {}
    sources = []
    for path in paths:
        for tile in _tiles_of(path, box):
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


def tile_name(latitude_deg: float, longitude_deg: float) -> str:
    """The ``.hgt`` tile that holds a place, by its south-west corner."""
    south, west = int(np.floor(latitude_deg)), int(np.floor(longitude_deg))
    return f"{'N' if south >= 0 else 'S'}{abs(south):02d}{'E' if west >= 0 else 'W'}{abs(west):03d}"


@dataclass(frozen=True)
class _Box:
    """What is within reach; longitudes are counted from the site's and may run beyond 180. [deg]"""

    south: float
    north: float
    west: float
    east: float
    longitude: float

    @classmethod
    def around(cls, site: Site, reach_m: float) -> _Box:
        """A little more than what is within reach: a degree of latitude is 110.5 km at least."""
        high = reach_m / 110_500.0
        farthest = min(abs(site.latitude_deg) + high, 89.0)
        wide = high / float(np.cos(np.radians(farthest)))
        return cls(
            site.latitude_deg - high,
            site.latitude_deg + high,
            site.longitude_deg - wide,
            site.longitude_deg + wide,
            site.longitude_deg,
        )

    def from_west(self, west_deg: float, width_deg: float) -> float:
        """A tile's western longitude as the box counts them."""
        middle = west_deg + width_deg / 2
        return west_deg + self.longitude + float(angle_between(middle, self.longitude)) - middle

    def meets(self, north: float, west: float, high: float, wide: float) -> bool:
        """Whether a tile has a part in it."""
        return (
            north >= self.south
            and north - high <= self.north
            and west <= self.east
            and west + wide >= self.west
        )


def _lattice(tile: _Tile) -> tuple[int, ...]:
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

    def __init__(self, first: _Tile, box: _Box) -> None:
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
        self.value = np.full((rows, columns), VOID, dtype=np.int16)

    def add(self, tile: _Tile) -> None:
        """Lay a tile in; what an earlier one told stays."""
        top = round((self.north - tile.north_deg) / tile.step_lat_deg)
        left = round((tile.west_deg - self.west) / tile.step_lon_deg)
        rows, columns = self.value.shape
        high, wide = tile.value.shape
        r0, r1, c0, c1 = max(top, 0), min(top + high, rows), max(left, 0), min(left + wide, columns)
        if r0 < r1 and c0 < c1:
            mine = self.value[r0:r1, c0:c1]
            more = tile.value[r0 - top : r1 - top, c0 - left : c1 - left]
            np.copyto(mine, more, where=mine == VOID)

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


def _tiles_of(path: Path, box: _Box) -> Iterator[_Tile]:
    """What a file holds of the ground within reach: nothing, or one tile."""
    if path.name.lower().endswith((".tif", ".tiff")):
        yield from _geotiff(path, box)
        return
    found = NAME.match(path.name)
    if not found:
        raise InputError(
            "its name does not tell which degree it holds", str(path), "a name such as N46E014.hgt"
        )
    south = float(found[2]) * (1 if found[1] in "Nn" else -1)
    west = float(found[4]) * (1 if found[3] in "Ee" else -1)
    if not (-90 <= south <= 89 and -180 <= west <= 179):
        raise InputError("there is no such degree on Earth", str(path))
    west = box.from_west(west, 1.0)
    if not box.meets(south + 1.0, west, 1.0, 1.0):
        return
    content = read_within(path, LARGEST_FILE, "elevation tile")
    digest = hashlib.sha256(content).hexdigest()
    if path.suffix.lower() == ".zip":
        content = _unzipped(path, content)
    posts = int(np.sqrt(len(content) // 2))
    if posts not in HGT_POSTS or len(content) != 2 * posts * posts:
        raise InputError(
            f"holds {len(content)} bytes: an .hgt tile has 25934402 (1 arc second) or 2884802 (3)",
            str(path),
            "get the tile again; it may be cut short",
        )
    value = np.frombuffer(content, dtype=">i2").reshape(posts, posts).astype(np.int16)
    # Counted from the lowest number that is no void, a void is the highest of all.
    lowest = int((value.view(np.uint16) + np.uint16(-VOID - 1)).min()) + VOID + 1
    _refuse_odd(lowest, int(value.max()), str(path))
    source = TileSource(path.name, digest, "hgt", HGT_POSTS[posts])
    step = 1.0 / (posts - 1)
    yield _Tile(source, value, south + 1.0, west, step, step)


def _unzipped(path: Path, content: bytes) -> bytes:
    """The one tile in a zip file."""
    try:
        with zipfile.ZipFile(io.BytesIO(content)) as archive:
            inside = [i for i in archive.infolist() if i.filename.lower().endswith(".hgt")]
            if len(inside) != 1:
                raise InputError(f"holds {len(inside)} .hgt tiles, not one", str(path))
            largest = 2 * max(HGT_POSTS) ** 2
            with archive.open(inside[0]) as file:
                return file.read(largest + 2)
    except (zipfile.BadZipFile, OSError, RuntimeError, NotImplementedError, zlib.error) as error:
        raise InputError(f"is a damaged zip file: {error}", str(path)) from error


def _refuse_odd(lowest_m: float, highest_m: float, where: str) -> None:
    if highest_m != VOID and not LOWEST_M <= lowest_m <= highest_m <= HIGHEST_M:
        raise InputError(
            f"heights from {lowest_m:.0f} to {highest_m:.0f} m are none of this Earth",
            where,
            "metres above the sea, in this machine's order of bytes or as .hgt has them",
        )


def _geotiff(path: Path, box: _Box) -> Iterator[_Tile]:
    """A GeoTIFF in geographic coordinates."""
    try:
        import rasterio
        from rasterio.errors import RasterioError
    except ImportError as error:
        raise InputError(
            "GeoTIFF needs a package that is not installed",
            str(path),
            "pip install 'horizon-logger[terrain]'",
        ) from error
    content = read_within(path, LARGEST_FILE, "elevation tile")
    options: Any = {"GDAL_DISABLE_READDIR_ON_OPEN": "EMPTY_DIR", "CPL_DEBUG": False}
    try:
        # From memory and by one driver alone: a file cannot make it open another, or a network's.
        with (
            rasterio.Env(**options),
            rasterio.MemoryFile(content) as memory,
            memory.open(driver="GTiff") as file,
        ):
            _refuse_unlike(file, str(path))
            step_lon, step_lat = file.transform.a, -file.transform.e
            # A pixel's height counts for its middle.
            north = file.transform.f - step_lat / 2
            wide, high = (file.width - 1) * step_lon, (file.height - 1) * step_lat
            west = box.from_west(file.transform.c + step_lon / 2, wide)
            if not box.meets(north, west, high, wide):
                return
            band = file.read(1, masked=True)
            scale, offset = file.scales[0], file.offsets[0]
            note = str(file.tags().get("TIFFTAG_COPYRIGHT", ""))
    except (RasterioError, ValueError, MemoryError) as error:
        raise InputError(f"is no GeoTIFF that can be read: {error}", str(path)) from error
    told = ~np.ma.getmaskarray(band) & np.isfinite(band.data)
    heights = band.data if (scale, offset) == (1.0, 0.0) else band.data * scale + offset
    told &= heights != VOID
    if told.any():
        _refuse_odd(float(heights[told].min()), float(heights[told].max()), str(path))
    base_m, scale_m = (0.0, 1.0)
    if heights.dtype.kind == "f":
        base_m, scale_m = MIDDLE_M, FINE_M
        heights = np.rint((np.where(told, heights, 0.0) - base_m) / scale_m)
    value = np.where(told, heights, VOID).astype(np.int16)
    digest = hashlib.sha256(content).hexdigest()
    source = TileSource(path.name, digest, "GeoTIFF", round(step_lat * 3600, 4), note)
    yield _Tile(source, value, north, west, step_lat, step_lon, base_m, scale_m)


def _refuse_unlike(file: Any, where: str) -> None:
    """Say why a GeoTIFF is no elevation tile that can be used."""
    turned = file.transform
    why = hint = ""
    if file.crs is None:
        why = "does not say in which coordinates it is"
    elif not file.crs.is_geographic:
        why = "is projected; latitude and longitude are needed"
        hint = "warp it to EPSG:4326"
    elif turned.b or turned.d or turned.a <= 0 or turned.e >= 0:
        why = "is rotated or upside down"
        hint = "warp it to EPSG:4326, north up"
    elif file.count != 1 or np.dtype(file.dtypes[0]).kind not in "iuf":
        why = f"holds {file.count} bands of {file.dtypes[0]}, not one of heights"
    elif (file.units[0] or "m").strip().lower() not in ("m", "metre", "metres", "meter", "meters"):
        why = f"has heights in {file.units[0]}, not in metres"
    elif min(file.width, file.height) < 2 or file.width * file.height > MOST_POSTS:
        why = f"has {file.width} times {file.height} posts"
    elif not -90.01 <= turned.f + turned.e * file.height <= turned.f <= 90.01:
        why = "lies beyond the poles"
    if why:
        raise InputError(why, where, hint)


def licence_of(folder: Path, sources: Sequence[TileSource]) -> str:
    """What is said of the rights to the tiles: by a file beside them, or within them."""
    for path in sorted(folder.glob("*")):
        if path.stem.lower() in ("licence", "license") and path.suffix.lower() in ("", ".txt"):
            text = read_within(path, 1 << 20, "licence note").decode("utf-8", "replace")
            return " ".join(text.split())[:500]
    return "; ".join(dict.fromkeys(one.note for one in sources if one.note))
