"""Compass calibration from a tumble: the joint fit, its figures, and whether to believe it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from scipy.ndimage import uniform_filter1d
from scipy.spatial.transform import Rotation

from logger.arrays import Floats, floats
from logger.calibration.compass_fit import HeadingError, JointFit, expected_error, fit_jointly
from logger.calibration.coverage import LEAST_GAP_DEG, POOR_GAP_DEG, seen_from, side_of, widest_gap
from logger.calibration.stillness import gyro_bias
from logger.checks import Check
from logger.errors import InputError
from logger.geometry import attitude_from_vectors
from logger.orientation.attitude import Attitude
from logger.orientation.corrections import CompassCorrection, FieldReference
from logger.orientation.field_check import model_check
from logger.orientation.fusion import SensorPrior, attitude_over_recording
from logger.orientation.running import rows_in
from logger.orientation.sight import FIELD_OUT_OF_RANGE, FORCE_OUT_OF_RANGE
from logger.recording.samples import Samples

LEAST_ROWS = 150
LEAST_S = 8.0
STILL_SPREAD = 0.05
"""A board whose down direction spreads no further than this (1 - mean resultant) lies still."""
AXIS_TURN_DEG = 30.0
"""Cheap sensors sit within a degree or two of their package; a turn past this is a swapped or
reversed axis. [deg]"""
SPREAD_LEAST_UT = 5.0
HEADING_LIMIT_DEG, HEADING_REFUSED_DEG = 1.5, 5.0
"""Expected heading error, 95 %: poor above the first, refused above the second. [deg]"""
SCATTER_LIMIT_SHARE, SCATTER_REFUSED_SHARE = 0.04, 0.10
"""Strength after correction, as a share: half-second means, RMS, and single rows."""
FIELD_REFUSED_SHARE, FIELD_REFUSED_DEG = 0.30, 12.0
"""Fitted strength and dip from the model's, beyond which the place is no place to calibrate."""


@dataclass(frozen=True)
class CompassCalibration:
    """A compass calibration with its proof."""

    correction: CompassCorrection
    # What the report prints: ``heading_error_95_deg``, ``residual_share`` and the like
    figures: dict[str, Any]
    checks: tuple[Check, ...]


def fit_compass(samples: Samples, model: FieldReference | None = None) -> CompassCalibration:
    """Fit a compass from a tumble of 20 to 60 s."""
    sound = samples.has_field & ((samples.status & (FIELD_OUT_OF_RANGE | FORCE_OUT_OF_RANGE)) == 0)
    rows = samples.rows(sound)
    _refuse_what_is_no_tumble(samples, rows)
    fit = fit_jointly(rows.t_s, rows.field_ut, rows.force_g)
    if fit is None:
        raise InputError(
            "the field's directions lie on no ellipsoid",
            hint="tumble the board over all its sides, away from iron, and record again",
        )
    _refuse_swapped_axes(fit, model)
    attitude = None
    if rows.has_rate.mean() > 0.8:
        _refuse_swapped_rate(rows, fit)
        attitude = _attitude_by_gyro(rows, fit)
        fit = fit_jointly(rows.t_s, rows.field_ut, rows.force_g, attitude.matrix) or fit
    strength = float(np.abs(np.linalg.det(fit.matrix)) ** (-1 / 3))
    dip = float(np.degrees(np.arcsin(np.clip(fit.dip_sine, -1, 1))))
    _refuse_a_disturbed_place(strength, dip, fit, model)
    field_gap, field_centre = _field_gap(rows, fit)
    if field_gap > LEAST_GAP_DEG:
        raise InputError(
            f"the field ran through one side of the board only: a cap of {field_gap:.0f}° round "
            f"its {side_of(field_centre)} was never seen",
            hint="tumble again and turn yourself round as well, by quarters",
        )
    error = expected_error(fit)
    if not np.isfinite(error.heading_95_deg) or error.heading_95_deg > HEADING_REFUSED_DEG:
        raise InputError(
            f"the heading would be uncertain by {error.heading_95_deg:.0f}°",
            hint="tumble longer and more slowly, over all sides, away from iron",
        )
    x, y, z = (tuple(float(v) for v in row) for row in fit.matrix * strength)
    correction = CompassCorrection(
        matrix=(x, y, z),  # type: ignore[arg-type]
        hard_iron_ut=tuple(map(float, fit.hard_iron_ut)),  # type: ignore[arg-type]
        field_ut=strength,
        dip_deg=dip,
        force_offset_g=tuple(map(float, fit.force_offset_g)),  # type: ignore[arg-type]
        force_scale=tuple(map(float, fit.force_scale)),  # type: ignore[arg-type]
        rate_bias_deg_s=gyro_bias(samples),
        rate_matrix=attitude.rate_matrix if attitude else None,
        heading_error_deg=error.heading_deg,
        heading_ripple_deg=error.ripple_deg,
        level_error_deg=error.level_deg,
    )
    figures = _figures(rows, fit, correction, error, field_gap, model)
    return CompassCalibration(correction, figures, _checks(figures, correction, model))


def _refuse_what_is_no_tumble(samples: Samples, rows: Samples) -> None:
    if not samples.has_field.any():
        raise InputError(
            "the board sends no raw field: a tumble cannot calibrate it",
            hint="swing it over known bearings instead, or ask it for the streams A and M",
        )
    if len(rows) < LEAST_ROWS or rows.t_s[-1] - rows.t_s[0] < LEAST_S:
        long = rows.t_s[-1] - rows.t_s[0] if len(rows) else 0.0
        raise InputError(
            f"only {len(rows)} usable samples over {long:.0f} s",
            hint="tumble the board for 20 to 60 s over all its sides",
        )
    down = -rows.force_g / np.linalg.norm(rows.force_g, axis=1, keepdims=True)
    still = float(np.linalg.norm(down.mean(axis=0))) > 1 - STILL_SPREAD
    if still or float(np.ptp(rows.field_ut, axis=0).max()) < SPREAD_LEAST_UT:
        raise InputError(
            "the board hardly moved",
            hint="pick it up and turn it over all its sides for 20 to 60 s",
        )
    gap, centre = widest_gap(seen_from(down))
    if gap > LEAST_GAP_DEG:
        raise InputError(
            f"the tumble covers one hemisphere only: the {side_of(centre)} never faced the ground",
            hint=f"tumble again and turn the {side_of(centre)} down as well",
        )


def _refuse_swapped_axes(fit: JointFit, model: FieldReference | None) -> None:
    """A matrix far from a plain stretch means field and force disagree about the axes."""
    turn = _nearest_turn(fit.matrix)
    # Turn and dip are known up to one common sign; the model's hemisphere tells which.
    if model is not None and abs(model.dip_deg) > 20 and fit.dip_sine * model.dip_deg < 0:
        turn = -turn
    wrong = _wrong_axes(turn)
    if wrong:
        raise InputError(
            f"the magnetometer's axes do not match the accelerometer's: its {wrong}",
            hint=AXES_HINT,
        )


def _refuse_swapped_rate(rows: Samples, fit: JointFit) -> None:
    """The gyro must turn the way that field and force turn."""
    attitude = attitude_from_vectors(
        (rows.field_ut - fit.hard_iron_ut) @ fit.matrix.T,
        (rows.force_g - fit.force_offset_g) * fit.force_scale,
    )
    apart = max(1, rows_in(rows.t_s, 0.2) - 1)
    elapsed = rows.t_s[apart:] - rows.t_s[:-apart]
    between = np.swapaxes(attitude[:-apart], -1, -2) @ attitude[apart:]
    sound = np.isfinite(between).all(axis=(1, 2)) & (elapsed > 0)
    turned = np.degrees(Rotation.from_matrix(between[sound]).as_rotvec()) / elapsed[sound, None]
    mean = np.concatenate([np.zeros((1, 3)), np.cumsum(np.nan_to_num(rows.rate_deg_s), axis=0)])
    rate = ((mean[apart + 1 :] - mean[1:-apart]) / apart)[sound]
    # Long turns between two rows may go the other way round; they are few.
    slow = np.linalg.norm(turned, axis=1) < 150.0 / np.median(elapsed)
    design = np.column_stack([rate[slow], np.ones(int(slow.sum()))])
    found = np.linalg.lstsq(design, turned[slow], rcond=None)[0][:3].T
    wrong = _wrong_axes(_nearest_turn(found))
    if wrong:
        raise InputError(
            f"the gyro's axes do not match the other sensors': its {wrong}", hint=AXES_HINT
        )


AXES_HINT = (
    "an axis is swapped or reversed: correct the board's axis mapping (x forward, y right, "
    "z down for every sensor) and tumble again"
)


def _nearest_turn(matrix: Floats) -> Floats:
    """The orthogonal matrix nearest to a matrix."""
    left, _, right = np.linalg.svd(matrix)
    return floats(left @ right)


def _wrong_axes(turn: Floats) -> str:
    """Which axes an orthogonal matrix exchanges, in words; empty where it hardly turns."""
    angle = np.degrees(np.arccos(np.clip((np.trace(turn) - 1) / 2, -1, 1)))
    if np.linalg.det(turn) > 0 and angle <= AXIS_TURN_DEG:
        return ""
    wrong = []
    for i in range(3):
        j = int(np.argmax(np.abs(turn[i])))
        if i != j or turn[i, j] < 0:
            wrong.append(f"{'xyz'[i]} is sent as {'-' if turn[i, j] < 0 else ''}{'xyz'[j]}")
    return ", ".join(wrong) or f"axes are turned by {angle:.0f}°"


def _refuse_a_disturbed_place(
    strength: float, dip: float, fit: JointFit, model: FieldReference | None
) -> None:
    away = "walk away from magnets, cars, steel and cables (10 m) and tumble again"
    if model is not None:
        share, turn = strength / model.field_ut - 1, dip - model.dip_deg
        if abs(share) > FIELD_REFUSED_SHARE or abs(turn) > FIELD_REFUSED_DEG:
            raise InputError(
                f"the field here is {strength:.0f} µT with a dip of {dip:.0f}°, the model says "
                f"{model.field_ut:.0f} µT and {model.dip_deg:.0f}°: a magnet or iron is near",
                hint=away,
            )
    # Four rows in five of a normal scatter lie within 1.28 sigma; a few wild rows do not matter.
    scatter = float(np.percentile(np.abs(fit.strength_residual), 80)) / 1.28
    if scatter > SCATTER_REFUSED_SHARE:
        raise InputError(
            f"the field's strength scatters by {100 * scatter:.0f} % while the board turns: a "
            "magnet or iron is near",
            hint=away,
        )


def _attitude_by_gyro(rows: Samples, fit: JointFit) -> Attitude:
    """The fused attitude of the tumble: its vertical is free of hand motion."""
    return attitude_over_recording(
        rows.t_s,
        rows.rate_deg_s,
        (rows.force_g - fit.force_offset_g) * fit.force_scale,
        (rows.field_ut - fit.hard_iron_ut) @ fit.matrix.T * 50.0,
        np.ones(len(rows), dtype=bool),
        SensorPrior(
            scale_error=0.03, misalignment_error=0.02, offset_error_g=(0.002, 0.002, 0.002)
        ),
    )


def _field_gap(rows: Samples, fit: JointFit) -> tuple[float, Floats]:
    h = (rows.field_ut - fit.hard_iron_ut) @ fit.matrix.T
    step = max(1, len(h) // 3000)
    return widest_gap(seen_from((h / np.linalg.norm(h, axis=1, keepdims=True))[::step]))


def _figures(
    rows: Samples,
    fit: JointFit,
    correction: CompassCorrection,
    error: HeadingError,
    field_gap: float,
    model: FieldReference | None,
) -> dict[str, Any]:
    down = -rows.force_g / np.linalg.norm(rows.force_g, axis=1, keepdims=True)
    window = rows_in(rows.t_s, 0.5)
    smooth = uniform_filter1d(fit.strength_residual, window, mode="nearest")
    cosine = max(np.sqrt(1 - fit.dip_sine**2), 1e-3)
    stretch = np.linalg.svd(fit.matrix, compute_uv=False)
    temperature = rows.temperature_c[np.isfinite(rows.temperature_c)]
    found: dict[str, Any] = {
        "samples": len(rows),
        "seconds_s": float(rows.t_s[-1] - rows.t_s[0]),
        "heading_error_deg": error.heading_deg,
        "heading_error_95_deg": error.heading_95_deg,
        "level_error_deg": error.level_deg,
        "strength_ut": correction.field_ut,
        "dip_deg": correction.dip_deg,
        "model_strength_ut": model.field_ut if model else None,
        "model_dip_deg": model.dip_deg if model else None,
        "hard_iron_ut": float(np.linalg.norm(fit.hard_iron_ut)),
        "soft_iron_share": float(stretch[0] / stretch[2] - 1),
        "residual_share": _rms(fit.strength_residual),
        "residual_smoothed_share": _rms(smooth),
        "dip_residual_deg": float(np.degrees(_rms(fit.dip_residual) / cosine)),
        "force_residual_g": _rms(fit.force_residual),
        "side_gap_deg": widest_gap(seen_from(down))[0],
        "field_gap_deg": field_gap,
        "temperature_c": float(np.median(temperature)) if len(temperature) else None,
    }
    return {key: round(v, 5) if isinstance(v, float) else v for key, v in found.items()}


def _rms(values: Floats) -> float:
    """Robust to a handful of wild rows: those past six robust deviations are clipped."""
    limit = 6 * 1.4826 * np.median(np.abs(values)) + 1e-12
    return float(np.sqrt(np.mean(np.clip(values, -limit, limit) ** 2)))


def _checks(
    figures: dict[str, Any],
    correction: CompassCorrection,
    model: FieldReference | None,
) -> tuple[Check, ...]:
    error = figures["heading_error_95_deg"]
    gap = max(figures["side_gap_deg"], figures["field_gap_deg"])
    scatter = figures["residual_smoothed_share"]
    again = "; tumble again, slowly, over all sides, away from iron"
    checks = [
        Check(
            "compass heading error",
            error <= HEADING_LIMIT_DEG,
            round(error, 3),
            HEADING_LIMIT_DEG,
            "deg",
            f"the heading is good to {error:.2f}° (95 %) over a sweep's attitudes"
            + ("" if error <= HEADING_LIMIT_DEG else again),
        ),
        Check(
            "tumble coverage",
            gap <= POOR_GAP_DEG,
            round(gap, 1),
            POOR_GAP_DEG,
            "deg",
            f"no direction is further than {gap:.0f}° from one that was covered"
            + ("" if gap <= POOR_GAP_DEG else again),
        ),
        Check(
            "steady magnetic field while tumbling",
            scatter <= SCATTER_LIMIT_SHARE,
            round(scatter, 4),
            SCATTER_LIMIT_SHARE,
            "",
            f"corrected strength steady to {100 * scatter:.1f} % over half a second"
            + ("" if scatter <= SCATTER_LIMIT_SHARE else again),
        ),
    ]
    if model is not None:
        found = correction.field_ut, correction.dip_deg
        checks.append(model_check("magnetic field at the calibration", *found, model))
    return tuple(checks)
