"""The field watch: strength and dip of the field along a recording against what they should be.

It is blind to a disturbance across the field: 2 uT east-west turn the heading by 5 degrees and
change the strength by a thousandth. The closing target is there for that.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import ceil, floor

import numpy as np

from logger.arrays import Bools, Floats, freeze_columns
from logger.checks import Check
from logger.orientation.attitude import Attitude, rows_in, running_median
from logger.orientation.corrections import CompassCorrection, FieldReference
from logger.orientation.settings import OrientationSettings


@dataclass(frozen=True, eq=False)
class FieldWatch:
    """What the watch saw, one row a measuring instant."""

    t_s: Floats  # [s] Shape (N,)
    # Running medians of the corrected field; NaN without raw field. [uT] [deg] Shape (N,).
    strength_ut: Floats
    dip_deg: Floats
    strength_departure: Floats  # From the calibration's, as a share of it, signed. Shape (N,).
    dip_departure_deg: Floats  # From the calibration's, signed. [deg] Shape (N,).
    # Past the first and past the second limit; rejected rows are flagged too. Shape (N,).
    flagged: Bools
    rejected: Bools
    checks: tuple[Check, ...] = ()

    def __post_init__(self) -> None:
        n = freeze_columns(
            self, ("t_s", "strength_ut", "dip_deg", "strength_departure", "dip_departure_deg")
        )
        freeze_columns(self, ("flagged", "rejected"), dtype=np.bool_, length=n)

    def stretches(self) -> tuple[tuple[float, float], ...]:
        """Times from and to of each flagged stretch, in seconds."""
        edges = np.flatnonzero(np.diff(np.r_[False, self.flagged, False].astype(int)))
        return tuple(
            (float(self.t_s[a]), float(self.t_s[b - 1]))
            for a, b in zip(edges[::2], edges[1::2], strict=True)
        )


def watch_field(
    t_s: Floats,
    field_ut: Floats,
    attitude: Attitude,
    compass: CompassCorrection,
    model: FieldReference | None = None,
    settings: OrientationSettings | None = None,
) -> FieldWatch:
    """Hold a corrected field against the calibration's strength and dip, and the model's.

    A single row is held against the calibration. The model judges the recording as a whole (its
    medians): a board's own scale, and iron in the ground, differ from it everywhere alike.
    """
    settings = settings or OrientationSettings()
    n = len(t_s)
    strength, dip = np.full(n, np.nan), np.full(n, np.nan)
    known = attitude.known & np.isfinite(field_ut).all(axis=1)
    if known.any():
        h = field_ut[known]
        size = np.linalg.norm(h, axis=1)
        down = np.einsum("ni,ni->n", attitude.matrix[known, 2, :], h)
        rows = rows_in(t_s[known], settings.watch_window_s)
        strength[known] = running_median(size, rows)
        raw_dip = np.degrees(np.arcsin(np.clip(down / np.maximum(size, 1e-9), -1.0, 1.0)))
        dip[known] = running_median(raw_dip, rows)
    strength_off = strength / compass.field_ut - 1.0
    dip_off = dip - compass.dip_deg

    def past(share: float, angle_deg: float) -> Bools:
        with np.errstate(invalid="ignore"):
            return np.asarray((np.abs(strength_off) > share) | (np.abs(dip_off) > angle_deg))

    flagged = past(settings.flag_strength, settings.flag_dip_deg)
    rejected = past(settings.reject_strength, settings.reject_dip_deg)
    watch = FieldWatch(t_s, strength, dip, strength_off, dip_off, flagged, rejected)
    if not known.any():
        return watch
    checks = [_steady_check(watch, int(known.sum()))]
    if model is not None:
        checks.append(
            field_check(
                "field against the model",
                float(np.median(strength[known])),
                float(np.median(dip[known])),
                model,
                settings,
            )
        )
    return FieldWatch(t_s, strength, dip, strength_off, dip_off, flagged, rejected, tuple(checks))


def field_check(
    name: str,
    strength_ut: float,
    dip_deg: float,
    reference: FieldReference,
    settings: OrientationSettings,
) -> Check:
    """Whether one strength and dip fit the model's: 20 % for the board's own scale, 6 degrees."""
    share = strength_ut / reference.field_ut - 1.0
    turn = dip_deg - reference.dip_deg
    passed = abs(share) <= settings.model_strength and abs(turn) <= settings.reject_dip_deg
    why = (
        f"strength {strength_ut:.1f} µT and dip {dip_deg:.1f}° against {reference.field_ut:.1f} µT "
        f"and {reference.dip_deg:.1f}° ({reference.source})"
    )
    if not passed:
        why += "; move away from iron, cars, steel roofs and cables, and calibrate there"
    return Check(name, passed, round(abs(turn), 2), settings.reject_dip_deg, "deg", why)


def _steady_check(watch: FieldWatch, rows: int) -> Check:
    share = float(watch.rejected.sum()) / rows
    limit = 0.10
    where = ", ".join(f"{a} to {b} s" for a, b in whole_seconds(watch.stretches()))
    worst = np.nanmax(np.abs(watch.strength_departure)), np.nanmax(np.abs(watch.dip_departure_deg))
    if watch.flagged.any():
        why = (
            f"the field departs from the calibration by up to {100 * worst[0]:.0f} % and "
            f"{worst[1]:.1f}° at {where}; {int(watch.rejected.sum())} samples are not used"
        )
        if share > limit:
            why += "; stand further from iron, or sight the bearing of a closing target here"
    else:
        why = f"the field stays within {100 * worst[0]:.0f} % and {worst[1]:.1f}° of calibration"
    return Check("field watch", share <= limit, round(share, 4), limit, "", why)


def whole_seconds(stretches: Sequence[tuple[float, float]], most: int = 4) -> list[tuple[int, int]]:
    """The longest stretches, in order of time; those that touch in whole seconds are one."""
    joined: list[tuple[int, int]] = []
    for start, end in ((floor(a), ceil(b)) for a, b in stretches):
        if joined and start <= joined[-1][1]:
            start, end = joined[-1][0], max(end, joined.pop()[1])
        joined.append((start, end))
    longest = sorted(joined, key=lambda stretch: stretch[0] - stretch[1])[:most]
    return sorted(longest)
