"""Sectors of a skyline given other elevations: the one way in which a horizon is changed here.

A skyline read with straight lines climbs to an obstruction over the gap between two nodes, and a
label's border falls somewhere on that slope: what takes the obstruction away takes its slopes too.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np

from logger.arrays import Bools, Floats, floats
from logger.geometry import in_sector, wrap360
from logger.horizon import HorizonProfile, Obstruction

LONGEST_SLOPE_DEG = 15.0
_BESIDE_DEG = 1e-7


@dataclass(frozen=True, eq=False)
class Sector:
    """Which nodes of a profile belong to an obstruction, and the slopes that lead up to it."""

    obstruction: Obstruction
    # Nodes of the sector, and of the slopes before and behind it. Shape (K,).
    inside: Bools
    left: Bools
    right: Bools
    # The skyline beside the obstruction, where the slopes start. [deg]
    left_deg: float
    right_deg: float

    def lowered(self, profile: HorizonProfile, to_deg: float | None = None) -> Floats:
        """Elevations with the sector no higher than an angle, or than straight across it."""
        left, right = self.left_deg, self.right_deg
        if to_deg is None:
            o = self.obstruction
            width = float(wrap360(o.to_azimuth_deg - o.from_azimuth_deg)) or 360.0
            along = wrap360(profile.azimuth_deg - o.from_azimuth_deg)
            limit = left + (right - left) * np.clip(along / width, 0.0, 1.0)
        else:
            limit = np.full(len(profile), to_deg)
            left, right = max(left, to_deg), max(right, to_deg)
        limit = np.select([self.inside, self.left, self.right], [limit, left, right], np.inf)
        return floats(np.minimum(profile.elevation_deg, limit))


Edit = Callable[[HorizonProfile, Sector], Floats]


def changed_sector(profile: HorizonProfile, o: Obstruction, edit: Edit) -> HorizonProfile:
    """The profile with other elevations in an obstruction's sector."""
    split = with_ends(profile, o)
    return replace(split, elevation_deg=edit(split, sector_of(split, o)))


def straight_across(profile: HorizonProfile, o: Obstruction) -> HorizonProfile:
    """Without an obstruction: straight across from one side of it to the other."""
    return changed_sector(profile, o, lambda split, sector: sector.lowered(split))


def slope_ends(profile: HorizonProfile, o: Obstruction) -> tuple[float, float]:
    """Where an obstruction starts and ends with the slopes that lead up to it. [deg]"""
    split = with_ends(profile, o)
    sector = sector_of(split, o)
    start, end = o.from_azimuth_deg, o.to_azimuth_deg
    before = wrap360(start - split.azimuth_deg[sector.left])
    behind = wrap360(split.azimuth_deg[sector.right] - end)
    return start - float(max(before, default=0.0)), end + float(max(behind, default=0.0))


def sector_of(profile: HorizonProfile, o: Obstruction) -> Sector:
    """Sort the nodes of a profile out."""
    nobody = np.zeros(len(profile), dtype=bool)
    if o.to_azimuth_deg - o.from_azimuth_deg >= 360.0:
        return Sector(o, ~nobody, nobody, nobody, 0.0, 0.0)
    at = profile.azimuth_deg
    inside = np.asarray(in_sector(at, o.from_azimuth_deg, o.to_azimuth_deg), dtype=bool)
    left, left_deg = _slope(profile, ~inside, wrap360(o.from_azimuth_deg - at))
    right, right_deg = _slope(profile, ~inside, wrap360(at - o.to_azimuth_deg))
    return Sector(o, inside, left, right & ~left, left_deg, right_deg)


def _slope(profile: HorizonProfile, outside: Bools, away_deg: Floats) -> tuple[Bools, float]:
    """Nodes between a sector and the next node at least a degree away, and the lowest of all."""
    beyond = away_deg[outside & (away_deg >= 1.0)]
    reach = float(beyond.min()) if beyond.size else 360.0
    slope = outside & (away_deg <= min(reach, LONGEST_SLOPE_DEG))
    seen = profile.elevation_deg[slope & profile.known]
    return slope, float(seen.min()) if seen.size else 0.0


def with_ends(profile: HorizonProfile, o: Obstruction) -> HorizonProfile:
    """The same skyline with a node on either side of both ends of an obstruction."""
    if o.to_azimuth_deg - o.from_azimuth_deg >= 360.0:
        return profile
    ends = np.array([o.from_azimuth_deg, o.to_azimuth_deg])
    return with_nodes(profile, np.concatenate([ends - _BESIDE_DEG, ends + _BESIDE_DEG]))


def with_nodes(profile: HorizonProfile, azimuth_deg: Floats) -> HorizonProfile:
    """The same skyline with more nodes."""
    at = wrap360(azimuth_deg)
    after = np.searchsorted(profile.azimuth_deg, at) % len(profile)
    before = after - 1
    gap = wrap360(profile.azimuth_deg[after] - profile.azimuth_deg[before])
    share = wrap360(at - profile.azimuth_deg[before]) / np.where(gap > 0, gap, 360.0)

    def column(values: Floats) -> Floats:
        between = values[before] + (values[after] - values[before]) * share
        return floats(np.concatenate([values, between]))

    known = profile.known
    return replace(
        profile,
        azimuth_deg=np.concatenate([profile.azimuth_deg, at]),
        elevation_deg=column(np.where(known, profile.elevation_deg, np.nan)),
        standard_error_deg=column(profile.standard_error_deg),
        measured=np.concatenate([known, known[before] & known[after]]),
        distance_m=column(profile.distance_m),
    )


def outside(o: Obstruction, from_deg: float, to_deg: float) -> list[Obstruction]:
    """What is left of a sector without the part that another one takes."""
    width = float(wrap360(o.to_azimuth_deg - o.from_azimuth_deg)) or 360.0
    start, end = (float(wrap360(x - o.from_azimuth_deg)) for x in (from_deg, to_deg))
    if start >= width and end >= width:
        return [o] if start <= end else []
    left = [replace(o, to_azimuth_deg=float(wrap360(from_deg)))] if 0 < start < width else []
    right = [replace(o, from_azimuth_deg=float(wrap360(to_deg)))] if end < width else []
    return left + right
