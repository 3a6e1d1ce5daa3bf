"""What a sweep still lacks, and the way there: from the same coverage that the final checks judge.

The part next to the sight is named first, so that it can be obeyed from where one stands; what
the final checks would pass is not asked for.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from logger.arrays import Bools, floats
from logger.geometry import angle_between, wrap360
from logger.horizon_fit import Coverage, Sector
from logger.horizon_fit.coverage import (
    DISAGREEING_LIMIT_DEG,
    THIN_LIMIT_DEG,
    UNMEASURED_LIMIT_DEG,
    sectors,
)
from logger.sun_range import sun_crosses

ARRIVED_DEG = 5.0
"""A sight this near to a part that is wanted need not turn to it first. [deg]"""
ASKED_PASSES = 4
"""Passes that disagree after so many will not agree by another one."""
DONE = "all seen twice: end with the trigger, q or End"


@dataclass(frozen=True)
class Instruction:
    """The one thing to do now."""

    words: str
    missing: tuple[Sector, ...] = ()  # What is still wanted, the next one first

    @property
    def done(self) -> bool:
        """Whether nothing more is asked for."""
        return not self.missing


def nothing_seen(latitude_deg: float) -> Coverage:
    """The coverage before the first pass."""
    middle = floats(np.arange(360) + 0.5)
    none = np.zeros(middle.size, dtype=bool)
    return Coverage(middle, none.astype(int), none, sun_crosses(middle, latitude_deg))


def instruction(
    coverage: Coverage,
    azimuth_deg: float,
    going: int = 0,
    near_sun: Bools | None = None,
) -> Instruction:
    """What to do next from where the sight points and which way it goes: 1 right, -1 left, 0 none.

    `near_sun` marks cells that are to be left for later.
    """
    later = np.zeros(coverage.passes.size, dtype=bool) if near_sun is None else near_sun
    wanted, words = _wanted(coverage)
    found = sectors(wanted & ~later)
    if not found:
        left = sectors(wanted)
        if left:
            return Instruction(f"leave {_named(left)} for later: the sun is there", left)
        return Instruction(_ending(coverage))
    found = tuple(sorted(found, key=lambda s: abs(_turn_deg(s, azimuth_deg))))
    return Instruction(words + _way(found[0], azimuth_deg, going), found)


def _wanted(coverage: Coverage) -> tuple[Bools, str]:
    """The cells that would fail a check of the finished point, and what is wrong with them."""
    crossed, passes = coverage.sun_crossed, coverage.passes
    missing, once = crossed & (passes == 0), crossed & (passes == 1)
    wanted = np.zeros(passes.size, dtype=bool)
    if _width_deg(missing) > UNMEASURED_LIMIT_DEG:
        wanted |= missing
    if _width_deg(missing | once) > THIN_LIMIT_DEG:
        wanted |= once | missing
    if wanted.any():
        return wanted, "" if (wanted & missing).any() else "once more: "
    disputed = crossed & coverage.disagreeing
    if _width_deg(disputed) > DISAGREEING_LIMIT_DEG:
        return disputed & (passes < ASKED_PASSES), "passes differ: "
    return wanted, ""


def _ending(coverage: Coverage) -> str:
    disputed = coverage.sun_crossed & coverage.disagreeing
    if _width_deg(disputed) > DISAGREEING_LIMIT_DEG:
        return f"passes still differ at {_named(sectors(disputed))}: end here, the answer says so"
    return DONE


def _width_deg(cells: Bools) -> float:
    return float(cells.sum()) * 360.0 / cells.size


def _turn_deg(sector: Sector, azimuth_deg: float) -> float:
    """From the sight to the nearer end of a sector, right positive; 0 inside it."""
    start, end = sector.from_azimuth_deg, sector.to_azimuth_deg
    if np.isnan(azimuth_deg) or wrap360(azimuth_deg - start) <= sector.width_deg:
        return 0.0
    return min((float(angle_between(at, azimuth_deg)) for at in (start, end)), key=abs)


def _way(sector: Sector, azimuth_deg: float, going: int) -> str:
    start, end = sector.from_azimuth_deg, sector.to_azimuth_deg
    if np.isnan(azimuth_deg):
        return f"follow the skyline over {sector}"
    turn = _turn_deg(sector, azimuth_deg)
    before = float(wrap360(azimuth_deg - start))
    after = sector.width_deg - before
    if turn:
        right = turn == angle_between(start, azimuth_deg)  # through the part, to its other end
    elif going and (after if going > 0 else before) > ARRIVED_DEG:
        right = going > 0  # on as it goes
    else:
        right = after > before  # to the further end
    side, at, to = ("right", start, end) if right else ("left", end, start)
    if abs(turn) < ARRIVED_DEG:
        return f"follow the skyline {side} to {to:.0f}°"
    side = "right" if turn > 0 else "left"
    return f"turn {abs(turn):.0f}° {side} to {at:.0f}°, then follow the skyline to {to:.0f}°"


def _named(found: Sequence[Sector]) -> str:
    text = " and ".join(map(str, found[:2]))
    return text + (f" (+{len(found) - 2})" if len(found) > 2 else "")
