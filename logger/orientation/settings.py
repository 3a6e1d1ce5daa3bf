"""Settings of the orientation room; they travel with every result."""

from __future__ import annotations

import math
from dataclasses import dataclass

from logger.errors import UsageError


@dataclass(frozen=True)
class OrientationSettings:
    """How samples become sight lines.

    Parameters
    ----------
    use_rate : bool
        Fuse the angular rate where the stream has it.
    flag_strength, reject_strength : float
        Departure of the field's strength, as a share of the expected, at which a sample is
        flagged and not used.
    flag_dip_deg, reject_dip_deg : float
        The same for the dip. [deg]
    model_strength : float
        Departure of the recording's strength from the model's, as a share, that fails a gate:
        wider, because a board's own scale is in it.
    watch_window_s : float
        The field watch looks at running medians over this time, so that one noisy sample of a
        cheap magnetometer is no disturbance. [s]
    shaken_g : float
        Without a gyro, a specific force this far from 1 g says nothing of the level. [g]
    board_attitude_error_deg : float
        Random error of one attitude computed by the board. [deg]
    board_heading_error_deg : float
        Systematic heading error of a board that computes its own heading, no deviation curve
        taken (common practice, no source). [deg]
    raw_heading_error_deg : float
        The same of a raw stream without compass calibration. [deg]
    uncalibrated_level_error_deg : float
        Systematic level error of an accelerometer without calibration. [deg]
    force_noise_g, field_noise_ut, rate_noise_deg_s : float
        Noise of one sample, lower bounds. [g] [uT] [deg/s]
    rate_change_error : float
        What integrating a changing rate misses, as a share of its change between two samples.
    rate_bias_drift_deg_s : float
        How far a gyro's bias may have moved since its calibration, 1 sigma. [deg/s]
    force_offset_drift_g : float
        How far the accelerometer's offset may be from its calibration; the gyro shows it where
        the board turns, 1 sigma. [g]
    dip_error_deg : float
        How far the field's dip may be from its calibration where nothing shows iron, 1 sigma: as
        far as that, the dip helps to hold the level while the hand shakes the board (common
        practice, no source). [deg]
    force_memory_s, field_memory_s : float
        How long errors of force (hand motion) and field (what calibration leaves, iron passed
        by) stay alike; the fused attitude trusts neither faster than that. [s]
    """

    use_rate: bool = True
    flag_strength: float = 0.06
    reject_strength: float = 0.10
    flag_dip_deg: float = 3.0
    reject_dip_deg: float = 6.0
    model_strength: float = 0.20
    watch_window_s: float = 1.0
    shaken_g: float = 0.15
    board_attitude_error_deg: float = 0.5
    board_heading_error_deg: float = 2.0
    raw_heading_error_deg: float = 5.0
    uncalibrated_level_error_deg: float = 0.5
    force_noise_g: float = 0.004
    field_noise_ut: float = 0.4
    rate_noise_deg_s: float = 0.1
    rate_change_error: float = 0.1
    rate_bias_drift_deg_s: float = 0.3
    force_offset_drift_g: float = 0.003
    dip_error_deg: float = 0.15
    force_memory_s: float = 0.05
    field_memory_s: float = 0.5

    def __post_init__(self) -> None:
        for name in self.__dataclass_fields__:
            value = getattr(self, name)
            if not isinstance(value, bool) and not (math.isfinite(value) and value > 0):
                raise UsageError(f"orientation setting {name} must be a number above 0")
