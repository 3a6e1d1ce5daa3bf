"""Access under many skylines at once, such as those over a whole roof, each drawn a few times."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from logger.access.intervals import Shares, shares, taken_by
from logger.access.leaf import drawn_leaf, middle_leaf
from logger.access.result import Bounded
from logger.arrays import Floats, floats
from logger.checks import NORMAL_95

if TYPE_CHECKING:
    from logger.access.calculator import SiteYear

SKIES = 60
"""Skies that the median is taken over."""


@dataclass(frozen=True, eq=False)
class Skylines:
    """Skylines on the grid of `SECTOR_MIDDLES`. [deg] Shape (n, SECTORS)."""

    solid_deg: Floats
    whole_deg: Floats | None = None  # With the crowns that let light through; None without any


def under_median_sky(year: SiteYear, k: int, found: Skylines) -> Shares:
    """A plane's access under each skyline, the median over skies that could be. Shape (n, 13)."""
    skies, n = year.skies, len(found.solid_deg)
    some = skies.drawn[:SKIES]
    rows = np.repeat(np.arange(n), len(some))
    ((solid, crowns),) = taken_by(found.solid_deg, found.whole_deg, [year.tables[k]], year.grid)
    taken = solid.rows(rows), None if crowns is None else crowns.rows(rows)
    leaf, q = middle_leaf(year.site).monthly(), np.array([skies.circumsolar])
    under = shares(year.planes[k], taken, leaf, np.tile(some, (n, 1, 1, 1)), q)
    solar, beam = (
        np.median(x.reshape(n, len(some), -1), axis=1) for x in (under.solar, under.beam)
    )
    return Shares(floats(solar), floats(beam))


def under_drawn_skies(year: SiteYear, k: int, drawn: Skylines, m: int) -> tuple[Shares, Shares]:
    """Access under n skylines drawn m times, n * m rows: all drawn, and the survey alone.

    Draw by draw skies and crowns are the same for all skylines. Shapes (n, m, 13).
    """
    skies, plane = year.skies, year.planes[k]
    n = len(drawn.solid_deg) // m
    (taken,) = taken_by(drawn.solid_deg, drawn.whole_deg, [year.tables[k]], year.grid)
    row = np.tile(np.arange(m), n)
    sky = skies.drawn[row % len(skies.drawn)]
    q = skies.drawn_circumsolar[row % len(skies.drawn_circumsolar)]
    leaf = drawn_leaf(year.site, m, year.settings.seed).monthly()[row]
    whole = shares(plane, taken, leaf, sky, q)
    middle = middle_leaf(year.site).monthly()
    survey = shares(plane, taken, middle, skies.middle[None], np.array([skies.circumsolar]))
    return _shaped(whole, n, m), _shaped(survey, n, m)


def bounded(value: Floats, found: Floats, whole: Floats, survey: Floats) -> list[Bounded]:
    """Intervals about values of shape (n, 13) from draws of shape (n, m, 13).

    The survey's spread is that about what was `found` under the middle sky. A few draws tell their
    spread about the value better than their ends.
    """
    wide, of_survey = _half_width(whole - value[:, None]), _half_width(survey - found[:, None])
    wide = np.maximum(wide, of_survey)
    bounds = [np.clip(value + s, 0.0, 1.0) for s in (-wide, wide, -of_survey, of_survey)]
    return [Bounded(*rows) for rows in zip(value, *bounds, strict=True)]


def _half_width(away: Floats) -> Floats:
    m = away.shape[1]
    return floats(NORMAL_95 * np.sqrt((away**2).mean(axis=1) * (m + 1) / m))


def _shaped(one: Shares, n: int, m: int) -> Shares:
    return Shares(one.solar.reshape(n, m, -1), one.beam.reshape(n, m, -1))
