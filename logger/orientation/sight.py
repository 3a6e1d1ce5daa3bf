"""From samples and corrections to true directions of the line of sight."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from logger.arrays import Bools, Floats, Texts
from logger.checks import NORMAL_95, Check
from logger.geometry import angles_of, attitude_matrix, direction_of, wrap360
from logger.orientation.attitude import Attitude, attitude_row_by_row
from logger.orientation.corrections import CompassCorrection, Corrections, LevelCorrection
from logger.orientation.field_check import FieldWatch, watch_field
from logger.orientation.fusion import SensorPrior
from logger.orientation.settings import OrientationSettings
from logger.orientation.sight_lines import SightLines
from logger.orientation.stretches import attitude_in_stretches
from logger.recording.samples import Samples

TILT_COMPENSATED, FIELD_OUT_OF_RANGE, FORCE_OUT_OF_RANGE, ASKS_FOR_CALIBRATION = 1, 2, 4, 8
"""The bits of the wire's ``status``."""

OUT_OF_RANGE = "board says out of range"
NO_DIRECTION = "no direction"
DISTURBED = "field disturbed"
SHAKEN = "board shaken"
NOT_COMPENSATED = "heading not compensated for lean"


@dataclass(frozen=True, eq=False)
class Orientation:
    """Sight lines and what was learnt on the way."""

    sight: SightLines
    # Body to level; north is magnetic north. No level correction is in it but the pitch offset.
    attitude: Attitude
    watch: FieldWatch | None  # None without raw field or without compass calibration
    checks: tuple[Check, ...]
    # Of the gyro over this recording, beside its calibration. [deg/s]
    rate_bias_deg_s: tuple[float, float, float] | None = None
    rate_scale: tuple[float, float, float] | None = None


def sight_lines(
    samples: Samples, corrections: Corrections, settings: OrientationSettings | None = None
) -> SightLines:
    """True azimuth and elevation of the line of sight, one row a measuring instant.

    Rows with raw field and force use them; other rows use the board's own attitude. See
    `orient` for the field watch and the gyro's figures beside it.
    """
    return orient(samples, corrections, settings).sight


def orient(
    samples: Samples, corrections: Corrections, settings: OrientationSettings | None = None
) -> Orientation:
    """`sight_lines` together with the field watch, its checks and the gyro's figures."""
    settings = settings or OrientationSettings()
    raw = samples.has_field
    own = samples.has_attitude & ~raw
    steps: list[str] = []
    watch = None
    if own.any() or not raw.any():
        attitude = _board_attitude(samples, own, corrections, settings, steps)
    if raw.any():
        measured, watch = _raw_attitude(samples, corrections, settings, steps)
        merged = own.any() and not _fusible(samples, settings)
        attitude = _merged(measured, attitude, own) if merged else measured
    elif own.any() and _fusible(samples, settings):
        attitude = _fused_board_attitude(samples, attitude, settings, steps)
    matrix = attitude.matrix
    heading_error, level_error = attitude.heading_error_deg, attitude.level_error_deg
    tilt_known = ~own | np.isfinite(samples.tilt_deg)

    _, tilt, _ = angles_of(matrix)
    azimuth, elevation = direction_of(matrix @ _sight(corrections.level, steps))
    azimuth = wrap360(azimuth + _turn_deg(samples, corrections, steps))
    # RMS of both components on the sphere; the azimuth's shrinks towards the zenith.
    across = heading_error * np.cos(np.radians(elevation))
    error = np.sqrt((across**2 + level_error**2) / 2)

    used, reason = _judge(samples, raw, azimuth, elevation, attitude, watch, settings)
    sight = SightLines(
        t_s=samples.t_s,
        azimuth_deg=azimuth,
        elevation_deg=elevation,
        tilt_deg=np.where(tilt_known, tilt, np.nan),
        standard_error_deg=error,
        used=used,
        reason=reason,
        heading_error_deg=_heading_error_deg(samples, raw, corrections, settings),
        level_error_deg=_level_error_deg(raw, attitude, corrections, settings),
        steps=tuple(steps),
    )
    checks = (*(watch.checks if watch else ()), *_status_checks(samples, raw, corrections))
    return Orientation(
        sight,
        attitude,
        watch,
        checks,
        attitude.rate_bias_deg_s,
        None
        if attitude.rate_matrix is None
        else tuple(attitude.rate_matrix[i][i] for i in range(3)),  # type: ignore[arg-type]
    )


def _board_attitude(
    samples: Samples,
    own: Bools,
    corrections: Corrections,
    settings: OrientationSettings,
    steps: list[str],
) -> Attitude:
    """The attitude that the board itself computed, its compass deviation corrected."""
    n = len(samples)
    matrix, error = np.broadcast_to(np.nan, (n, 3, 3)), np.full(n, np.nan)
    if own.any():
        steps.append("attitude as the board computes it")
        heading = samples.heading_deg[own]
        if corrections.deviation is not None:
            deviation = corrections.deviation.deviation_deg(heading)
            heading = np.where(samples.heading_is_true[own], heading, heading + deviation)
            steps.append(f"deviation curve, {np.min(deviation):+.1f}° to {np.max(deviation):+.1f}°")
        pitch = samples.pitch_deg[own]
        if corrections.level is not None and corrections.level.pitch_offset_deg:
            # The accelerometer adds a constant to sin(pitch): more to a steep pitch than a level.
            shrink = np.maximum(np.cos(np.radians(pitch)), 0.1)
            pitch = pitch - corrections.level.pitch_offset_deg / shrink
        # A board without a roll sensor is held upright; only collimation would need its tilt.
        found = attitude_matrix(heading, np.nan_to_num(samples.tilt_deg[own]), pitch)
        if own.all():
            matrix = found
        else:
            matrix = np.full((n, 3, 3), np.nan)
            matrix[own] = found
        error[own] = settings.board_attitude_error_deg
    return Attitude(matrix, error, error)


def _fusible(samples: Samples, settings: OrientationSettings) -> bool:
    """Whether the stream has enough angular rate for one attitude over the whole recording."""
    if not settings.use_rate or len(samples) < 20 or samples.t_s[-1] - samples.t_s[0] < 0.2:
        return False
    return float(samples.has_rate.mean()) > 0.8


def _fused_board_attitude(
    samples: Samples, board: Attitude, settings: OrientationSettings, steps: list[str]
) -> Attitude:
    """A stream of attitude and rate without raw field: the board's attitude stands in for it."""
    steps.append("board's attitude and angular rate fused over the whole recording")
    return attitude_in_stretches(
        samples.t_s,
        samples.rate_deg_s,
        force_g=-board.matrix[:, 2, :],
        field_ut=board.matrix[:, 0, :],
        field_trusted=board.known,
        settings=settings,
    )


def _raw_attitude(
    samples: Samples, corrections: Corrections, settings: OrientationSettings, steps: list[str]
) -> tuple[Attitude, FieldWatch | None]:
    """Attitude from raw streams, with the field watch where there is a compass calibration."""
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
        if not _fusible(samples, settings):
            return attitude_row_by_row(samples.t_s, field, force, settings)
        rate = compass.corrected_rate(samples.rate_deg_s)
        return attitude_in_stretches(
            samples.t_s, rate, force, field, rows, settings, _prior(corrections, settings)
        )

    attitude = attitude_trusting(samples.has_field)
    watch = None
    if corrections.compass is not None:
        watch = watch_field(samples.t_s, field, attitude, compass, corrections.field, settings)
        sound = samples.has_field & ~watch.rejected
        if watch.rejected.any() and sound.any() and attitude.rate_bias_deg_s is not None:
            # A disturbed stretch must not bend the heading of its neighbours.
            attitude = attitude_trusting(sound)
    steps.append(
        "attitude from field and force, each row on its own"
        if attitude.rate_bias_deg_s is None
        else "attitude from field, force and angular rate, fused over the whole recording"
    )
    if attitude.dip_error_deg is not None:
        steps.append(
            "level along the meridian held by the dip, too "
            f"(±{NORMAL_95 * attitude.dip_error_deg:.2f}°, 95 %)"
        )
    return attitude, watch


def _prior(corrections: Corrections, settings: OrientationSettings) -> SensorPrior:
    """What the calibrations say of gyro and accelerometer."""
    compass, level = corrections.compass, corrections.level
    drift = settings.force_offset_drift_g
    prior = SensorPrior(offset_error_g=(drift, drift, drift))
    if compass is not None:
        prior = replace(
            prior,
            dip_deg=compass.dip_deg,
            strength_ut=compass.field_ut,
            dip_error_deg=settings.dip_error_deg,
        )
        if compass.rate_bias_deg_s is not None:
            x, y, z = map(float, compass.corrected_rate(compass.rate_bias_deg_s))
            prior = replace(
                prior, bias_deg_s=(x, y, z), bias_error_deg_s=settings.rate_bias_drift_deg_s
            )
        if compass.rate_matrix is not None:
            prior = replace(prior, scale_error=0.002, misalignment_error=0.001)
    if level is not None and level.pitch_offset_error_deg > 0:
        along = float(np.radians(level.pitch_offset_error_deg))
        prior = replace(prior, offset_error_g=(along, *prior.offset_error_g[1:]))
    return prior


def _merged(measured: Attitude, board: Attitude, own: Bools) -> Attitude:
    """The board's own attitude on rows without anything better."""
    return replace(
        measured,
        matrix=np.where(own[:, None, None], board.matrix, measured.matrix),
        level_error_deg=np.where(own, board.level_error_deg, measured.level_error_deg),
        heading_error_deg=np.where(own, board.heading_error_deg, measured.heading_error_deg),
    )


def _sight(level: LevelCorrection | None, steps: list[str]) -> Floats:
    if level is None:
        return np.array([1.0, 0.0, 0.0])
    steps.append(f"index {level.index_deg:+.2f}°, collimation {level.collimation_deg:+.2f}°")
    return level.sight_in_body()


def _turn_deg(samples: Samples, corrections: Corrections, steps: list[str]) -> Floats:
    """What turns magnetic north (or the board's true north) into true north, row by row."""
    if corrections.bearing is not None:
        steps.append(
            f"heading {corrections.bearing.heading_deg:+.2f}° by {corrections.bearing.source}"
        )
        return np.full(len(samples), corrections.bearing.heading_deg)
    true = samples.heading_is_true & ~samples.has_field
    if not true.all() or not len(samples):
        steps.append(
            f"declination {corrections.declination.value_deg:+.2f}° "
            f"({corrections.declination.source})"
        )
    if true.any():
        steps.append("no declination for headings that are already true")
    return np.where(true, 0.0, corrections.declination.value_deg)


def _judge(
    samples: Samples,
    raw: Bools,
    azimuth: Floats,
    elevation: Floats,
    attitude: Attitude,
    watch: FieldWatch | None,
    settings: OrientationSettings,
) -> tuple[Bools, Texts]:
    """Which rows are used, and why the others are not; the first reason that holds counts."""
    used = np.ones(len(samples), dtype=bool)
    reason = np.full(len(samples), "", dtype=object)

    def drop(rows: Bools, why: str) -> None:
        reason[rows & used] = why
        used[rows] = False

    drop((samples.status & (FIELD_OUT_OF_RANGE | FORCE_OUT_OF_RANGE)) != 0, OUT_OF_RANGE)
    drop(~(np.isfinite(azimuth) & np.isfinite(elevation)), NO_DIRECTION)
    ours = ~raw & (samples.seq >= 0) & ((samples.status & TILT_COMPENSATED) == 0)
    lean = np.hypot(np.nan_to_num(samples.tilt_deg), np.nan_to_num(samples.pitch_deg))
    drop(ours & (lean > UNCOMPENSATED_LEAN_DEG), NOT_COMPENSATED)
    if watch is not None:
        drop(watch.rejected, DISTURBED)
    if attitude.rate_bias_deg_s is None:
        with np.errstate(invalid="ignore"):
            shaken = attitude.level_error_deg > np.degrees(settings.shaken_g)
        drop(raw & shaken, SHAKEN)
    return used, reason


UNCOMPENSATED_LEAN_DEG = 2.0
"""A heading not compensated for lean is off by up to the lean times tan(dip). [deg]"""


def _heading_error_deg(
    samples: Samples, raw: Bools, corrections: Corrections, settings: OrientationSettings
) -> float:
    """Standard error that turns all rows together."""
    if raw.any():
        compass = corrections.compass
        whole = compass.heading_error_deg if compass else settings.raw_heading_error_deg
        ripple = compass.heading_ripple_deg if compass else settings.raw_heading_error_deg
    else:
        curve = corrections.deviation
        whole = curve.standard_error_deg if curve else settings.board_heading_error_deg
        ripple = whole
    level = corrections.level.collimation_error_deg if corrections.level else 0.0
    if corrections.bearing is not None:
        return float(np.hypot(np.hypot(corrections.bearing.standard_error_deg, ripple), level))
    true = not raw.any() and len(samples) > 0 and bool(samples.heading_is_true.all())
    declination = 0.0 if true else corrections.declination.standard_error_deg
    return float(np.hypot(np.hypot(declination, whole), level))


LEVEL_FLOOR_DEG = 0.03
"""What an accelerometer's curvature and cross-talk leave (common practice, no source). [deg]"""


def _level_error_deg(
    raw: Bools, attitude: Attitude, corrections: Corrections, settings: OrientationSettings
) -> float:
    """Standard error that lifts all rows together."""
    level, compass = corrections.level, corrections.compass
    calibrated = compass is not None or (level is not None and level.pitch_offset_error_deg > 0)
    if attitude.steady_level_error_deg is not None and calibrated:
        offset = float(np.hypot(attitude.steady_level_error_deg, LEVEL_FLOOR_DEG))
    elif level is not None and level.pitch_offset_error_deg > 0:
        offset = level.pitch_offset_error_deg
    elif raw.any() and compass is not None:
        drift = float(np.degrees(settings.force_offset_drift_g))
        offset = float(np.hypot(compass.level_error_deg, drift))
    else:
        offset = settings.uncalibrated_level_error_deg
    return float(np.hypot(offset, level.index_error_deg if level else 0.0))


def _status_checks(samples: Samples, raw: Bools, corrections: Corrections) -> tuple[Check, ...]:
    asks = ~raw & ((samples.status & ASKS_FOR_CALIBRATION) != 0)
    if not asks.any() or corrections.deviation is not None:
        return ()
    share = float(asks.mean())
    why = f"the board asks for calibration in {100 * share:.0f} % of its samples: calibrate it"
    return (Check("board calibrated", False, round(share, 4), 0.0, "", why),)
