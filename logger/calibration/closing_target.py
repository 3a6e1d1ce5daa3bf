"""The closing target: what the field watch cannot see.

A disturbance across the field turns the heading and changes neither strength nor dip. So one
mark, at least a hundred times further away than the points are from each other, is sighted at
each point's start and end (hold still, press the mark key). Start against end shows drift, and a
small one is spread over the sweep; either against the mark's known bearing shows a steady
disturbance.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from firmware_protocol import PRESS_KEY
from logger.arrays import Floats, floats
from logger.checks import Check
from logger.geometry import angle_between, mean_azimuth, wrap360
from logger.orientation.sight_lines import SightLines
from logger.recording.samples import KeyPress, Note

HOLD_S = 1.2
"""How long before the key the sight counts as held on the mark. [s]"""
STEADY_DEG = 2.5
"""A sight whose two halves differ by more than this was not held. [deg]"""
NEAR_DEG = 12.0
"""Two sights further apart than this in azimuth are not of one mark. [deg]"""
SAME_HEIGHT_DEG = 3.0
AT_THE_ENDS_S = 20.0
MISCLOSURE_LIMIT_DEG = 1.5
"""Start against end, and either against the known bearing. [deg]"""
NOTE_WITHIN_S = 3.0
LABELS = ("closing target", "far mark")
"""What a note says, as its label or under ``sight``, of the press just made; the second is what
recordings up to November 2026 call it."""
REASON = "closing target sighted"


@dataclass(frozen=True)
class MarkSight:
    """One sight of the closing target."""

    t_s: float  # When it was pressed. [s]
    # [deg]
    azimuth_deg: float
    elevation_deg: float


@dataclass(frozen=True, eq=False)
class ClosingTarget:
    """What the closing target says of one sweep."""

    # The sweep with a small drift spread over it, and the sights of the mark out of use
    sight: SightLines
    keys: tuple[KeyPress, ...]  # Those that were not pressed on the mark
    start: MarkSight | None = None
    end: MarkSight | None = None
    drift_deg: float | None = None  # End against start, clockwise positive. [deg]
    # Start or end, whichever is further from the known bearing. [deg]
    misclosure_deg: float | None = None
    checks: tuple[Check, ...] = ()

    def figures(self) -> dict[str, Any]:
        """For the report and the result."""
        return {
            "start_azimuth_deg": self.start.azimuth_deg if self.start else None,
            "end_azimuth_deg": self.end.azimuth_deg if self.end else None,
            "drift_deg": self.drift_deg,
            "misclosure_deg": self.misclosure_deg,
        }


def check_closing_target(
    sight: SightLines,
    keys: Sequence[KeyPress],
    notes: Sequence[Note] = (),
    bearing_deg: float | None = None,
) -> ClosingTarget:
    """Compare the closing target at the start with the end, and with its known bearing.

    A press of the mark key is one on the closing target where a note says so. Without notes, it is
    where the mark's bearing is known and the held sight points there, at the start or end of the
    recording; and where the recording holds no other presses than one at each end.
    """
    limit = MISCLOSURE_LIMIT_DEG
    marks = _mark_sights(sight, keys, notes, bearing_deg)
    times = {m.t_s for m in marks}
    left = tuple(k for k in keys if k.key != PRESS_KEY or not _belongs(k.t_s, times))
    if not marks:
        return ClosingTarget(sight, left)
    held = np.zeros(len(sight), dtype=bool)
    for m in marks:
        first = np.searchsorted(sight.t_s, m.t_s - HOLD_S - 0.8, side="right")
        held[first : np.searchsorted(sight.t_s, m.t_s + 0.8, side="left")] = True
    sight = sight.without(held, REASON)
    start, end = marks[0], marks[-1] if len(marks) > 1 else None
    checks: list[Check] = []
    drift = None
    corrected = sight
    if end is not None and end.t_s > start.t_s:
        drift = float(angle_between(end.azimuth_deg, start.azimuth_deg))
        passed = abs(drift) <= limit
        if passed:
            corrected = _spread(sight, start.t_s, end.t_s, drift)
        why = f"the closing target moved by {drift:+.2f}° from start to end" + (
            "; spread over the sweep"
            if passed
            else ": iron came near or the board moved in its holder; sweep again"
        )
        checks.append(
            Check("closing target drift", passed, round(abs(drift), 3), limit, "deg", why)
        )
    misclosure = None
    if bearing_deg is not None:
        each = [float(angle_between(m.azimuth_deg, bearing_deg)) for m in marks]
        misclosure = max(each, key=abs)
        passed = abs(misclosure) <= limit
        why = (
            f"the closing target reads {misclosure:+.2f}° off its bearing "
            f"{wrap360(bearing_deg):.2f}°"
        )
        if not passed:
            why += ": something turns the heading here steadily; take a bearing at this point"
        checks.append(
            Check("closing target bearing", passed, round(abs(misclosure), 3), limit, "deg", why)
        )
    return ClosingTarget(corrected, left, start, end, drift, misclosure, tuple(checks))


def _belongs(t_s: float, pressed: set[float]) -> bool:
    """Whether a key event is one of the presses, or its letting go."""
    return any(0.0 <= t_s - t < 1.0 for t in pressed)


def _mark_sights(
    sight: SightLines,
    keys: Sequence[KeyPress],
    notes: Sequence[Note],
    bearing_deg: float | None,
) -> list[MarkSight]:
    """The held sights of the closing target, in order of time."""
    pressed = sorted(k.t_s for k in keys if k.down and k.key == PRESS_KEY)
    noted = [n.t_s for n in notes if _says_closing_target(n)]
    if noted:
        pressed = [t for t in pressed if any(0.0 <= n - t <= NOTE_WITHIN_S for n in noted)]
        return [m for t in pressed if (m := _sight_at(sight, t)) is not None]
    held = [m for t in pressed if (m := _sight_at(sight, t)) is not None]
    if not held or not len(sight):
        return []
    early, late = sight.t_s[0] + AT_THE_ENDS_S, sight.t_s[-1] - AT_THE_ENDS_S
    if bearing_deg is not None:
        ends = {id(m): m for m in (held[0], held[-1]) if m.t_s < early or m.t_s > late}
        return [
            m
            for m in ends.values()
            if abs(float(angle_between(m.azimuth_deg, bearing_deg))) < NEAR_DEG
        ]
    alone = len(held) == 2 and len(pressed) == 2 and held[0].t_s < early and held[1].t_s > late
    return held if alone and _same(held[0], held[1]) else []


def _says_closing_target(note: Note) -> bool:
    said = (note.label, note.more.get("sight"))
    return any(isinstance(text, str) and text.strip().lower() in LABELS for text in said)


def _sight_at(sight: SightLines, t_s: float) -> MarkSight | None:
    """Mean direction held up to a key press; None where the sight was not held."""
    first = np.searchsorted(sight.t_s, t_s - HOLD_S, side="left")
    rows = np.arange(first, np.searchsorted(sight.t_s, t_s, side="right"))
    rows = rows[np.isfinite(sight.azimuth_deg[rows])]
    if rows.size < 4:
        return None
    azimuth, elevation = sight.azimuth_deg[rows], sight.elevation_deg[rows]
    mean = mean_azimuth(azimuth)
    across = floats(angle_between(azimuth, mean)) * np.cos(np.radians(elevation.mean()))
    half = len(across) // 2
    moved = _step(across, half), _step(elevation, half)
    if np.hypot(*moved) > STEADY_DEG:
        return None
    return MarkSight(float(t_s), mean, float(elevation.mean()))


def _step(values: Floats, half: int) -> float:
    return float(values[half:].mean() - values[:half].mean())


def _same(a: MarkSight, b: MarkSight) -> bool:
    turn = abs(float(angle_between(a.azimuth_deg, b.azimuth_deg)))
    return turn < NEAR_DEG and abs(a.elevation_deg - b.elevation_deg) < SAME_HEIGHT_DEG


def _spread(sight: SightLines, from_s: float, to_s: float, drift_deg: float) -> SightLines:
    """Take a drift off in proportion to time; the start is what is right."""
    share = np.clip((sight.t_s - from_s) / (to_s - from_s), 0.0, 1.0)
    return replace(
        sight,
        azimuth_deg=wrap360(sight.azimuth_deg - drift_deg * share),
        steps=(*sight.steps, f"closing target drift {drift_deg:+.2f}° spread over the sweep"),
    )
