"""Which parts of the skyline were seen, and which of them matter to the sun."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from logger.arrays import Bools, Floats, Ints, freeze_columns
from logger.checks import Check
from logger.geometry import wrap360

# Azimuth that the sun crosses and that no pass saw, one alone saw, or passes differ over, at
# most (common practice, no source)
UNMEASURED_LIMIT_DEG, THIN_LIMIT_DEG, DISAGREEING_LIMIT_DEG = 3.0, 10.0, 10.0
# Two passes that differ by more than this over a stretch disagree (common practice, no source)
DISAGREEMENT_DEG = 2.0


@dataclass(frozen=True)
class Sector:
    """Part of the circle, clockwise from one azimuth to another; the whole is 0 to 360."""

    from_azimuth_deg: float
    to_azimuth_deg: float

    @property
    def width_deg(self) -> float:
        """[deg]."""
        return float(wrap360(self.to_azimuth_deg - self.from_azimuth_deg)) or 360.0

    def __str__(self) -> str:
        start, end = f"{self.from_azimuth_deg:.0f}", f"{self.to_azimuth_deg:.0f}"
        return f"about {start}°" if start == end else f"{start} to {end}°"


@dataclass(frozen=True, eq=False)
class Coverage:
    """What was seen of each cell of the grid."""

    azimuth_deg: Floats  # Middle of each cell. [deg] Shape (K,).
    passes: Ints  # How many passes saw it; a held vertex counts as two. Shape (K,).
    disagreeing: Bools  # Passes differ there by more than the limit. Shape (K,).
    # The sun stands above this azimuth at some time of some day of the year. Shape (K,).
    sun_crossed: Bools

    def __post_init__(self) -> None:
        n = freeze_columns(self, ("azimuth_deg",))
        freeze_columns(self, ("passes",), dtype=np.int64, length=n)
        freeze_columns(self, ("disagreeing", "sun_crossed"), dtype=np.bool_, length=n)

    @property
    def checks(self) -> tuple[Check, ...]:
        """Whether enough of what the sun crosses was seen, twice, and alike."""
        differ = f"lie where passes differ by more than {DISAGREEMENT_DEG:g}°: trace again"
        lone = "were seen in one pass only: sweep again over"
        once, alike = self.passes == 1, self.disagreeing
        missing, unmeasured = self.passes == 0, "were not measured: go back to"
        return (
            self._check("sun's range measured", missing, UNMEASURED_LIMIT_DEG, unmeasured),
            self._check("sun's range seen twice", once, THIN_LIMIT_DEG, lone),
            self._check("passes agree", alike, DISAGREEING_LIMIT_DEG, differ),
        )

    def _check(self, name: str, cells: Bools, limit_deg: float, what: str) -> Check:
        found = sectors(self.sun_crossed & cells)
        value = float(sum(s.width_deg for s in found))
        what, _, advice = what.partition(":")
        why = f"{value:.1f}° of the azimuths the sun crosses {what}"
        if value > limit_deg:
            widest = sorted(found, key=lambda s: -s.width_deg)[:4]
            why += f":{advice} " + ", ".join(map(str, widest))
        return Check(name, value <= limit_deg, value, limit_deg, "deg", why)


def sectors(marked: Bools | Sequence[bool]) -> tuple[Sector, ...]:
    """Runs of marked cells round the circle as sectors, clockwise from north."""
    mask = np.asarray(marked, dtype=bool)
    n = mask.size
    if mask.all():
        return (Sector(0.0, 360.0),) if n else ()
    starts = np.flatnonzero(mask & ~np.roll(mask, 1)) * (360.0 / n)
    ends = wrap360((np.flatnonzero(mask & ~np.roll(mask, -1)) + 1) * (360.0 / n))
    if mask[0] and mask[-1]:  # one run goes on through north
        ends = np.roll(ends, -1)
    return tuple(map(Sector, starts.tolist(), ends.tolist()))
