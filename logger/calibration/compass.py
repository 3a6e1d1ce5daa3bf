"""Compass calibration from a tumble: the joint fit, its figures, and whether to believe it."""

from __future__ import annotations

from typing import Any

import numpy as np

from logger.arrays import Floats, floats
from logger.calibration.axes import refuse_swapped_axes, refuse_swapped_rate
from logger.calibration.compass_fit import (
    IRON,
    OFFSET,
    SCALE,
    HeadingError,
    JointFit,
    expected_error,
    fit_jointly,
)
from logger.calibration.coverage import LEAST_GAP_DEG, POOR_GAP_DEG, seen_from, side_of, widest_gap
from logger.calibration.fitted import Calibration, figures_of
from logger.calibration.stillness import gyro_bias
from logger.checks import Check, at_most
from logger.errors import InputError
from logger.orientation.corrections import CompassCorrection, FieldReference, matrix_of, vector_of
from logger.orientation.field_check import model_check
from logger.orientation.fusion import SensorPrior, attitude_over_recording
from logger.orientation.running import rows_in, running_mean
from logger.orientation.sight import FIELD_OUT_OF_RANGE, FORCE_OUT_OF_RANGE
from logger.recording.samples import Samples

LEAST_ROWS, LEAST_S = 150, 8.0
# A board whose down direction spreads no further than this (1 - mean resultant), or whose raw
# field changes by less, was not tumbled
STILL_SPREAD, LEAST_SPREAD_UT = 0.05, 5.0
# Expected heading error, 95 %: poor above the first, refused above the second
HEADING_LIMIT_DEG, HEADING_REFUSED_DEG = 1.5, 5.0
# Strength after correction, as a share: half-second means, RMS, and single rows
SCATTER_LIMIT, SCATTER_REFUSED = 0.04, 0.10
# Fitted strength and dip from the model's, beyond which the place is no place to calibrate
FIELD_REFUSED_SHARE, FIELD_REFUSED_DEG = 0.30, 12.0
# Of a gyro that nobody calibrated, and an accelerometer just corrected
TUMBLE = SensorPrior(
    scale_error=0.03, misalignment_error=0.02, offset_error_g=(0.002, 0.002, 0.002)
)
UNIT_UT = 50.0  # What a field of unit strength is given to the attitude as
AWAY = "walk away from magnets, cars, steel and cables (10 m) and tumble again"


def fit_compass(
    samples: Samples, model: FieldReference | None = None
) -> Calibration[CompassCorrection]:
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
    refuse_swapped_axes(fit, model)
    attitude = None
    if rows.has_rate.mean() > 0.8:
        refuse_swapped_rate(rows, fit)
        # The fused attitude of the tumble: its vertical is free of hand motion.
        field, force = fit.corrected(rows.field_ut, rows.force_g)
        every = np.ones(len(rows), dtype=bool)
        vectors = rows.rate_deg_s, force, field * UNIT_UT
        attitude = attitude_over_recording(rows.t_s, *vectors, every, TUMBLE)
        fit = fit_jointly(rows.t_s, rows.field_ut, rows.force_g, attitude.matrix) or fit
    strength = float(np.abs(np.linalg.det(fit.matrix)) ** (-1 / 3))
    dip = float(np.degrees(np.arcsin(np.clip(fit.dip_sine, -1, 1))))
    _refuse_a_disturbed_place(strength, dip, fit, model)
    field_gap = _field_gap(rows, fit)
    error = expected_error(fit)
    if not np.isfinite(error.heading_95_deg) or error.heading_95_deg > HEADING_REFUSED_DEG:
        raise InputError(
            f"the heading would be uncertain by {error.heading_95_deg:.0f}°",
            hint="tumble longer and more slowly, over all sides, away from iron",
        )
    correction = CompassCorrection(
        matrix=matrix_of(fit.matrix * strength),
        hard_iron_ut=vector_of(fit.theta[IRON]),
        field_ut=strength,
        dip_deg=dip,
        force_offset_g=vector_of(fit.theta[OFFSET]),
        force_scale=vector_of(fit.theta[SCALE]),
        rate_bias_deg_s=gyro_bias(samples),
        rate_matrix=attitude.rate_matrix if attitude else None,
        heading_error_deg=error.heading_deg,
        heading_ripple_deg=error.ripple_deg,
        level_error_deg=error.level_deg,
    )
    figures = figures_of(samples, _figures(rows, fit, correction, error, field_gap, model))
    return Calibration(correction, figures, _checks(figures, correction, model))


def _down(rows: Samples) -> Floats:
    return floats(-rows.force_g / np.linalg.norm(rows.force_g, axis=1, keepdims=True))


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
    down = _down(rows)
    still = float(np.linalg.norm(down.mean(axis=0))) > 1 - STILL_SPREAD
    if still or float(np.ptp(rows.field_ut, axis=0).max()) < LEAST_SPREAD_UT:
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


def _refuse_a_disturbed_place(
    strength: float, dip: float, fit: JointFit, model: FieldReference | None
) -> None:
    if model is not None:
        share, turn = strength / model.field_ut - 1, dip - model.dip_deg
        if abs(share) > FIELD_REFUSED_SHARE or abs(turn) > FIELD_REFUSED_DEG:
            raise InputError(
                f"the field here is {strength:.0f} µT with a dip of {dip:.0f}°, the model says "
                f"{model.field_ut:.0f} µT and {model.dip_deg:.0f}°: a magnet or iron is near",
                hint=AWAY,
            )
    # Four rows in five of a normal scatter lie within 1.28 sigma; a few wild rows do not matter.
    scatter = float(np.percentile(np.abs(fit.residual[:, 0]), 80)) / 1.28
    if scatter > SCATTER_REFUSED:
        raise InputError(
            f"the field's strength scatters by {100 * scatter:.0f} % while the board turns: a "
            "magnet or iron is near",
            hint=AWAY,
        )


def _field_gap(rows: Samples, fit: JointFit) -> float:
    """Widest cap of directions that the field never came from; refused where too wide. [deg]"""
    h, _ = fit.corrected(rows.field_ut, rows.force_g)
    step = max(1, len(h) // 3000)
    gap, centre = widest_gap(seen_from((h / np.linalg.norm(h, axis=1, keepdims=True))[::step]))
    if gap > LEAST_GAP_DEG:
        raise InputError(
            f"the field ran through one side of the board only: a cap of {gap:.0f}° round "
            f"its {side_of(centre)} was never seen",
            hint="tumble again and turn yourself round as well, by quarters",
        )
    return gap


def _figures(
    rows: Samples,
    fit: JointFit,
    correction: CompassCorrection,
    error: HeadingError,
    field_gap: float,
    model: FieldReference | None,
) -> dict[str, Any]:
    strength, dip, force = fit.residual.T
    cosine = max(np.sqrt(1 - fit.dip_sine**2), 1e-3)
    stretch = np.linalg.svd(fit.matrix, compute_uv=False)
    return {
        "samples": len(rows),
        "seconds_s": float(rows.t_s[-1] - rows.t_s[0]),
        "heading_error_deg": error.heading_deg,
        "heading_error_95_deg": error.heading_95_deg,
        "level_error_deg": error.level_deg,
        "strength_ut": correction.field_ut,
        "dip_deg": correction.dip_deg,
        "model_strength_ut": model.field_ut if model else None,
        "model_dip_deg": model.dip_deg if model else None,
        "hard_iron_ut": np.linalg.norm(correction.hard_iron_ut),
        "soft_iron_share": stretch[0] / stretch[2] - 1,
        "residual_share": _rms(strength),
        "residual_smoothed_share": _rms(running_mean(strength, rows_in(rows.t_s, 0.5))),
        "dip_residual_deg": np.degrees(_rms(dip) / cosine),
        "force_residual_g": _rms(force),
        "side_gap_deg": widest_gap(seen_from(_down(rows)))[0],
        "field_gap_deg": field_gap,
    }


def _rms(values: Floats) -> float:
    """Robust to a handful of wild rows: those past six robust deviations are clipped."""
    limit = 6 * 1.4826 * np.median(np.abs(values)) + 1e-12
    return float(np.sqrt(np.mean(np.clip(values, -limit, limit) ** 2)))


def _checks(
    figures: dict[str, Any], correction: CompassCorrection, model: FieldReference | None
) -> tuple[Check, ...]:
    error = figures["heading_error_95_deg"]
    gap = max(figures["side_gap_deg"], figures["field_gap_deg"])
    scatter = figures["residual_smoothed_share"]

    again = "; tumble again, slowly, over all sides, away from iron"
    good = f"the heading is good to {error:.2f}° (95 %) over a sweep's attitudes"
    wide = f"no direction is further than {gap:.0f}° from one that was covered"
    steady = f"corrected strength steady to {100 * scatter:.1f} % over half a second"
    steadiness = "steady magnetic field while tumbling"
    checks = [
        at_most("compass heading error", error, HEADING_LIMIT_DEG, "deg", good, again),
        at_most("tumble coverage", gap, POOR_GAP_DEG, "deg", wide, again, digits=1),
        at_most(steadiness, scatter, SCATTER_LIMIT, "", steady, again, digits=4),
    ]
    if model is not None:
        found = correction.field_ut, correction.dip_deg
        checks.append(model_check("magnetic field at the calibration", *found, model))
    return tuple(checks)
