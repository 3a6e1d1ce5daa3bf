"""Whether the magnetic field along a recording is the Earth's: its strength and dip.

Both are blind to a disturbance across the field: 2 uT east-west turn the heading by 5 degrees and
change the strength by a thousandth. The closing target is there for that.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from logger.arrays import Bools, Floats, freeze_columns
from logger.checks import Check, at_most
from logger.orientation.attitude import Attitude
from logger.orientation.corrections import CompassCorrection, FieldReference
from logger.orientation.running import rows_in, running_median
from logger.settings import Settings

MEDIAN_OVER_S = 1.0  # One noisy sample of a cheap magnetometer is no disturbance
DISTURBED_LIMIT = 0.10  # Share of samples that a sweep may lose to a magnetic disturbance
# Of a whole recording from the model: wide, for a board's own scale is in its strength
MODEL_SHARE, MODEL_DIP_DEG = 0.20, 6.0


@dataclass(frozen=True, eq=False)
class FieldCheck:
    """Strength and dip against the compass calibration's, one row a measuring instant."""

    t_s: Floats  # [s] Shape (N,)
    # From the calibration's, as running medians, signed; NaN without raw field. Shape (N,)
    strength_share: Floats
    dip_deg: Floats
    disturbed: Bools  # Past a limit of `Settings`. Shape (N,)
    checks: tuple[Check, ...] = ()

    def __post_init__(self) -> None:
        n = freeze_columns(self, ("t_s", "strength_share", "dip_deg"))
        freeze_columns(self, ("disturbed",), dtype=np.bool_, length=n)


def check_field(
    t_s: Floats,
    field_ut: Floats,
    attitude: Attitude,
    compass: CompassCorrection,
    model: FieldReference | None,
    settings: Settings,
) -> FieldCheck:
    """Hold a corrected field against the calibration's strength and dip, and the model's.

    A single row is held against the calibration. The model judges the recording as a whole (its
    medians): a board's own scale, and iron in the ground, differ from it everywhere alike.
    """
    strength, dip = np.full(len(t_s), np.nan), np.full(len(t_s), np.nan)
    known = attitude.known & np.isfinite(field_ut).all(axis=1)
    if known.any():
        h = field_ut[known]
        size = np.linalg.norm(h, axis=1)
        down = np.einsum("ni,ni->n", attitude.matrix[known, 2, :], h)
        rows = rows_in(t_s[known], MEDIAN_OVER_S)
        strength[known] = running_median(size, rows)
        angle = np.degrees(np.arcsin(np.clip(down / np.maximum(size, 1e-9), -1.0, 1.0)))
        dip[known] = running_median(angle, rows)
    share, turn = strength / compass.field_ut - 1.0, dip - compass.dip_deg
    with np.errstate(invalid="ignore"):
        disturbed = np.asarray(
            (np.abs(share) > settings.disturbance_share)
            | (np.abs(turn) > settings.disturbance_dip_deg)
        )
    checks: list[Check] = []
    if known.any():
        checks.append(_disturbance_check(t_s, share, turn, disturbed, int(known.sum())))
        if model is not None:
            middle = float(np.median(strength[known])), float(np.median(dip[known]))
            checks.append(model_check("magnetic field against the model", *middle, model))
    return FieldCheck(t_s, share, turn, disturbed, tuple(checks))


def model_check(name: str, strength_ut: float, dip_deg: float, model: FieldReference) -> Check:
    """Whether one strength and dip fit the model's."""
    share, turn = strength_ut / model.field_ut - 1.0, dip_deg - model.dip_deg
    passed = abs(share) <= MODEL_SHARE and abs(turn) <= MODEL_DIP_DEG
    why = (
        f"strength {strength_ut:.1f} µT and dip {dip_deg:.1f}° against {model.field_ut:.1f} µT "
        f"and {model.dip_deg:.1f}° of {model.source}"
    )
    if not passed:
        why += "; move away from iron, cars, steel roofs and cables, and calibrate there"
    return Check(name, passed, round(abs(turn), 2), MODEL_DIP_DEG, "deg", why)


def _disturbance_check(
    t_s: Floats, share: Floats, turn: Floats, disturbed: Bools, rows: int
) -> Check:
    lost = float(disturbed.sum()) / rows
    worst = f"{100 * np.nanmax(np.abs(share)):.0f} % and {np.nanmax(np.abs(turn)):.1f}°"
    why = f"strength and dip stay within {worst} of the calibration's"
    if disturbed.any():
        first, last = t_s[np.flatnonzero(disturbed)[[0, -1]]]
        why = (
            f"strength and dip depart from the calibration's by up to {worst}, between {first:.0f} "
            f"and {last:.0f} s; {int(disturbed.sum())} samples are not used"
        )
    away = "; stand further from iron, or sight the bearing of a closing target here"
    return at_most("magnetic disturbance", lost, DISTURBED_LIMIT, "", why, away, digits=4)
