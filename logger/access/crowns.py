"""How much of the sun passes a tree's crown, in leaf and bare, and when it is which.

Published transmittances of the direct beam:

- crowns of single urban trees of five species in Gothenburg: 0.013 to 0.053 in leaf, 0.402 to 0.519
  bare (Konarska et al. 2014, Theoretical and Applied Climatology 117:363-376; abstract, quoted from
  memory);
- the defaults of an open-source model for trees in towns, which rests on that work: 0.03 in leaf,
  0.50 bare, in leaf from day 97 of the year (UMEP documentation and source, SOLWEIG; read in the
  source);
- a deciduous street tree before a south wall: about 0.20 in leaf, 0.60 bare (Heisler 1986, Urban
  Ecology 9:337-359; from memory).

The defaults here are 0.03 and 0.50, in leaf from day 97 to day 300 (that last day from memory) in
the north and half a year later in the south. Between the tropics a tree counts as in leaf all year
(common practice, no source). A surveyor who knows better gives the numbers.
"""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass

from logger.errors import UsageError
from logger.site import Site

IN_LEAF, BARE = 0.03, 0.50
FIRST_LEAF_DAY, LAST_LEAF_DAY = 97, 300
TROPIC_DEG = 23.44


@dataclass(frozen=True)
class Crown:
    """Transmittance of a crown through the year."""

    # Share of the light that passes, 0 to 1
    in_leaf: float = IN_LEAF
    bare: float = BARE
    # Days of the year, 1 to 366, between which it is in leaf, both included; the first may be
    # the later one (southern summer). None takes the default of the site.
    first_leaf_day: int | None = None
    last_leaf_day: int | None = None
    always_in_leaf: bool = False  # An evergreen

    def __post_init__(self) -> None:
        if not (0 <= self.in_leaf <= 1 and 0 <= self.bare <= 1):
            raise UsageError("transmittance of a crown must be 0 to 1")
        days = (self.first_leaf_day, self.last_leaf_day)
        if (days[0] is None) != (days[1] is None):
            raise UsageError("give both the first and the last day in leaf, or neither")
        if any(d is not None and not 1 <= d <= 366 for d in days):
            raise UsageError("days in leaf must be days of the year, 1 to 366")

    def days_in_leaf(self, site: Site) -> tuple[int, int] | None:
        """First and last day of the year in leaf; None where it is so all year."""
        if self.always_in_leaf:
            return None
        if self.first_leaf_day is not None and self.last_leaf_day is not None:
            return self.first_leaf_day, self.last_leaf_day
        if abs(site.latitude_deg) < TROPIC_DEG:
            return None
        if site.latitude_deg > 0:
            return FIRST_LEAF_DAY, LAST_LEAF_DAY
        return (FIRST_LEAF_DAY + 182) % 365, (LAST_LEAF_DAY + 182) % 365

    def monthly(self, site: Site, year: int) -> tuple[float, ...]:
        """Mean transmittance of each month, by days in leaf and bare."""
        days = self.days_in_leaf(site)
        if days is None:
            return (self.in_leaf,) * 12
        first, last = days
        result = []
        for month in range(1, 13):
            start = dt.date(year, month, 1)
            end = dt.date(year + month // 12, month % 12 + 1, 1)
            of_year = [start.timetuple().tm_yday + k for k in range((end - start).days)]
            in_leaf = [
                first <= d <= last if first <= last else d >= first or d <= last for d in of_year
            ]
            share = sum(in_leaf) / len(of_year)
            result.append(share * self.in_leaf + (1 - share) * self.bare)
        return tuple(result)
