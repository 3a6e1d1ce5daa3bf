"""What stands around a point, as layers that each hide part of the sky behind them.

A measured horizon is one opaque layer. What is added or made seasonal stands in layers of its own,
each with a transmittance by month: light that passes under the skylines of several layers is
multiplied by the transmittance of each. At height z above the horizon the share lost is
``1 - product of transmittance of layers that reach above z``; it is shared between those layers in
proportion to what each would take alone, ``1 - transmittance``.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from logger.arrays import Floats, Ints, floats
from logger.geometry import in_sector, wrap360
from logger.horizon import HorizonProfile, Obstruction

UNNAMED = "unnamed skyline"
OPAQUE = (0.0,) * 12


@dataclass(frozen=True)
class Layer:
    """One skyline and how much light passes through what lies under it."""

    profile: HorizonProfile
    transmittance: tuple[float, ...] = OPAQUE  # By month, 0 opaque to 1 not there
    # Of all it takes; None leaves it to the profile's labelled obstructions
    name: str | None = None
    measured: bool = True  # Whether the errors of the survey apply to it

    def __post_init__(self) -> None:
        if len(self.transmittance) != 12 or not all(0 <= t <= 1 for t in self.transmittance):
            raise ValueError("transmittance must be twelve numbers from 0 to 1")

    @property
    def obstructions(self) -> tuple[Obstruction, ...]:
        """The named sectors of it."""
        return self.profile.obstructions if self.name is None else ()


@dataclass(frozen=True)
class Surroundings:
    """All layers around one point."""

    layers: tuple[Layer, ...]  # At least one
    changes: tuple[str, ...] = ()  # What was changed from the survey, in words

    def __post_init__(self) -> None:
        if not self.layers:
            raise ValueError("surroundings need at least one layer")

    @classmethod
    def of(cls, horizon: HorizonProfile | Surroundings) -> Surroundings:
        """A bare horizon as one opaque layer; surroundings as they are."""
        return horizon if isinstance(horizon, Surroundings) else cls((Layer(horizon),))

    def filled(self, unmeasured_deg: float) -> Surroundings:
        """Every unmeasured sector at a given elevation."""
        return Surroundings(
            tuple(
                Layer(x.profile.filled(unmeasured_deg), x.transmittance, x.name, x.measured)
                for x in self.layers
            ),
            self.changes,
        )

    @property
    def complete(self) -> bool:
        """Whether every sector was measured."""
        return all(bool(layer.profile.known.all()) for layer in self.layers)

    @property
    def transmittance(self) -> Floats:
        """By layer and month. Shape (L, 12)."""
        return floats([layer.transmittance for layer in self.layers])


@dataclass(frozen=True, eq=False)
class Names:
    """Who is to blame at each azimuth of one layer.

    The circle is cut where a named sector starts or ends; where sectors overlap they share
    equally, and where there is none the skyline is unnamed.
    """

    # Sorted starts of the intervals; the last runs on to the first. [deg] Shape (J,).
    cut_deg: Floats
    share: Floats  # Of each name in each interval; rows sum to 1. Shape (J, K).
    names: tuple[str, ...]
    sectors: tuple[tuple[float, float] | None, ...]  # [deg]

    def interval_at(self, azimuth_deg: Floats) -> Ints:
        """The interval each azimuth (0 to 360) falls in. Shape (N,)."""
        found = np.searchsorted(self.cut_deg, azimuth_deg, side="right") - 1
        return np.where(found < 0, len(self.cut_deg) - 1, found)


def names_of(layer: Layer) -> Names:
    """Lay out the named sectors of a layer; the last name is the unnamed rest (or the layer's)."""
    sectors: Sequence[Obstruction] = layer.obstructions
    if not sectors:
        name = UNNAMED if layer.name is None else layer.name
        return Names(floats([0.0]), np.ones((1, 1)), (name,), (None,))
    cuts = np.unique([wrap360(x) for o in sectors for x in (o.from_azimuth_deg, o.to_azimuth_deg)])
    following = np.append(cuts[1:], cuts[0] + 360.0)
    middle = wrap360((cuts + following) / 2)
    inside = np.stack(
        [in_sector(middle, o.from_azimuth_deg, o.to_azimuth_deg) for o in sectors], axis=1
    ).astype(float)
    count = inside.sum(axis=1, keepdims=True)
    share = np.concatenate([inside / np.maximum(count, 1.0), (count == 0).astype(float)], axis=1)
    return Names(
        floats(cuts),
        share,
        (*(o.name for o in sectors), UNNAMED),
        (*((o.from_azimuth_deg, o.to_azimuth_deg) for o in sectors), None),
    )


def shared_loss(height: Floats, hidden: Floats, transmittance: Floats) -> Floats:
    """What each layer takes of light that arrives over a range of heights."""
    layers = len(height)
    opacity = np.broadcast_to(1.0 - transmittance, height.shape)
    if layers == 1:
        return floats(hidden * opacity)
    order = np.argsort(height, axis=0, kind="stable")
    sorted_hidden = np.take_along_axis(hidden, order, axis=0)
    sorted_opacity = np.take_along_axis(opacity, order, axis=0)
    slice_of = np.diff(sorted_hidden, axis=0, prepend=np.zeros((1, *hidden.shape[1:])))
    # From the top slice down: which layers reach above it, what passes them all.
    passes = np.cumprod((1.0 - sorted_opacity)[::-1], axis=0)[::-1]
    reach = np.cumsum(sorted_opacity[::-1], axis=0)[::-1]
    rate = np.divide(slice_of * (1.0 - passes), reach, out=np.zeros(hidden.shape), where=reach > 0)
    # Layer k stands before every slice up to its own height.
    taken = sorted_opacity * np.cumsum(rate, axis=0)
    result = np.empty(hidden.shape)
    np.put_along_axis(result, order, taken, axis=0)
    return floats(result)
