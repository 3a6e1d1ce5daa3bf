"""What a reader of an answer would not guess, and what mends it."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np

from logger.access.result import YEAR, PlaneResult
from logger.access.surroundings import CROWN_KIND

if TYPE_CHECKING:
    from logger.access.point import Point

WORTH_TELLING = 0.005
"""Share of the year's light that something must take to be told of."""

UNKNOWN_KIND = "other"


def notes_of(
    point: Point, planes: Sequence[PlaneResult]
) -> tuple[tuple[str, ...], tuple[str, ...]]:
    """Notes, and hints for whoever works with the program."""
    settings = point.year.settings
    notes, hints = [], []
    if not point.year.skies.sky.is_known:
        notes.append("without weather no kWh are told")
        hints.append("give the job weather: horizon-logger weather JOB FILE, or --weather FILE")
    if settings.draws == 0:
        notes.append("nothing was drawn: low and high say nothing of errors")
    elif not point.uncertainty.is_surveyed:
        notes.append("the horizon comes without errors: low and high say nothing of the survey")
    if not point.is_complete:
        known = all(np.isfinite(plane.solar_access.annual) for plane in planes)
        notes.append(
            "parts of the horizon were not measured: "
            + (
                "they matter little and are taken as straight across"
                if known
                else "solar access is not known, low is with them blocked and high with them open"
            )
        )
        if point.horizon.least_deg is not None:
            notes.append("where not measured, elevation data tell the least that stands there")
    taken = _taken(planes)
    worth = {name: kind for name, (kind, share) in taken.items() if share >= WORTH_TELLING}
    if crowns := [name for name, kind in worth.items() if kind == CROWN_KIND]:
        notes.append(f"in leaf and bare by season: {', '.join(crowns)}")
    if solid := [name for name, kind in worth.items() if kind == UNKNOWN_KIND]:
        notes.append(f"kind not known, treated as solid all year: {', '.join(solid)}")
    unnamed = unnamed_share(planes)
    if unnamed >= WORTH_TELLING:
        notes.append(
            f"{100 * unnamed:.1f} % of the year's light is blocked by what has no name, taken as "
            "solid: a bare tree among it would let more light through in winter"
        )
        hints.append(
            "name it while sweeping, with horizon-logger edit name-sector, or in the obstruction "
            "column of a horizon file"
        )
    return tuple(notes), tuple(hints)


def unnamed_share(planes: Sequence[PlaneResult]) -> float:
    """Share of the year's light that is blocked by what nobody named."""
    return sum(share for kind, share in _taken(planes).values() if not kind)


def _taken(planes: Sequence[PlaneResult]) -> dict[str, tuple[str, float]]:
    """Kind of each obstruction, and what it takes of the plane that it takes most of."""
    taken: dict[str, tuple[str, float]] = {}
    for plane in planes:
        of_plane: dict[str, float] = {}
        for o in plane.by_obstruction:
            share = float(np.nan_to_num(o.loss_fraction[YEAR]))
            of_plane[o.name] = of_plane.get(o.name, 0.0) + share
            taken[o.name] = o.kind, max(taken.get(o.name, ("", 0.0))[1], of_plane[o.name])
    return taken
