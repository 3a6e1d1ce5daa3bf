"""The invented skylines by name, and the roof that two of them belong to."""

from __future__ import annotations

from collections.abc import Callable
from typing import TypeAlias

from logger.errors import UsageError
from logger.simulation.place import Box, Crown, Place, Pole
from logger.simulation.scene import Scene
from logger.simulation.scenery import (
    courtyard,
    facade,
    forest_edge,
    open_meadow,
    ridge,
    steel_roof,
    street,
)

SWALLOW_HOUSE = Place(
    "swallow house",
    (
        Box("neighbour's house", 10.0, -12.0, 10.0, 8.0, 9.0, 15.0),
        Crown("walnut", -7.5, -8.5, 3.0, 5.6, 3.4),
        Box("barn", -16.0, 1.0, 6.0, 9.0, 7.0, -10.0),
        Pole("flagpole", 2.5, -7.5, 0.25, 9.0),
    ),
    seed=2026,
)
"""What stands around a roof, seen from its middle of the eaves as origin."""

WEST_EAVE, EAST_RIDGE = (-3.3, -2.1, 3.9), (3.2, 1.0, 5.9)
"""Two points on it: east, north, up. [m]"""


Maker: TypeAlias = Callable[[int], Scene]
SCENES: dict[str, Maker] = {
    "ridge": ridge,
    "open-meadow": open_meadow,
    "street": street,
    "street-with-mast": lambda seed: street(seed, mast=True),
    "forest-edge": forest_edge,
    "steel-roof": steel_roof,
    "courtyard": courtyard,
    "facade": facade,
    # From the roof of the swallow house, low on its west and high on its east; always the same
    "west-eave": lambda _seed: SWALLOW_HOUSE.scene(*WEST_EAVE),
    "east-ridge": lambda _seed: SWALLOW_HOUSE.scene(*EAST_RIDGE),
}


def scene_named(name: str, seed: int = 0) -> Scene:
    """One of `SCENES` by its name."""
    if name not in SCENES:
        raise UsageError(f"no scene {name!r}", hint=f"the scenes are {', '.join(SCENES)}")
    return SCENES[name](seed)
