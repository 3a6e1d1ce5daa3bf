"""Settings of the orientation room; they travel with every result."""

from __future__ import annotations

import math
from dataclasses import dataclass

from logger.errors import UsageError


@dataclass(frozen=True)
class OrientationSettings:
    """How samples become sight lines."""

    use_rate: bool = True  # Fuse the angular rate where the stream has it
    # Departure of the field's strength, as a share of the expected, at which a sample is
    # flagged and not used
    flag_strength: float = 0.06
    reject_strength: float = 0.10
    # The same for the dip. [deg]
    flag_dip_deg: float = 3.0
    reject_dip_deg: float = 6.0
    # Departure of the recording's strength from the model's, as a share, that fails a check:
    # wider, because a board's own scale is in it
    model_strength: float = 0.20
    # The field watch looks at running medians over this time, so that one noisy sample of a
    # cheap magnetometer is no disturbance. [s]
    watch_window_s: float = 1.0
    # Without a gyro, a specific force this far from 1 g says nothing of the level. [g]
    shaken_g: float = 0.15
    # Random error of one attitude computed by the board. [deg]
    board_attitude_error_deg: float = 0.5
    # Systematic heading error of a board that computes its own heading, no deviation curve
    # taken (common practice, no source). [deg]
    board_heading_error_deg: float = 2.0
    # The same of a raw stream without compass calibration. [deg]
    raw_heading_error_deg: float = 5.0
    # Systematic level error of an accelerometer without calibration. [deg]
    uncalibrated_level_error_deg: float = 0.5
    # Noise of one sample, lower bounds. [g] [uT] [deg/s]
    force_noise_g: float = 0.004
    field_noise_ut: float = 0.4
    rate_noise_deg_s: float = 0.1
    # What integrating a changing rate misses, as a share of its change between two samples
    rate_change_error: float = 0.1
    # How far a gyro's bias may have moved since its calibration, 1 sigma. [deg/s]
    rate_bias_drift_deg_s: float = 0.3
    # How far the accelerometer's offset may be from its calibration; the gyro shows it where
    # the board turns, 1 sigma. [g]
    force_offset_drift_g: float = 0.003
    # How far the field's dip may be from its calibration where nothing shows iron, 1 sigma: as
    # far as that, the dip helps to hold the level while the hand shakes the board (common
    # practice, no source). [deg]
    dip_error_deg: float = 0.15
    # How long errors of force (hand motion) and field (what calibration leaves, iron passed by)
    # stay alike; the fused attitude trusts neither faster than that. [s]
    force_memory_s: float = 0.05
    field_memory_s: float = 0.5

    def __post_init__(self) -> None:
        for name in self.__dataclass_fields__:
            value = getattr(self, name)
            if not isinstance(value, bool) and not (math.isfinite(value) and value > 0):
                raise UsageError(f"orientation setting {name} must be a number above 0")
