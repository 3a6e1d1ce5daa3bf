"""The closing target: what strength and dip of the magnetic field cannot show.

A disturbance across the field turns the heading and changes neither strength nor dip. So one
target, at least a hundred times further away than the points are from each other, is sighted at
each point's start and end (hold still, press). Start against end shows drift, and a
small one is spread over the sweep; either against the target's known bearing shows a steady
disturbance.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from firmware_protocol import PRESS_KEY
from logger.arrays import floats
from logger.checks import Check, at_most
from logger.geometry import angle_between, mean_azimuth, wrap360
from logger.orientation.sight_lines import SightLines
from logger.recording.samples import KeyPress, Note, presses

HOLD_S = 1.2  # How long before the press the sight counts as held on the target
AROUND_S = 0.8  # Beside the hold, the sight comes and goes for as long
STEADY_DEG = 2.5  # A sight whose two halves differ by more than this was not held
# Two sights further apart than this in azimuth, or in elevation, are not of one target
NEAR_DEG, SAME_HEIGHT_DEG = 12.0, 3.0
AT_THE_ENDS_S = 20.0
LIMIT_DEG = 1.5  # Start against end, and either against the known bearing
NOTE_WITHIN_S = 3.0
# What a note says, as its label or under ``sight``, of the press just made
LABEL = "closing target"
REASON = "closing target sighted"


@dataclass(frozen=True)
class TargetSight:
    """One sight of the closing target."""

    t_s: float  # When it was pressed. [s]
    azimuth_deg: float
    elevation_deg: float


@dataclass(frozen=True, eq=False)
class ClosingTarget:
    """What the closing target says of one sweep."""

    # The sweep with a small drift spread over it, and the sights of the target out of use
    sight: SightLines
    keys: tuple[KeyPress, ...]  # Those that were not pressed on the target
    start: TargetSight | None = None
    end: TargetSight | None = None
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

    A press is one on the closing target where a note says so. Without notes, it is where the
    target's bearing is known and the held sight points there, at the start or end of the
    recording; and where the recording holds no other presses than one at each end.
    """
    sights = _target_sights(sight, keys, notes, bearing_deg)
    if not sights:
        return ClosingTarget(sight, tuple(keys))
    # A press on the target, and its letting go, names nothing on the skyline.
    left = tuple(
        k
        for k in keys
        if k.key != PRESS_KEY or not any(0.0 <= k.t_s - one.t_s < 1.0 for one in sights)
    )
    held = np.zeros(len(sight), dtype=bool)
    for one in sights:
        first = np.searchsorted(sight.t_s, one.t_s - HOLD_S - AROUND_S, side="right")
        held[first : np.searchsorted(sight.t_s, one.t_s + AROUND_S, side="left")] = True
    sight = sight.without(held, REASON)
    start, end = sights[0], sights[-1] if len(sights) > 1 else None
    checks: list[Check] = []
    drift = misclosure = None
    if end is not None and end.t_s > start.t_s:
        drift = float(angle_between(end.azimuth_deg, start.azimuth_deg))
        checks.append(_drift_check(drift))
        if checks[-1].passed:  # taken off in proportion to time; the start is what is right
            share = np.clip((sight.t_s - start.t_s) / (end.t_s - start.t_s), 0.0, 1.0)
            spread = f"closing target drift {drift:+.2f}° spread over the sweep"
            turned = wrap360(sight.azimuth_deg - drift * share)
            sight = replace(sight, azimuth_deg=turned, steps=(*sight.steps, spread))
    if bearing_deg is not None:
        off = [float(angle_between(one.azimuth_deg, bearing_deg)) for one in sights]
        misclosure = max(off, key=abs)
        checks.append(_bearing_check(misclosure, bearing_deg))
    return ClosingTarget(sight, left, start, end, drift, misclosure, tuple(checks))


def _drift_check(drift_deg: float) -> Check:
    why = f"the closing target moved by {drift_deg:+.2f}° from start to end"
    if abs(drift_deg) <= LIMIT_DEG:
        why += "; spread over the sweep"
    moved = ": iron came near or the board moved in its holder; sweep again"
    return at_most("closing target drift", abs(drift_deg), LIMIT_DEG, "deg", why, moved)


def _bearing_check(off_deg: float, bearing_deg: float) -> Check:
    why = f"the closing target reads {off_deg:+.2f}° off its bearing {wrap360(bearing_deg):.2f}°"
    turned = ": something turns the heading here steadily; take a bearing at this point"
    return at_most("closing target bearing", abs(off_deg), LIMIT_DEG, "deg", why, turned)


def _target_sights(
    sight: SightLines, keys: Sequence[KeyPress], notes: Sequence[Note], bearing_deg: float | None
) -> list[TargetSight]:
    """The held sights of the closing target, in order of time."""
    pressed = sorted(presses(keys))
    noted = [n.t_s for n in notes if LABEL in (_plain(n.label), _plain(n.more.get("sight")))]
    if noted:
        pressed = [t for t in pressed if any(0.0 <= n - t <= NOTE_WITHIN_S for n in noted)]
    held = [one for t in pressed if (one := _sight_at(sight, t)) is not None]
    if noted or not held:
        return held
    early, late = sight.t_s[0] + AT_THE_ENDS_S, sight.t_s[-1] - AT_THE_ENDS_S
    if bearing_deg is not None:
        ends = [one for one in held if one in (held[0], held[-1])]
        return [
            one
            for one in ends
            if (one.t_s < early or one.t_s > late)
            and abs(float(angle_between(one.azimuth_deg, bearing_deg))) < NEAR_DEG
        ]
    if len(held) != 2 or len(pressed) != 2 or held[0].t_s >= early or held[1].t_s <= late:
        return []
    turn = abs(float(angle_between(held[0].azimuth_deg, held[1].azimuth_deg)))
    rise = abs(held[0].elevation_deg - held[1].elevation_deg)
    return held if turn < NEAR_DEG and rise < SAME_HEIGHT_DEG else []


def _plain(said: Any) -> str:
    return said.strip().lower() if isinstance(said, str) else ""


def _sight_at(sight: SightLines, t_s: float) -> TargetSight | None:
    """Mean direction held up to a press; None where the sight was not held."""
    first = np.searchsorted(sight.t_s, t_s - HOLD_S, side="left")
    rows = np.arange(first, np.searchsorted(sight.t_s, t_s, side="right"))
    rows = rows[np.isfinite(sight.azimuth_deg[rows])]
    if rows.size < 4:
        return None
    azimuth, elevation = sight.azimuth_deg[rows], sight.elevation_deg[rows]
    mean = mean_azimuth(azimuth)
    across = floats(angle_between(azimuth, mean)) * np.cos(np.radians(elevation.mean()))
    early, late = slice(None, rows.size // 2), slice(rows.size // 2, None)
    moved = [side[late].mean() - side[early].mean() for side in (across, elevation)]
    if np.hypot(*moved) > STEADY_DEG:
        return None
    return TargetSight(float(t_s), mean, float(elevation.mean()))
