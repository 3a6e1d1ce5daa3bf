"""Invented skylines by name: a ground line all round and the things that stand before it."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from logger.arrays import Floats, floats
from logger.geometry import angle_between, great_circle_elevation, in_sector, wrap360
from logger.horizon import Obstruction
from logger.simulation.scene import SIDE_DEG, Scene, Steel

GRID_DEG = 0.1
"""Step of azimuth between the nodes of a scene, apart from its vertical edges. [deg]"""
CHINK_DEG = 2.0  # narrower ground between two things has no name
MAST_DEG = 1.4


@dataclass(frozen=True)
class Part:
    """One thing on the skyline; `shape` gives its elevation at azimuths within its sector."""

    name: str
    kind: str
    from_deg: float
    to_deg: float
    shape: Callable[[Floats], Floats]
    distance_m: float | None = None


def composed(name: str, ground: Part, parts: Sequence[Part], steel: Steel | None = None) -> Scene:
    """The upper envelope of a ground line all round and the parts that stand before it."""

    def top(azimuth: Floats) -> tuple[Floats, Any]:
        best, owner = ground.shape(azimuth), np.zeros(len(azimuth), dtype=int)
        for i, part in enumerate(parts, start=1):
            inside = in_sector(azimuth, part.from_deg, part.to_deg)
            value = np.where(inside, part.shape(azimuth), -90.0)
            owner = np.where(value > best, i, owner)
            best = np.maximum(best, value)
        return best, owner

    edges = wrap360([side for part in parts for side in (part.from_deg, part.to_deg)])
    grid = np.arange(0.0, 360.0, GRID_DEG)
    node = np.union1d(np.round(grid, 6), np.round(edges, 6))
    before, _ = top(floats(wrap360(node - SIDE_DEG)))
    after, _ = top(floats(wrap360(node + SIDE_DEG)))
    steps = np.abs(after - before) > 1e-4
    azimuth = np.concatenate([node, node[steps]])
    elevation = np.concatenate([before, after[steps]])
    order = np.argsort(azimuth, kind="stable")

    _, seen = top(np.arange(0.0, 360.0, GRID_DEG) + GRID_DEG / 2)
    owner = _without_chinks(seen)
    starts = np.flatnonzero(owner != np.roll(owner, 1)).tolist()
    # One thing alone has a sector of 360 degrees, the whole circle.
    ends = [*starts[1:], *starts[:1]] or [len(owner)]
    things = [ground, *parts]
    seen_from_to = [(things[int(owner[i])], i, j) for i, j in zip(starts or [0], ends, strict=True)]
    named = tuple(
        Obstruction(
            one.name, round(i * GRID_DEG, 1), round(j * GRID_DEG, 1), one.kind, one.distance_m
        )
        for one, i, j in seen_from_to
    )
    return Scene(name, azimuth[order], elevation[order], named, steel)


def _without_chinks(owner: Any) -> Any:
    """Nobody gives the ground seen through a chink between two things a name of its own."""
    n, filled = len(owner), owner.copy()
    starts = np.flatnonzero(owner != np.roll(owner, 1))
    for i, j in zip(starts, np.roll(starts, -1), strict=True):
        if owner[i] == 0 and (j - i) % n * GRID_DEG < CHINK_DEG:
            filled[np.arange(i, i + (j - i) % n) % n] = owner[i - 1]
    return filled


def rolling_ground(
    rng: np.random.Generator, name: str, low_deg: float, high_deg: float, waves: int = 6
) -> Part:
    """A smooth closed line between two elevations."""
    k = np.arange(1, waves + 1)
    size, phase = rng.normal(size=waves) / k**0.8, rng.uniform(0, 2 * np.pi, waves)

    def wave(azimuth: Floats) -> Floats:
        return floats(np.sum(size * np.cos(np.radians(azimuth)[..., None] * k + phase), axis=-1))

    around = wave(np.arange(0.0, 360.0, 0.5))
    floor, span = around.min(), np.ptp(around)

    def shape(azimuth: Floats) -> Floats:
        return floats(low_deg + (high_deg - low_deg) * (wave(azimuth) - floor) / span)

    return Part(name, "terrain", 0.0, 360.0, shape)


def _block(
    name: str,
    from_deg: float,
    to_deg: float,
    height_deg: float,
    skew_deg: float = 0.0,
    distance_m: float | None = None,
) -> Part:
    """A flat-roofed block: its top is a level straight edge seen from below."""
    facing = from_deg + float(wrap360(to_deg - from_deg)) / 2 + skew_deg

    def shape(azimuth: Floats) -> Floats:
        across = np.cos(np.radians(angle_between(azimuth, facing)))
        return floats(
            np.degrees(np.arctan(np.tan(np.radians(height_deg)) * np.maximum(across, 0.0)))
        )

    return Part(name, "building", from_deg, to_deg, shape, distance_m)


def _gable(
    name: str,
    from_deg: float,
    to_deg: float,
    eaves_deg: float,
    apex_deg: float,
    distance_m: float | None = None,
) -> Part:
    """A house seen at its gable end: two straight slopes meet at the apex."""
    width = float(wrap360(to_deg - from_deg))
    middle = from_deg + width / 2

    def shape(azimuth: Floats) -> Floats:
        turn = floats(angle_between(azimuth, middle))
        left = great_circle_elevation(turn, -width / 2, eaves_deg, 0.0, apex_deg)
        right = great_circle_elevation(turn, 0.0, apex_deg, width / 2, eaves_deg)
        return floats(np.where(turn < 0, left, right))

    return Part(name, "building", from_deg, to_deg, shape, distance_m)


def _crowns(
    rng: np.random.Generator,
    name: str,
    from_deg: float,
    to_deg: float,
    height_deg: float,
    lump_deg: float = 7.0,
    distance_m: float | None = None,
) -> Part:
    """Round crowns of different heights that overlap, each with smaller lumps on it."""
    width = float(wrap360(to_deg - from_deg))
    count = max(2, round(width / lump_deg))
    half = lump_deg * rng.uniform(0.62, 0.8, count)
    # The outer crowns end where the sector ends.
    centre = half + (width - 2 * half) * np.linspace(0.0, 1.0, count)
    centre[1:-1] += rng.normal(size=count - 2) * lump_deg * 0.12
    top = height_deg * rng.uniform(0.72, 1.0, count)
    k, phase = width / np.array([4.1, 2.3]), rng.uniform(0, 2 * np.pi, 2)

    def shape(azimuth: Floats) -> Floats:
        along = floats(wrap360(azimuth - from_deg))[..., None]
        round_off = np.sqrt(np.clip(1 - ((along - centre) / half) ** 2, 0.0, None))
        lumps = 1 + 0.015 * np.sin(2 * np.pi * along / width * k + phase).sum(axis=-1)
        return floats((top * round_off).max(axis=-1) * lumps)

    return Part(name, "deciduous", from_deg, to_deg, shape, distance_m)


def _spires(
    rng: np.random.Generator,
    name: str,
    from_deg: float,
    to_deg: float,
    height_deg: float,
    distance_m: float | None = None,
) -> Part:
    """Conifers side by side: pointed tops, dense below."""
    width = float(wrap360(to_deg - from_deg))
    count = max(3, round(width / 2.6))
    centre = np.linspace(0.0, 1.0, count) * width + rng.normal(size=count) * 0.5
    top = height_deg * rng.uniform(0.8, 1.0, count)
    slope = rng.uniform(1.6, 3.0, count)

    def shape(azimuth: Floats) -> Floats:
        along = floats(wrap360(azimuth - from_deg))[..., None]
        spire = (top - slope * np.abs(along - centre)).max(axis=-1)
        return floats(np.maximum(spire, 0.7 * height_deg))

    return Part(name, "evergreen", from_deg, to_deg, shape, distance_m)


def _mast(name: str, centre_deg: float, top_deg: float) -> Part:
    sides = (centre_deg - MAST_DEG / 2, centre_deg + MAST_DEG / 2)
    return Part(name, "pole or wire", *sides, lambda azimuth: np.full(np.shape(azimuth), top_deg))


def ridge(seed: int = 0) -> Scene:
    """An open place below a smooth ridge."""
    rng = np.random.default_rng([seed, 101])
    return composed("ridge", rolling_ground(rng, "ridge", 3.0, 21.0), ())


def open_meadow(seed: int = 0) -> Scene:
    """A low far ridge and one distant row of trees."""
    rng = np.random.default_rng([seed, 102])
    ground = rolling_ground(rng, "far ridge", 1.0, 7.0, waves=5)
    return composed(
        "open meadow", ground, (_crowns(rng, "field trees", 246.0, 268.0, 9.0, lump_deg=5.0),)
    )


def _street_parts(rng: np.random.Generator) -> list[Part]:
    nudge = rng.uniform(-2.0, 2.0, 6)
    return [
        _block(
            "east block", 78.3 + nudge[0], 104.6 + nudge[0], 27.0, skew_deg=9.0, distance_m=22.0
        ),
        _gable("gable house", 121.7 + nudge[1], 143.2 + nudge[1], 15.0, 24.5, distance_m=30.0),
        _block("corner block", 151.4 + nudge[2], 170.9 + nudge[2], 30.0, distance_m=19.0),
        _crowns(rng, "lime trees", 184.0 + nudge[3], 217.0 + nudge[3], 26.0, distance_m=18.0),
        _block("west block", 228.8 + nudge[4], 262.3 + nudge[4], 22.5, skew_deg=-12.0),
        _block("sheds", 301.2 + nudge[5], 339.5 + nudge[5], 12.0, distance_m=40.0),
    ]


def street(seed: int = 0, mast: bool = False) -> Scene:
    """Flat-roofed blocks, a gable and lumpy crowns along a street; a thin mast to the south."""
    rng = np.random.default_rng([seed, 103])
    ground, parts = rolling_ground(rng, "far hills", 2.0, 6.0), _street_parts(rng)
    if mast:
        parts.append(_mast("mast", 177.4, 43.0))
    return composed("street with mast" if mast else "street", ground, parts)


def forest_edge(seed: int = 0) -> Scene:
    """A wall of conifers from the south-east to the west, open elsewhere."""
    rng = np.random.default_rng([seed, 104])
    ground = rolling_ground(rng, "far ridge", 2.0, 8.0)
    return composed(
        "forest edge",
        ground,
        (
            _spires(rng, "spruce forest", 118.0, 251.0, 24.0, distance_m=45.0),
            _crowns(rng, "beech", 96.0, 118.0, 17.0),
        ),
    )


def steel_roof(seed: int = 0) -> Scene:
    """The street, seen from a sheet steel roof that turns the compass."""
    calm = street(seed)
    steel = Steel(
        steady_ut=(-0.6, 1.4, 0.9), turning_ut=(0.5, -0.7, 0.4), turning_azimuth_deg=130.0
    )
    return replace(calm, name="steel roof", steel=steel)


def courtyard(seed: int = 0) -> Scene:
    """A hard place: tall facades close by, a tree within, a mast, a gap to the south-west."""
    rng = np.random.default_rng([seed, 105])
    ground = rolling_ground(rng, "far hills", 2.0, 5.0)
    return composed(
        "courtyard",
        ground,
        (
            _block("north wing", 322.0, 41.5, 48.0, distance_m=9.0),
            _block("east wing", 41.5, 112.4, 39.0, skew_deg=4.0, distance_m=12.0),
            _gable("stair house", 126.8, 149.3, 33.0, 47.0, distance_m=14.0),
            _crowns(rng, "plane tree", 156.0, 193.0, 38.0, lump_deg=9.0, distance_m=11.0),
            _mast("lamp mast", 204.6, 41.0),
            _block("workshop", 233.5, 322.0, 25.0, distance_m=16.0),
        ),
    )


def facade(seed: int = 0) -> Scene:
    """Right below a facade of 80 degrees, with a canopy on one side of the sky."""
    rng = np.random.default_rng([seed, 106])
    ground = rolling_ground(rng, "far ridge", 3.0, 9.0)
    return composed(
        "facade",
        ground,
        (
            _block("facade", 292.0, 68.0, 80.0, distance_m=1.5),
            _crowns(rng, "canopy", 68.0, 118.0, 72.0, lump_deg=14.0, distance_m=4.0),
        ),
    )
