"""How much of the sun passes a deciduous crown, in leaf and bare, and when it is which.

Published transmittances of the direct beam, in leaf and bare:

- crowns of single urban trees of five species in Gothenburg (Konarska and others 2014, Theoretical
  and Applied Climatology 117:363-376; abstract, from memory);
- the defaults of an open-source model for trees in towns, in leaf from day 97 of the year (UMEP
  documentation and source; read in the source);
- a deciduous street tree before a south wall (Heisler 1986, Urban Ecology 9:337-359; from memory);
- four species of street trees in Mendoza (Canton and others 1994, Energy and Buildings 20:291-298;
  from memory, little trusted).

Each draw takes one of them, and a value anywhere in its range; what is printed rests on the mean.
The last day in leaf is from memory, and how far both days vary is common practice, no source. In
the south they come half a year later, and between the tropics a tree counts as in leaf all year
(common practice, no source).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from logger.access.weather import MONTH_DAYS, MONTH_STARTS
from logger.arrays import Bools, Floats, Ints, floats
from logger.horizon import LeafSeen
from logger.site import Site

IN_LEAF = ((0.013, 0.053), (0.03, 0.03), (0.20, 0.20), (0.08, 0.31))
BARE = ((0.402, 0.519), (0.50, 0.50), (0.60, 0.60), (0.45, 0.66))
"""Shares of the light that pass, by source, from and to."""

FIRST_LEAF_DAY, LAST_LEAF_DAY = 97, 300
LEAF_DAY_ERROR = 14.0
"""One standard deviation of either day. [days]"""

TROPIC_DEG = 23.44
_YEAR = 365


@dataclass(frozen=True, eq=False)
class Leaf:
    """Transmittance of deciduous crowns, each a row."""

    in_leaf: Floats  # Shape (n,)
    bare: Floats  # Shape (n,)
    # Days of the year, 0 to 364, both included; the first may be the later one (the south)
    first_day: Floats
    last_day: Floats

    def monthly(self) -> Floats:
        """Mean transmittance of each month, by days in leaf and bare. Shape (n, 12)."""
        leafy = self.is_in_leaf(np.arange(_YEAR)[None]).astype(float)
        share = np.add.reduceat(leafy, MONTH_STARTS, axis=1) / MONTH_DAYS
        return floats(share * self.in_leaf[:, None] + (1.0 - share) * self.bare[:, None])

    def is_in_leaf(self, day: Ints) -> Bools:
        """Whether each is in leaf on a day of the year, 0 to 364."""
        length = np.mod(self.last_day - self.first_day, _YEAR)[:, None]
        since: Bools = np.mod(day - self.first_day[:, None], _YEAR) <= length
        return since


def middle_leaf(site: Site, seen: Sequence[LeafSeen] = ()) -> Leaf:
    """What the printed figures rest on."""
    first, last = _days(site, np.zeros(1), np.zeros(1), seen)
    return Leaf(floats([np.mean(IN_LEAF)]), floats([np.mean(BARE)]), first, last)


def drawn_leaf(site: Site, n: int, seed: int, seen: Sequence[LeafSeen] = ()) -> Leaf:
    """Draw crowns."""
    rng = np.random.default_rng([seed, 2])
    source, place = rng.integers(len(IN_LEAF), size=n), rng.random((2, n))
    in_leaf, bare = (
        low[source] + (high - low)[source] * share
        for (low, high), share in zip((np.array(t).T for t in (IN_LEAF, BARE)), place, strict=True)
    )
    early, late = rng.standard_normal((2, n))
    return Leaf(in_leaf, bare, *_days(site, early, late, seen))


def _days(
    site: Site, early: Floats, late: Floats, seen: Sequence[LeafSeen]
) -> tuple[Floats, Floats]:
    """First and last day in leaf, moved as far as what was seen asks."""
    if abs(site.latitude_deg) < TROPIC_DEG:
        return np.zeros(len(early)), np.full(len(early), _YEAR - 1.0)
    # Reckoned from midwinter, so that the leafy days stand in one piece.
    midwinter = 0 if site.latitude_deg > 0 else _YEAR // 2
    first = np.clip(FIRST_LEAF_DAY + LEAF_DAY_ERROR * early, 20, 170)
    last = np.clip(LAST_LEAF_DAY + LEAF_DAY_ERROR * late, 200, 355)
    for one in seen:
        day = (one.day_of_year - 1 - midwinter) % _YEAR
        spring = day < _YEAR / 2
        if one.state == "in leaf":
            first, last = (
                (np.minimum(first, day), last) if spring else (first, np.maximum(last, day))
            )
        else:
            first = np.maximum(first, day + 1) if spring else first
            last = last if spring else np.minimum(last, day - 1)
    return floats(np.mod(first + midwinter, _YEAR)), floats(np.mod(last + midwinter, _YEAR))
