"""Invented roofs and what stands around them, for `whole_roof.py`."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from logger.access import Plane
from logger.arrays import Floats, floats
from logger.simulation.place import Box, Crown, Place, Pole


@dataclass(frozen=True)
class Roof:
    """A rectangle on a plane, what stands around it, and where a surveyor would sweep it."""

    place: Place
    plane: Plane
    corner_m: tuple[float, float, float]  # Lower left, looking up the slope
    width_m: float
    slope_m: float
    swept: tuple[tuple[float, float], ...]  # Shares of width and slope; two points, then a third

    def at(self, across: float, along: float) -> Floats:
        """East, north and up of a share of width and slope. [m] Shape (3,)"""
        a, t = np.radians([self.plane.azimuth_deg, self.plane.tilt_deg])
        # Along the eaves to the right of one who looks up the slope, and up the slope.
        right = floats([-np.cos(a), np.sin(a), 0.0])
        up = floats([-np.sin(a) * np.cos(t), -np.cos(a) * np.cos(t), np.sin(t)])
        return floats(
            floats(self.corner_m) + across * self.width_m * right + along * self.slope_m * up
        )


ROOFS = (
    Roof(
        Place(
            "yard",
            (
                Box("neighbour", 9.0, -13.0, 11.0, 8.0, 8.5, 12.0),
                Crown("lime", -7.0, -10.0, 3.2, 6.0, 3.8),
                Crown("pear", 1.0, -15.0, 2.0, 4.6, 2.4),
                Pole("mast", 3.2, -6.5, 0.25, 10.0),
                Box("shed", -15.0, -2.0, 5.0, 4.0, 6.0, -20.0),
            ),
            seed=1,
        ),
        Plane("south roof", 30.0, 180.0),
        (-4.5, -3.0, 3.2),
        9.0,
        6.0,
        ((0.15, 0.2), (0.85, 0.8), (0.85, 0.15)),
    ),
    Roof(
        Place(
            "street",
            (
                Box("number 4", -16.0, -14.0, 12.0, 9.0, 11.0, 5.0),
                Box("number 6", -2.0, -15.5, 13.0, 9.0, 12.5, 5.0),
                Box("number 8", 13.0, -16.0, 12.0, 9.0, 10.0, 5.0),
                Pole("lamp", -6.0, -7.0, 0.3, 8.5),
                Crown("plane tree", 9.0, -8.5, 2.6, 7.0, 2.6),
            ),
            seed=2,
        ),
        Plane("street roof", 35.0, 185.0),
        (-5.0, -3.0, 5.5),
        10.0,
        6.5,
        ((0.15, 0.5), (0.85, 0.5), (0.5, 0.15)),
    ),
    Roof(
        Place(
            "wood edge",
            (
                Crown("ash", -11.0, -6.0, 3.5, 8.0, 5.0),
                Crown("oak", -6.0, -14.0, 4.5, 8.0, 5.5),
                Crown("birch", 1.5, -12.0, 2.0, 8.0, 4.5),
                Crown("spruce", 7.0, -10.0, 2.2, 7.0, 6.5, "evergreen"),
                Box("barn", 16.0, -4.0, 9.0, 14.0, 9.0, 25.0),
            ),
            seed=3,
        ),
        Plane("long roof", 25.0, 170.0),
        (-4.0, -2.5, 3.0),
        8.0,
        5.0,
        ((0.2, 0.2), (0.8, 0.7), (0.5, 0.9)),
    ),
    Roof(
        Place(
            "flat top",
            (
                Box("stair head", 6.2, 1.5, 2.6, 2.2, 8.4, 8.0),
                Box("tower", -14.0, -19.0, 9.0, 9.0, 24.0, 30.0),
                Pole("flue", -2.0, -5.2, 0.5, 7.4),
                Box("hall", 12.0, -22.0, 22.0, 10.0, 11.0, -8.0),
            ),
            seed=4,
        ),
        Plane("flat top", 10.0, 200.0),
        (-4.5, -4.5, 6.2),
        9.0,
        8.0,
        ((0.2, 0.25), (0.75, 0.8), (0.8, 0.2)),
    ),
    Roof(
        Place(
            "farm",
            (
                Pole("silo", -10.0, -9.0, 4.2, 13.0, "building"),
                Box("byre", -1.0, -17.0, 16.0, 7.0, 7.5, -4.0),
                Crown("walnut", 8.5, -6.5, 3.0, 5.5, 3.2),
                Crown("cypress", 5.0, -9.5, 1.0, 5.0, 4.5, "evergreen"),
                Box("garage", 15.0, 2.0, 6.0, 6.0, 5.5, 0.0),
            ),
            seed=5,
            ridge_high_deg=8.0,
        ),
        Plane("house", 40.0, 160.0),
        (-4.0, -2.0, 3.0),
        8.5,
        6.0,
        ((0.2, 0.8), (0.85, 0.25), (0.2, 0.15)),
    ),
    Roof(
        Place(
            "gables",
            (
                Box("rectory", -9.0, -13.0, 12.0, 8.0, 5.5, 15.0, ridge_m=4.0),
                Box("cottage", 6.5, -12.5, 7.0, 10.0, 5.0, 100.0, ridge_m=3.5),
                Box("hedge", 0.0, -6.5, 14.0, 1.2, 4.2, 4.0, kind="evergreen"),
                Box("coach house", 13.5, 1.0, 7.0, 9.0, 4.5, 10.0, ridge_m=3.0),
            ),
            seed=6,
        ),
        Plane("verandah", 20.0, 185.0),
        (-5.0, -2.5, 2.6),
        9.5,
        5.0,
        ((0.15, 0.3), (0.85, 0.7), (0.5, 0.1)),
    ),
    Roof(
        Place(
            "avenue",
            (
                *(Crown("poplars", -9.0 + 3.6 * i, -12.0 - 0.5 * i, 1.2, 8.0, 6.5)
                  for i in range(5)),
                *(Pole("posts", 5.0 + 2.5 * i, -7.0, 0.3, 9.0) for i in range(3)),
                Box("kiosk", -13.0, -1.0, 4.0, 5.0, 6.5, 12.0),
            ),
            seed=7,
        ),
        Plane("canopy", 15.0, 175.0),
        (-5.0, -3.0, 3.5),
        10.0,
        6.0,
        ((0.2, 0.2), (0.8, 0.8), (0.8, 0.15)),
    ),
    Roof(
        Place(
            "courtyard",
            (
                Box("school", -8.0, -13.0, 14.0, 6.0, 10.0, 0.0),
                Box("school", -12.0, -6.0, 6.0, 9.0, 10.0, 0.0),
                Crown("cherry", 7.0, -1.0, 2.2, 5.0, 2.5),
                Box("wall", 2.0, -6.2, 11.0, 0.4, 5.0, 3.0),
                Pole("chimney", -3.0, -4.6, 0.8, 6.5),
            ),
            seed=8,
        ),
        Plane("gym", 12.0, 180.0),
        (-4.5, -3.0, 3.4),
        9.0,
        6.0,
        ((0.15, 0.2), (0.85, 0.8), (0.85, 0.15)),
    ),
)  # fmt: skip
