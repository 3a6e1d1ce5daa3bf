"""What to do next, in one sentence, and what the board is told."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise

import numpy as np

from logger.arrays import Bools
from logger.geometry import unit_vector, wrap360
from logger.horizon_fit import Coverage, Sector
from logger.horizon_fit.coverage import sectors
from logger.live.session import SUN_WARNING_DEG, LiveView

SECTOR_MOST_DEG = 120.0
"""Widest sector to sweep with the feet still. [deg]"""

LEAST_DEG = 2.0
"""Sectors narrower than this are not worth going back for. [deg]"""

_SKYLINE_DEG = 8.0  # stands in for the skyline's height where nothing was seen yet


def towards_sun(view: LiveView) -> Bools | None:
    """Cells of the coverage whose skyline lies within 25 degrees of the sun; None without sun."""
    if view.sun is None or view.running is None:
        return None
    horizon = view.running.horizon
    height = np.where(np.isfinite(horizon.elevation_deg), horizon.elevation_deg, _SKYLINE_DEG)
    cosine = unit_vector(horizon.azimuth_deg, height) @ unit_vector(*view.sun)
    return np.asarray(cosine > np.cos(np.radians(SUN_WARNING_DEG)), dtype=bool)


def to_do(view: LiveView) -> tuple[str, tuple[Sector, ...]]:
    """What the sweep still lacks: words, and the sectors they speak of.

    Sectors near the sun come last, to be left for later.
    """
    coverage = view.coverage
    if coverage is None:
        return "trace the skyline, feet still", ()
    later = towards_sun(view)
    now = np.ones(coverage.passes.size, dtype=bool) if later is None else ~later
    wanted = (
        ("go back to", coverage.sun_crossed & (coverage.passes == 0)),
        ("passes disagree, trace again", coverage.sun_crossed & coverage.disagreeing),
        ("seen once, sweep again over", coverage.sun_crossed & (coverage.passes == 1)),
    )
    for words, cells in wanted:
        found = wide(cells & now)
        if found:
            return f"{words} {named(found)}", found
    if later is not None:
        left = wide(coverage.sun_crossed & (coverage.passes < 2) & later)
        if left:
            return f"leave {named(left)} for later: the sun is there", left
    return "", ()


def wide(cells: Bools) -> tuple[Sector, ...]:
    """Sectors of marked cells that are worth a sweep, widest first, none too wide for the feet."""
    found: list[Sector] = []
    for sector in sectors(cells):
        if sector.width_deg < LEAST_DEG:
            continue
        count = int(np.ceil(sector.width_deg / SECTOR_MOST_DEG))
        cuts = sector.from_azimuth_deg + sector.width_deg * np.arange(count + 1) / count
        found += [Sector(float(wrap360(a)), float(wrap360(b))) for a, b in pairwise(cuts.tolist())]
    return tuple(sorted(found, key=lambda s: -s.width_deg))


def named(found: Sequence[Sector], most: int = 2) -> str:
    """The first few sectors in words."""
    text = " and ".join(map(str, found[:most]))
    return text + (f" (+{len(found) - most})" if len(found) > most else "")


def advice(view: LiveView) -> tuple[str, bool]:
    """The one thing to know now, and whether it is a warning."""
    if view.nothing:
        return (view.nothing if view.instead else f"{view.nothing}: check cable and power"), True
    if view.sun_near:
        return f"LOOK AWAY: the sun is {view.sun_deg:.0f}° off; leave this part for later", True
    if view.shaking:
        return f"the sight shakes by {view.tremor_deg:.1f}°: wait, or come down", True
    if view.field.rejected:
        return "the field is disturbed here: keep away from iron", True
    todo, _ = to_do(view)
    return (todo or "all seen twice: done"), False


def shares(coverage: Coverage) -> tuple[float, float, float]:
    """Of what the sun crosses: the shares missing, seen once, and seen twice or more."""
    crossed = coverage.passes[coverage.sun_crossed]
    if crossed.size == 0:
        return 0.0, 0.0, 1.0
    return (
        float((crossed == 0).mean()),
        float((crossed == 1).mean()),
        float((crossed > 1).mean()),
    )


class CueBook:
    """Decides which cue the board is to play, and not too often."""

    def __init__(self, every_s: float = 3.0) -> None:
        self._every_s = every_s
        self._last_s: dict[str, float] = {}
        self._finished = False

    def cues(
        self, view: LiveView, now_s: float, holds: Sequence[bool] = (), redone: bool = False
    ) -> list[str]:
        """Cues of the wire contract due now."""
        due = ["GOOD" if still else "REDO" for still in holds]
        if redone:
            due.append("REDO")
        for cue, wanted in (
            ("SUN", view.sun_near),
            ("FIELD", view.field.rejected),
            ("REDO", view.shaking),
        ):
            if wanted and now_s - self._last_s.get(cue, -np.inf) >= self._every_s:
                self._last_s[cue] = now_s
                due.append(cue)
        finished = view.coverage is not None and not to_do(view)[0]
        if finished and not self._finished:
            due.append("DONE")
        self._finished = finished
        return due
