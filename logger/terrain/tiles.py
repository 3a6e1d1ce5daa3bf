"""Elevation data as surveyors have them on disk: ``.hgt`` tiles and GeoTIFF. Nothing is fetched."""

from __future__ import annotations

import hashlib
import io
import re
import zipfile
import zlib
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from logger.arrays import Floats
from logger.errors import InputError
from logger.files import read_within
from logger.geometry import angle_between
from logger.site import Site

FILE_VOID, VOID = -32768, 0
"""A post without a height: in ``.hgt`` tiles, and in our grids. These count from there, so that
memory nobody wrote to is void and costs nothing."""
HGT_POSTS = {3601: 1.0, 1201: 3.0}
"""Posts along one side of an ``.hgt`` tile, and how far they are apart. [arc seconds]"""
FINE_M = 0.2
"""Heights with decimals are kept in steps of this. [m]"""
HIGHEST_M, LOWEST_M = 9000.0, -500.0
"""No ground stands higher or lower: such a value is no height in metres. [m]"""
MOST_POSTS, LARGEST_FILE = 400_000_000, 1 << 30
STRIP_ROWS = 256
"""Of a GeoTIFF at a time: as numbers with decimals they take several times what is kept of them."""
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
class Tile:
    """A file's posts before they are joined."""

    source: TileSource
    value: NDArray[np.uint16]  # Height in metres = base + scale * value; 0 is void
    north_deg: float
    west_deg: float
    step_lat_deg: float
    step_lon_deg: float
    base_m: float = FILE_VOID
    scale_m: float = 1.0


def tile_name(latitude_deg: float, longitude_deg: float) -> str:
    """The ``.hgt`` tile that holds a place, by its south-west corner."""
    south, west = int(np.floor(latitude_deg)), int(np.floor(longitude_deg))
    return f"{'N' if south >= 0 else 'S'}{abs(south):02d}{'E' if west >= 0 else 'W'}{abs(west):03d}"


@dataclass(frozen=True)
class Box:
    """What is within reach; longitudes are counted from the site's and may run beyond 180. [deg]"""

    south: float
    north: float
    west: float
    east: float
    longitude: float

    @classmethod
    def around(cls, site: Site, reach_m: float) -> Box:
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


def tiles_of(path: Path, box: Box) -> Iterator[Tile]:
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
    value = np.frombuffer(content, dtype=">u2").reshape(posts, posts).astype(np.uint16)
    del content
    value ^= 0x8000  # from numbers with a sign to numbers counted from the lowest
    if highest := int(value.max()):
        lowest = int(value.min(where=value > 0, initial=highest))
        _refuse_odd(lowest + FILE_VOID, highest + FILE_VOID, str(path))
    source = TileSource(path.name, digest, "hgt", HGT_POSTS[posts])
    step = 1.0 / (posts - 1)
    yield Tile(source, value, south + 1.0, west, step, step)


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
        raise InputError(
            "is a damaged zip file", str(path), "get the file again; it may be cut short"
        ) from error


def _refuse_odd(lowest_m: float, highest_m: float, where: str) -> None:
    if not LOWEST_M <= lowest_m <= highest_m <= HIGHEST_M:
        raise InputError(
            f"heights from {lowest_m:.0f} to {highest_m:.0f} m are none of this Earth",
            where,
            "heights must be metres above the sea; an .hgt tile has the high byte first",
        )


def _geotiff(path: Path, box: Box) -> Iterator[Tile]:
    """A GeoTIFF in geographic coordinates."""
    try:
        import rasterio
        from rasterio.errors import RasterioError
        from rasterio.windows import Window
    except ImportError as error:
        raise InputError(
            "GeoTIFF needs a package that is not installed",
            str(path),
            "pip install 'horizon-logger[terrain]'",
        ) from error
    content = read_within(path, LARGEST_FILE, "elevation tile")
    options: Any = {"GDAL_DISABLE_READDIR_ON_OPEN": "EMPTY_DIR", "GDAL_CACHEMAX": 64}
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
            top, bottom = _span(north - box.north, north - box.south, step_lat, file.height)
            left, right = _span(box.west - west, box.east - west, step_lon, file.width)
            north, west = north - top * step_lat, west + left * step_lon
            scaled = (file.scales[0], file.offsets[0])
            fine = scaled != (1.0, 0.0) or np.dtype(file.dtypes[0]).kind == "f"
            base_m, scale_m = (LOWEST_M - FINE_M, FINE_M) if fine else (float(FILE_VOID), 1.0)
            value = np.zeros((bottom - top, right - left), np.uint16)
            for row in range(top, bottom, STRIP_ROWS):
                strip = Window(left, row, right - left, min(STRIP_ROWS, bottom - row))
                heights = _metres(file.read(1, window=strip, masked=True), *scaled, str(path))
                steps = np.rint((heights - base_m) / scale_m)
                value[row - top :][: len(steps)] = np.where(np.isfinite(steps), steps, VOID)
            note = str(file.tags().get("TIFFTAG_COPYRIGHT", ""))
    except (RasterioError, ValueError, MemoryError) as error:
        raise InputError(
            "is no GeoTIFF that can be read", str(path), "get the file again; it may be cut short"
        ) from error
    digest = hashlib.sha256(content).hexdigest()
    source = TileSource(path.name, digest, "GeoTIFF", round(step_lat * 3600, 4), note)
    yield Tile(source, value, north, west, step_lat, step_lon, base_m, scale_m)


def _span(from_deg: float, to_deg: float, step_deg: float, count: int) -> tuple[int, int]:
    """Which posts lie between two angles from the first of them, or just beyond."""
    first, last = int(from_deg // step_deg), int(to_deg // step_deg) + 2
    return max(first, 0), min(last, count)


def _metres(band: Any, scale: float, offset: float, where: str) -> Floats:
    """Heights of some rows, NaN where they tell none; refuses what is no height in metres."""
    told = ~np.ma.getmaskarray(band) & np.isfinite(band.data)
    heights = band.data * scale + offset
    told &= heights != FILE_VOID
    if told.any():
        _refuse_odd(float(heights[told].min()), float(heights[told].max()), where)
    return np.where(told, heights, np.nan)


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
