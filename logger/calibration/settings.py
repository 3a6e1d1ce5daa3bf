"""Limits of the calibrations; they travel with every result."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class CalibrationSettings:
    """Where a calibration is poor (stored, check failing) and where it is refused."""

    # Expected heading error of a compass calibration, 95 %. [deg]
    heading_limit_deg: float = 1.5
    heading_refuse_deg: float = 5.0
    # Fitted strength and dip against the model's; the board's own scale is in the strength.
    # [deg]
    field_limit_share: float = 0.20
    field_limit_deg: float = 6.0
    # The same beyond which the place is no place to calibrate. [deg]
    field_refuse_share: float = 0.30
    field_refuse_deg: float = 12.0
    # Strength after correction, half-second means, RMS as a share
    scatter_limit_share: float = 0.04
    scatter_refuse_share: float = 0.10
    level_limit_deg: float = 0.3  # Standard error of index and of collimation. [deg]
    sun_limit_deg: float = 40.0  # Highest sun for a bearing by its shadow. [deg]
    clock_limit_s: float = 15.0  # Doubt of the clock for a bearing by the sun. [s]
    bearing_floor_deg: float = 0.5  # No bearing is claimed better than this. [deg]
    bearing_spread_deg: float = 1.0  # Largest spread between the sights of one bearing. [deg]
    # Largest that a bearing may differ from declination and a compass that was not calibrated,
    # whose own iron turns it; more is a wrong landmark or a compass that does not work there.
    # [deg]
    bearing_residual_deg: float = 10.0
    # Largest that a bearing may differ from declination and a calibrated compass, beside twice
    # their standard errors: so much does the declination differ from place to place (common
    # practice, no source). [deg]
    bearing_beside_deg: float = 3.0
    # Closing target, start against end, and either against its known bearing. [deg]
    misclosure_limit_deg: float = 1.5
