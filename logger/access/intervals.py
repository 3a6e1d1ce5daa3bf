"""How sure a figure is: access under many horizons, skies, crowns and distances that could be.

What drawn horizons take is looked up once in a table, light by light and half day by half day;
access under any sky is then a sum. Everything is drawn together for the whole interval, and each
cause alone, the others at what the printed figures rest on, for what it adds to the width.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Any

import numpy as np

from logger.access.draws import (
    SECTOR_MIDDLES,
    SurveyErrors,
    drawn_elevation,
    has_errors,
    survey_errors,
)
from logger.access.heights import (
    distance_matters,
    drawn_nearness,
    inverse_distance,
    lifted,
    nearness_at,
)
from logger.access.irradiance import KWH_A_MINUTE
from logger.access.leaf import drawn_leaf, middle_leaf
from logger.access.losses import OpenPlane, access
from logger.access.skies import Skies
from logger.access.sun_table import SKY_LEVELS, Singles, SunGrid, lost, sky_table
from logger.access.surroundings import crowns_of, without_crowns
from logger.arrays import Columns, Floats, floats, stacked
from logger.checks import NORMAL_95, PERCENTILES_95
from logger.horizon import HorizonProfile
from logger.settings import Settings
from logger.site import Site

_SOME = 200
"""Draws of the nodes' random errors alone."""
_AT_ONCE = 1000
"""Draws looked up together, for the memory they take."""


@dataclass(frozen=True, eq=False)
class PlaneTable:
    """What skylines take from one plane, by direction."""

    sun: Singles  # Beam of each light, then circumsolar light of each
    sky: Singles


def plane_table(plane: OpenPlane, grid: SunGrid) -> PlaneTable:
    """Sum a plane's year by direction."""
    columns = [light * KWH_A_MINUTE for part in zip(*plane.sunlight, strict=True) for light in part]
    return PlaneTable(grid.table(columns), sky_table(plane.plane))


@dataclass(frozen=True, eq=False)
class Taken(Columns):
    """What skylines take from a plane, light by light."""

    # [kWh/m2] Shape (n, K, 2, 12)
    beam: Floats
    circumsolar: Floats
    view: Floats  # Of the sky. Shape (n, 12)


def taken_by(
    solid_deg: Floats, crowns_deg: Floats | None, tables: Sequence[PlaneTable], grid: SunGrid
) -> list[tuple[Taken, Taken | None]]:
    """What solid skylines take of each plane, and what lies between them and crowns before them."""
    solid = _taken(solid_deg, tables, grid)
    if crowns_deg is None:
        return [(one, None) for one in solid]
    whole = _taken(np.maximum(crowns_deg, solid_deg), tables, grid)
    return [
        (a, Taken(b.beam - a.beam, b.circumsolar - a.circumsolar, b.view - a.view))
        for a, b in zip(solid, whole, strict=True)
    ]


def _taken(height_deg: Floats, tables: Sequence[PlaneTable], grid: SunGrid) -> list[Taken]:
    found = []
    for at in range(0, len(height_deg), _AT_ONCE):
        some = height_deg[at : at + _AT_ONCE]
        skylines, sky = grid.halves(some), SKY_LEVELS.below(some)
        found.append([_of_table(table, skylines, sky) for table in tables])
    return [stacked(of_plane) for of_plane in zip(*found, strict=True)]


def _of_table(table: PlaneTable, skylines: tuple[Any, Any], sky: Any) -> Taken:
    beam, circumsolar = np.split(lost(skylines, table.sun), 2, axis=1)
    return Taken(beam, circumsolar, floats(sky @ table.sky))


@dataclass(frozen=True, eq=False)
class Shares:
    """Solar and beam access under some skies; each of shape (n, 13), months and the year."""

    solar: Floats
    beam: Floats

    def fitted(self, found: Shares, exact: Shares) -> Shares:
        """These, moved by how far one of the table's lies from its exact value.

        What blocks less is moved less, so that nothing blocked stays nothing.
        """
        moved = []
        for name in ("solar", "beam"):
            mine, of_table, known = (getattr(s, name) for s in (self, found, exact))
            share = np.divide(
                1.0 - mine, 1.0 - of_table, out=np.ones(mine.shape), where=1.0 - of_table > 1e-6
            )
            moved.append(mine + (known - of_table) * np.minimum(share, 1.0))
        return Shares(*moved)

    @property
    def median(self) -> Shares:
        """Of all rows, as one."""
        return Shares(*(np.median(x, axis=0, keepdims=True) for x in (self.solar, self.beam)))


def shares(
    plane: OpenPlane,
    taken: tuple[Taken, Taken | None],
    transmittance: Floats,
    sky: Floats,
    circumsolar: Floats,
) -> Shares:
    """Access under skies and skylines, row by row; whatever has one row serves all."""
    solid, crowns = taken
    offered, q = plane.offered, circumsolar[:, None, None, None]
    beam, around, view = solid.beam, solid.circumsolar, solid.view
    if crowns is not None:
        lost = 1.0 - transmittance
        beam = beam + crowns.beam * lost[:, None, None]
        around = around + crowns.circumsolar * lost[:, None, None]
        view = view + crowns.view * lost

    def months(by_light: Floats) -> Floats:
        """Sum over lights and half days. Shape (n, 12)."""
        return floats((sky * by_light).sum(axis=(1, 2)))

    isotropic = months(offered.isotropic + (1.0 - q) * offered.level)
    of_beam = months(offered.beam[None])
    whole = months(offered.beam + q * offered.circumsolar + offered.ground)
    lost_beam = months(beam)
    return Shares(
        access(months(beam + q * around) + view * isotropic, whole + plane.view * isotropic),
        access(lost_beam, of_beam),
    )


@dataclass(frozen=True)
class Part:
    """What one cause adds to the width of the year's interval."""

    cause: str
    width: float  # Of the 95 % interval of annual solar access if this were all; 0 to 1
    remedy: str  # What would make it smaller


REMEDIES = {
    "horizon turned": "calibrate the compass on the spot, check a closing target, "
    "or take a bearing by the sun",
    "horizon too high or low": "calibrate the level, and trace the very edge",
    "single edges": "sweep slowly past the edges that the sun crosses, and twice",
    "sky": "weather of the site: a typical year, or twelve monthly means",
    "leaf": "note in the sweep whether the trees are in leaf or bare",
    "height of the module": "give the distances of what stands near, or sweep at the module",
    "diffuse light": "nothing on site: models of the sky differ",
    "not measured": "sweep what is missing",
}


@dataclass(frozen=True, eq=False)
class Drawn:
    """All that could be of one plane under one horizon."""

    whole: Shares  # Everything drawn
    survey: Shares  # The survey alone, under the middle sky
    median: Shares  # The median over drawn skies, all else as printed; one row
    widths: dict[str, float]  # By cause, of annual solar access


class Uncertainty:
    """What is drawn at one point, for all of its planes."""

    def __init__(self, profile: HorizonProfile, site: Site, settings: Settings) -> None:
        n, seed = settings.draws, settings.seed
        self.is_surveyed = n > 0 and has_errors(profile)
        self._leafy = bool(crowns_of(profile))
        middle, none, ends = nearness_at(0.5), [0.0, 0.0], [-NORMAL_95, NORMAL_95]
        # What is drawn for each purpose: errors, and how near that is whose distance is not known.
        drawn = {"printed": (SurveyErrors.of([0.0], [0.0]), middle)}
        if self.is_surveyed:
            errors = survey_errors(n, seed, profile.correlation_deg)
            some = errors.rows(slice(_SOME))
            drawn |= {
                "survey": (errors, middle),
                "horizon turned": (SurveyErrors.of(ends, none), middle),
                "horizon too high or low": (SurveyErrors.of(none, ends), middle),
                "single edges": (SurveyErrors(0 * some.turn, 0 * some.lift, some.noise), middle),
            }
        if n > 0 and distance_matters(profile):
            errors = survey_errors(n, seed, profile.correlation_deg)
            near = nearness_at([p / 100.0 for p in PERCENTILES_95])
            drawn |= {
                "whole": (errors, drawn_nearness(n, seed)),
                "height of the module": (SurveyErrors.of(none, none), near),
            }
        stops = np.cumsum([0, *(len(errors) for errors, _ in drawn.values())]).tolist()
        self._rows = {name: slice(*rows) for name, rows in zip(drawn, pairwise(stops), strict=True)}
        self._whole = self._rows.get("whole", self._rows.get("survey", self._rows["printed"]))

        def heights(skyline: HorizonProfile) -> Floats:
            """Skylines as the module sees them, all that are drawn one below the other. [deg]"""
            found = []
            for errors, near in drawn.values():
                elevation = drawn_elevation(skyline, errors)
                if profile.rise_m:
                    inverse = inverse_distance(profile, SECTOR_MIDDLES, near)
                    elevation = lifted(elevation, profile.rise_m * inverse)
                found.append(elevation)
            return np.concatenate(found)

        self.solid_deg = heights(without_crowns(profile))
        self.crowns_deg = heights(profile) if self._leafy else None
        self._leaf = middle_leaf(site, profile.leaf_seen).monthly()
        self._drawn_leaf = self._leaf
        if n and self._leafy:
            self._drawn_leaf = drawn_leaf(site, n, seed, profile.leaf_seen).monthly()

    def of_plane(
        self, plane: OpenPlane, by_all: tuple[Taken, Taken | None], skies: Skies, exact: Shares
    ) -> Drawn:
        """Everything drawn for one plane, given its access under the middle sky; one row."""
        solid, crowns = by_all
        q, drawn_q = np.array([skies.circumsolar]), skies.drawn_circumsolar

        def under(
            rows: slice, leaf: Floats | None = None, sky: Floats | None = None, by: Floats = q
        ) -> Shares:
            taken = solid.rows(rows), None if crowns is None else crowns.rows(rows)
            return shares(
                plane,
                taken,
                self._leaf if leaf is None else leaf,
                skies.middle[None] if sky is None else sky,
                by,
            )

        first = self._rows["printed"]
        printed = under(first)
        surveyed = under(self._rows.get("survey", first))
        whole = under(self._whole, self._drawn_leaf, skies.drawn, drawn_q)
        apart = ("printed", "survey", "whole")
        alone = {name: under(rows) for name, rows in self._rows.items() if name not in apart}
        alone["diffuse light"] = under(first, by=drawn_q)
        if self._leafy:
            alone["leaf"] = under(first, leaf=self._drawn_leaf)
        if len(skies.drawn) > 1:
            alone["sky"] = under(first, sky=skies.drawn)
        widths = {name: _width(s.solar[:, 12]) for name, s in alone.items()}
        median = alone["sky"].median if "sky" in alone else printed
        whole, surveyed, median = (s.fitted(printed, exact) for s in (whole, surveyed, median))
        return Drawn(whole, surveyed, median, widths)

    def window_lost(self, grid: SunGrid, table: Singles) -> Floats:
        """The sun's time in the window that skylines take, the printed one first; (n, 12)."""
        found = []
        for rows, leaf in ((self._rows["printed"], self._leaf), (self._whole, self._drawn_leaf)):
            taken = lost(grid.halves(self.solid_deg[rows]), table)[:, 0].sum(axis=1)
            if self.crowns_deg is not None:
                higher = np.maximum(self.crowns_deg[rows], self.solid_deg[rows])
                by_both = lost(grid.halves(higher), table)[:, 0].sum(axis=1)
                taken = taken + (by_both - taken) * (1.0 - leaf)
            found.append(taken)
        return np.concatenate(found)


def _width(of_year: Floats) -> float:
    if len(of_year) <= 2:
        return float(np.ptp(of_year))
    low, high = np.percentile(of_year, PERCENTILES_95)
    return float(high - low)


def parts_of(widths: dict[str, float]) -> tuple[Part, ...]:
    """What each cause contributes, largest first; what adds nothing is left out."""
    known = {cause: width for cause, width in widths.items() if np.isfinite(width)}
    order = sorted(known, key=lambda cause: -known[cause])
    return tuple(Part(c, known[c], REMEDIES[c]) for c in order if known[c] >= 0.0005)


def interval_of(
    drawn: Floats, value: Floats, shifts: Sequence[Floats | float] = (0.0,)
) -> tuple[Floats, Floats]:
    """The 95 % interval of what is drawn and the value, wherever the shifts move them; (13,)."""
    low, high = np.percentile(drawn, PERCENTILES_95, axis=0)
    low, high = np.minimum(low, value), np.maximum(high, value)
    low, high = np.min([low + s for s in shifts], 0), np.max([high + s for s in shifts], 0)
    return floats(np.clip(low, 0.0, 1.0)), floats(np.clip(high, 0.0, 1.0))
