"""The horizon anywhere near the points, from what stands where."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from logger.access.draws import GRID_DEG, SECTOR_MIDDLES
from logger.access.many import Skylines
from logger.access.surroundings import CROWN_KIND
from logger.arrays import Floats, floats
from logger.geometry import interpolate_azimuthal
from logger.parallax.fit import OF_POINT
from logger.parallax.layout import Layout, drawn_layouts
from logger.parallax.parts import name_of
from logger.parallax.swept import AZIMUTHS
from logger.parallax.things import seen, skyline

BEHIND = 6.0
"""Power of a number between 0 and 1 by which something that no point saw may rise to what hid it:
in one draw of twenty it does by three quarters or more (common practice, no source)."""


@dataclass(frozen=True, eq=False)
class Drawn:
    """A layout as it may be: each row one possibility."""

    vector: Floats  # Shape (m, unknowns)
    turn_deg: Floats  # Of all together. Shape (m,)
    lift_deg: Floats
    behind: Floats  # How far what no point saw rises to what hid it, 0 to 1. Shape (m,)

    @classmethod
    def of(cls, layout: Layout, m: int, seed: int = 0) -> Drawn:
        """Draw a layout; all turned and lifted as compass and level may be."""
        rng = np.random.default_rng([seed, 18])
        vector = drawn_layouts(layout, m, rng)
        turn, lift = rng.standard_normal((2, m))
        horizons = [view.point.horizon for view in layout.views]
        return cls(
            vector,
            turn * np.mean([h.heading_error_deg for h in horizons]),
            lift * np.mean([h.level_error_deg for h in horizons]),
            floats(rng.random(m) ** BEHIND),
        )

    @classmethod
    def found(cls, layout: Layout) -> Drawn:
        """The layout as it was found."""
        none = np.zeros(1)
        return cls(layout.vector[None], none, none, none)


def carried(layout: Layout, places_m: Floats, drawn: Drawn, without: str = "") -> Skylines:
    """Horizons at n places, each drawn m times, with or without one of the things.

    Shape (n * m, 720); rows go draw by draw within a place.
    """
    n, m = len(places_m), len(drawn.vector)
    eyes = np.repeat(places_m, m, axis=0)
    solid = np.tile(_far(layout, drawn), (n, 1))
    leafy = any(t.kind == CROWN_KIND and name_of(t.name) != without for t in layout.things)
    crowns = np.zeros_like(solid) if leafy else None
    start = len(layout.views) * OF_POINT
    for thing in layout.things:
        forms = drawn.vector[:, start : start + len(thing.form)]
        start += len(thing.form)
        if name_of(thing.name) == without:
            continue
        bodies = thing.bodies(np.tile(forms, (n, 1)))
        onto = crowns if thing.kind == CROWN_KIND and crowns is not None else solid
        elevation, cell, _ = seen(bodies, eyes, SECTOR_MIDDLES, GRID_DEG)
        skyline(elevation, cell, onto)
    solid = _moved(solid, drawn)
    whole = None if crowns is None else np.maximum(_moved(crowns, drawn), solid)
    return Skylines(solid, whole)


def _far(layout: Layout, drawn: Drawn) -> Floats:
    """What is far, and in its place where none saw it what may be there. Shape (m, 720)."""
    far = interpolate_azimuthal(SECTOR_MIDDLES, AZIMUTHS, layout.far_deg)
    hidden = interpolate_azimuthal(SECTOR_MIDDLES, AZIMUTHS, layout.far_hidden.astype(float)) > 0.5
    least = np.min([view.elevation_deg for view in layout.views], axis=0)
    room = np.maximum(interpolate_azimuthal(SECTOR_MIDDLES, AZIMUTHS, least) - far, 0.0) * hidden
    return floats(far + drawn.behind[:, None] * room)


def _moved(heights: Floats, drawn: Drawn) -> Floats:
    """Horizons turned by whole and part cells, and lifted, draw by draw."""
    if not (drawn.turn_deg.any() or drawn.lift_deg.any()):
        return heights
    m = len(drawn.vector)
    moved = np.empty_like(heights)
    for k, (turn, lift) in enumerate(zip(drawn.turn_deg, drawn.lift_deg, strict=True)):
        cells, share = divmod(turn / GRID_DEG, 1.0)
        one = np.roll(heights[k::m], int(cells), axis=1)
        one += share * (np.roll(one, 1, axis=1) - one)
        moved[k::m] = np.where(one > 0, one + lift, 0.0)
    return moved
