"""From samples and corrections to true directions of the line of sight."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from logger.arrays import Bools, Floats, Texts
from logger.checks import NORMAL_95, Check
from logger.geometry import angles_of, attitude_matrix, direction_of, wrap360
from logger.orientation.attitude import Attitude, attitude_row_by_row
from logger.orientation.corrections import (
    CompassCorrection,
    Corrections,
    LevelCorrection,
    vector_of,
)
from logger.orientation.field_check import FieldCheck, check_field
from logger.orientation.fusion import SensorPrior
from logger.orientation.sight_lines import SightLines
from logger.orientation.stretches import attitude_in_stretches
from logger.recording.samples import Samples
from logger.settings import Settings

# The bits of the wire's ``status``
TILT_COMPENSATED, FIELD_OUT_OF_RANGE, FORCE_OUT_OF_RANGE, ASKS_FOR_CALIBRATION = 1, 2, 4, 8
OUT_OF_RANGE = "board says out of range"
NO_DIRECTION = "no direction"
DISTURBED = "magnetic disturbance"
SHAKEN = "board shaken"
NOT_COMPENSATED = "heading not compensated for roll and pitch"
# A heading not compensated for lean is off by up to the lean times tan(dip)
UNCOMPENSATED_LEAN_DEG = 2.0
SHAKEN_G = 0.15  # Without a gyro, a specific force this far from 1 g says nothing of the level
# Random error of one attitude computed by the board (common practice, no source)
BOARD_ATTITUDE_ERROR_DEG = 0.5
# Heading error that all rows share without calibration: of a board that computes its own
# heading, and of a raw stream (common practice, no source)
BOARD_HEADING_ERROR_DEG, RAW_HEADING_ERROR_DEG = 2.0, 5.0
# Level error that all rows share without calibration (BROAD trials 02 and 05, Laidig et al.,
# Data 6(7):72, 2021: 0.43 RMS at rest)
UNCALIBRATED_LEVEL_ERROR_DEG = 0.5
# What an accelerometer's curvature and cross-talk leave (common practice, no source)
LEVEL_FLOOR_DEG = 0.03
# Of a gyro whose matrix a tumble gave, 1 sigma
CALIBRATED_SCALE_ERROR, CALIBRATED_MISALIGNMENT = 0.002, 0.001
# How far sensors may be from their calibration (common practice, no source)
USUAL = SensorPrior(bias_error_deg_s=0.3)


@dataclass(frozen=True, eq=False)
class Orientation:
    """Sight lines and what was learnt on the way."""

    sight: SightLines
    # Body to level; north is magnetic north. No level correction is in it but the pitch offset.
    attitude: Attitude
    field: FieldCheck | None  # None without raw field or without compass calibration
    checks: tuple[Check, ...]


def orient(
    samples: Samples,
    corrections: Corrections,
    settings: Settings | None = None,
    prior: SensorPrior = USUAL,
) -> Orientation:
    """Sight lines together with attitude, magnetic field and checks.

    A recording whose rows hold raw field and force, or most of them, is worked out from these; any
    other from the attitude that the board computed.
    """
    settings = settings or Settings()
    raw = samples.is_raw
    # One attitude over the whole recording takes enough angular rate.
    long = len(samples) >= 20 and samples.t_s[-1] - samples.t_s[0] >= 0.2
    fusible = settings.use_gyro and bool(long) and float(samples.has_rate.mean()) > 0.8
    steps: list[str] = []
    field = None
    if raw:
        attitude, field = _raw_attitude(samples, corrections, settings, prior, fusible, steps)
    else:
        attitude = _board_attitude(samples, corrections, fusible, steps)

    _, roll, _ = angles_of(attitude.matrix)
    level = corrections.level or LevelCorrection()
    if corrections.level:
        steps.append(f"index {level.index_deg:+.2f}°, collimation {level.collimation_deg:+.2f}°")
    azimuth, elevation = direction_of(attitude.matrix @ level.sight_in_body())
    azimuth = wrap360(azimuth + _turn_deg(samples, raw, corrections, steps))
    # RMS of both components on the sphere; the azimuth's shrinks towards the zenith.
    across = attitude.heading_error_deg * np.cos(np.radians(elevation))
    used, reason = _judge(samples, raw, azimuth, elevation, attitude, field)
    sight = SightLines(
        t_s=samples.t_s,
        azimuth_deg=azimuth,
        elevation_deg=elevation,
        roll_deg=roll if raw else np.where(np.isfinite(samples.roll_deg), roll, np.nan),
        standard_error_deg=np.sqrt((across**2 + attitude.level_error_deg**2) / 2),
        used=used,
        reason=reason,
        heading_error_deg=_heading_error_deg(samples, raw, corrections),
        level_error_deg=_level_error_deg(raw, attitude, corrections, prior),
        steps=tuple(steps),
    )
    checks = (*(field.checks if field else ()), *_status_checks(samples, raw, corrections))
    return Orientation(sight, attitude, field, checks)


def _board_attitude(
    samples: Samples, corrections: Corrections, fusible: bool, steps: list[str]
) -> Attitude:
    """The attitude that the board itself computed, its compass deviation corrected."""
    n, own = len(samples), samples.has_attitude
    matrix, error = np.full((n, 3, 3), np.nan), np.full(n, np.nan)
    if own.any():
        steps.append("attitude as the board computes it")
        heading, pitch = samples.heading_deg[own], samples.pitch_deg[own]
        if corrections.deviation is not None:
            deviation = corrections.deviation.deviation_deg(heading)
            heading = np.where(samples.heading_is_true[own], heading, heading + deviation)
            steps.append(f"deviation curve, {np.min(deviation):+.1f}° to {np.max(deviation):+.1f}°")
        if corrections.level is not None and corrections.level.pitch_offset_deg:
            # The accelerometer adds a constant to sin(pitch): more to a steep pitch than a level.
            shrink = np.maximum(np.cos(np.radians(pitch)), 0.1)
            pitch = pitch - corrections.level.pitch_offset_deg / shrink
        # A board without a roll sensor is held upright; only collimation would need its roll.
        matrix[own] = attitude_matrix(heading, np.nan_to_num(samples.roll_deg[own]), pitch)
        error[own] = BOARD_ATTITUDE_ERROR_DEG
    attitude = Attitude(matrix, error, error)
    if not (own.any() and fusible):
        return attitude
    # It stands in for force and field.
    steps.append("board's attitude and angular rate fused over the whole recording")
    force, north = -matrix[:, 2, :], matrix[:, 0, :]
    return attitude_in_stretches(samples.t_s, samples.rate_deg_s, force, north, attitude.known)


def _raw_attitude(
    samples: Samples,
    corrections: Corrections,
    settings: Settings,
    prior: SensorPrior,
    fusible: bool,
    steps: list[str],
) -> tuple[Attitude, FieldCheck | None]:
    """Attitude from raw streams; the field is checked where there is a compass calibration."""
    compass = corrections.compass or CompassCorrection()
    field = compass.corrected_field(samples.field_ut)
    force = compass.corrected_force(samples.force_g)
    if corrections.compass is None:
        steps.append("raw field and force, no compass calibration")
    else:
        size = np.linalg.norm(compass.hard_iron_ut)
        steps.append(f"compass calibration, hard iron {size:.1f} µT")
    if corrections.level is not None and corrections.level.pitch_offset_deg:
        force = force - np.array([np.sin(np.radians(corrections.level.pitch_offset_deg)), 0, 0])

    def attitude_trusting(rows: Bools) -> Attitude:
        if not fusible:
            return attitude_row_by_row(samples.t_s, field, force)
        rate = compass.corrected_rate(samples.rate_deg_s)
        known = _calibrated(prior, corrections)
        return attitude_in_stretches(samples.t_s, rate, force, field, rows, known)

    attitude, found = attitude_trusting(samples.has_field), None
    if corrections.compass is not None:
        found = check_field(samples.t_s, field, attitude, compass, corrections.field, settings)
        sound = samples.has_field & ~found.disturbed
        if found.disturbed.any() and sound.any() and attitude.fused:
            # A disturbed stretch must not bend the heading of its neighbours.
            attitude = attitude_trusting(sound)
    steps.append(
        "attitude from field, force and angular rate, fused over the whole recording"
        if attitude.fused
        else "attitude from field and force, each row on its own"
    )
    if attitude.dip_error_deg is not None:
        steps.append(
            "level along the meridian held by the dip, too "
            f"(±{NORMAL_95 * attitude.dip_error_deg:.2f}°, 95 %)"
        )
    return attitude, found


def _calibrated(prior: SensorPrior, corrections: Corrections) -> SensorPrior:
    """What the calibrations say of gyro and accelerometer."""
    compass, level = corrections.compass, corrections.level
    if level is not None and level.pitch_offset_error_deg > 0:
        along = float(np.radians(level.pitch_offset_error_deg))
        prior = replace(prior, offset_error_g=(along, *prior.offset_error_g[1:]))
    if compass is None or compass.rate_bias_deg_s is None:
        prior = replace(prior, bias_error_deg_s=SensorPrior.bias_error_deg_s)
    else:
        bias = vector_of(compass.corrected_rate(compass.rate_bias_deg_s))
        prior = replace(prior, bias_deg_s=bias)
    if compass is None:
        return prior
    prior = replace(prior, dip_deg=compass.dip_deg, strength_ut=compass.field_ut)
    if compass.rate_matrix is not None:
        prior = replace(
            prior, scale_error=CALIBRATED_SCALE_ERROR, misalignment_error=CALIBRATED_MISALIGNMENT
        )
    return prior


def _turn_deg(samples: Samples, raw: bool, corrections: Corrections, steps: list[str]) -> Floats:
    """What turns magnetic north (or the board's true north) into true north, row by row."""
    bearing, declination = corrections.bearing, corrections.declination
    if bearing is not None:
        steps.append(f"heading {bearing.heading_deg:+.2f}° by {bearing.source}")
        return np.full(len(samples), bearing.heading_deg)
    true = samples.heading_is_true & (not raw)
    if not true.all() or not len(samples):
        steps.append(f"declination {declination.value_deg:+.2f}° ({declination.source})")
    if true.any():
        steps.append("no declination for headings that are already true")
    return np.where(true, 0.0, declination.value_deg)


def _judge(
    samples: Samples,
    raw: bool,
    azimuth: Floats,
    elevation: Floats,
    attitude: Attitude,
    field: FieldCheck | None,
) -> tuple[Bools, Texts]:
    """Which rows are used, and why the others are not; the first reason that holds counts."""
    used = np.ones(len(samples), dtype=bool)
    reason = np.full(len(samples), "", dtype=object)

    def drop(rows: Bools, why: str) -> None:
        reason[rows & used] = why
        used[rows] = False

    drop((samples.status & (FIELD_OUT_OF_RANGE | FORCE_OUT_OF_RANGE)) != 0, OUT_OF_RANGE)
    drop(~(np.isfinite(azimuth) & np.isfinite(elevation)), NO_DIRECTION)
    if not raw:
        ours = (samples.seq >= 0) & ((samples.status & TILT_COMPENSATED) == 0)
        lean = np.hypot(np.nan_to_num(samples.roll_deg), np.nan_to_num(samples.pitch_deg))
        drop(ours & (lean > UNCOMPENSATED_LEAN_DEG), NOT_COMPENSATED)
    if field is not None:
        drop(field.disturbed, DISTURBED)
    if raw and not attitude.fused:
        with np.errstate(invalid="ignore"):
            drop(attitude.level_error_deg > np.degrees(SHAKEN_G), SHAKEN)
    return used, reason


def _heading_error_deg(samples: Samples, raw: bool, corrections: Corrections) -> float:
    """Standard error that turns all rows together."""
    if raw:
        compass = corrections.compass
        whole = compass.heading_error_deg if compass else RAW_HEADING_ERROR_DEG
        ripple = compass.heading_ripple_deg if compass else RAW_HEADING_ERROR_DEG
    else:
        curve = corrections.deviation
        whole = ripple = curve.standard_error_deg if curve else BOARD_HEADING_ERROR_DEG
    level = corrections.level.collimation_error_deg if corrections.level else 0.0
    if corrections.bearing is not None:
        return float(np.hypot(np.hypot(corrections.bearing.standard_error_deg, ripple), level))
    true = not raw and len(samples) > 0 and bool(samples.heading_is_true.all())
    declination = 0.0 if true else corrections.declination.standard_error_deg
    return float(np.hypot(np.hypot(declination, whole), level))


def _level_error_deg(
    raw: bool, attitude: Attitude, corrections: Corrections, prior: SensorPrior
) -> float:
    """Standard error that lifts all rows together."""
    level, compass = corrections.level, corrections.compass
    measured = level.pitch_offset_error_deg if level else 0.0
    if attitude.steady_level_error_deg is not None and (compass is not None or measured > 0):
        offset = float(np.hypot(attitude.steady_level_error_deg, LEVEL_FLOOR_DEG))
    elif measured > 0:
        offset = measured
    elif raw and compass is not None:
        offset = float(np.hypot(compass.level_error_deg, np.degrees(prior.offset_error_g[0])))
    else:
        offset = UNCALIBRATED_LEVEL_ERROR_DEG
    return float(np.hypot(offset, level.index_error_deg if level else 0.0))


def _status_checks(samples: Samples, raw: bool, corrections: Corrections) -> tuple[Check, ...]:
    asks = (samples.status & ASKS_FOR_CALIBRATION) != 0
    if raw or not asks.any() or corrections.deviation is not None:
        return ()
    share = float(asks.mean())
    why = f"the board asks for calibration in {100 * share:.0f} % of its samples: calibrate it"
    return (Check("board calibrated", False, round(share, 4), 0.0, "", why),)
