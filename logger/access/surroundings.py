"""What stands around a point: what lets no light through, and before it crowns that let some.

Deciduous obstructions are crowns; all else is solid all year. What stands behind a crown was never
seen: it is taken straight across from one side of the crown to the other.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import ArrayLike

from logger.access.outline import outline_cuts
from logger.access.sectors import slope_ends, straight_across
from logger.arrays import Floats, Ints, floats
from logger.geometry import in_sector, interpolate_azimuthal, wrap360
from logger.horizon import HorizonProfile, Obstruction

CROWN_KIND = "deciduous"

BESIDE_DEG = 3.0
"""Within this of a named sector its own end stands, and not the outline's. [deg]"""


@dataclass(frozen=True)
class Stretch:
    """A part of the skyline that losses are told by."""

    name: str  # Its azimuths where nobody named it
    kind: str  # Of the obstruction; empty where nobody named it
    # Clockwise. [deg]
    from_azimuth_deg: float
    to_azimuth_deg: float


@dataclass(frozen=True, eq=False)
class Names:
    """Who is to blame at each azimuth of one layer.

    The circle is cut where a named sector starts or ends; where sectors overlap they share
    equally. What nobody named is a stretch of its own.
    """

    # Sorted starts of the intervals; the last runs on to the first. [deg] Shape (J,).
    cut_deg: Floats
    share: Floats  # Of each stretch in each interval; rows sum to 1. Shape (J, K).
    stretches: tuple[Stretch, ...]

    def interval_at(self, azimuth_deg: Floats) -> Ints:
        """The interval each azimuth (0 to 360) falls in. Shape (N,)."""
        found = np.searchsorted(self.cut_deg, azimuth_deg, side="right") - 1
        return np.where(found < 0, len(self.cut_deg) - 1, found)


def names_of(sectors: Sequence[Obstruction], outline_deg: ArrayLike = ()) -> Names:
    """Lay out named sectors around the circle; what nobody named is cut where its outline tells."""
    ends = [wrap360(x) for o in sectors for x in (o.from_azimuth_deg, o.to_azimuth_deg)]
    named = np.zeros(np.size(outline_deg), dtype=bool)
    for o in sectors:
        wide = (o.from_azimuth_deg - BESIDE_DEG, o.to_azimuth_deg + BESIDE_DEG)
        named |= in_sector(outline_deg, *wide)
    ends += [*floats(outline_deg)[~named]]
    cuts = floats(np.unique(ends or [0.0]))
    following = np.append(cuts[1:], cuts[0] + 360.0)
    middle = wrap360((cuts + following) / 2)
    inside = np.zeros((len(cuts), len(sectors)))
    for k, o in enumerate(sectors):
        inside[:, k] = in_sector(middle, o.from_azimuth_deg, o.to_azimuth_deg)
    rest = np.flatnonzero(inside.sum(axis=1) == 0)
    of_sectors = [Stretch(o.name, o.kind, o.from_azimuth_deg, o.to_azimuth_deg) for o in sectors]
    unnamed = [_unnamed(float(cuts[j]), float(following[j])) for j in rest]
    alone = np.zeros((len(cuts), len(rest)))
    alone[rest, np.arange(len(rest))] = 1.0
    share = np.concatenate([inside, alone], axis=1)
    return Names(cuts, share / share.sum(axis=1, keepdims=True), (*of_sectors, *unnamed))


def _unnamed(start: float, end: float) -> Stretch:
    to = end if end - start >= 360.0 else float(wrap360(end))
    return Stretch(f"{start:.0f} to {to:.0f}°", "", start, to)


@dataclass(frozen=True, eq=False)
class Layer:
    """A skyline, nowhere lower than that of the layer behind it."""

    profile: HorizonProfile  # Complete
    opacity: Floats  # Share of the light between the layer behind and this one that is lost; (12,)
    names: Names

    def height_at(self, azimuth_deg: Floats) -> Floats:
        """Elevation of the skyline, not below level. [deg]"""
        own = self.profile
        height = interpolate_azimuthal(azimuth_deg, own.azimuth_deg, own.elevation_deg)
        return floats(np.maximum(height, 0.0))


def crowns_of(profile: HorizonProfile) -> tuple[Obstruction, ...]:
    """The named sectors that let light through."""
    return tuple(o for o in profile.obstructions if o.kind == CROWN_KIND)


def without_crowns(profile: HorizonProfile) -> HorizonProfile:
    """What is solid."""
    for o in crowns_of(profile):
        profile = straight_across(profile, o)
    return profile.with_obstructions([o for o in profile.obstructions if o.kind != CROWN_KIND])


def layers_of(profile: HorizonProfile, transmittance: Floats) -> tuple[Layer, ...]:
    """A complete skyline as one solid layer, or a solid one and crowns before it."""
    crowns = crowns_of(profile)
    solid = without_crowns(profile)
    solid_names = names_of(solid.obstructions, outline_cuts(solid))
    layers = [Layer(solid, np.ones(12), solid_names)]
    if crowns:
        # The slopes that lead up to a crown are its own as well.
        wide = [
            replace(o, from_azimuth_deg=start, to_azimuth_deg=end)
            for o in crowns
            for start, end in (slope_ends(profile, o),)
        ]
        layers.append(Layer(profile, 1.0 - transmittance, names_of(wide)))
    return tuple(layers)
