"""Calibration: fits the corrections that orientation applies, and says how good they are."""

from logger.calibration.bearing import (
    NEVER_LOOK,
    BearingCalibration,
    fit_bearing_to_sun,
    fit_bearing_to_target,
)
from logger.calibration.choose import (
    CalibrationAbout,
    Chosen,
    Purpose,
    StoredCalibration,
    SweepAbout,
    choose_calibrations,
    read_calibration,
    stored_from_dict,
)
from logger.calibration.closing_target import ClosingTarget, check_closing_target
from logger.calibration.compass import CompassCalibration, fit_compass
from logger.calibration.coverage import TumbleCoverage
from logger.calibration.level import LevelCalibration, fit_level
from logger.calibration.plane import PlaneFix, fit_plane
from logger.calibration.swing import SwingCalibration, deviation_curve, fit_swing

__all__ = [
    "NEVER_LOOK",
    "BearingCalibration",
    "CalibrationAbout",
    "Chosen",
    "ClosingTarget",
    "CompassCalibration",
    "LevelCalibration",
    "PlaneFix",
    "Purpose",
    "StoredCalibration",
    "SweepAbout",
    "SwingCalibration",
    "TumbleCoverage",
    "check_closing_target",
    "choose_calibrations",
    "deviation_curve",
    "fit_bearing_to_sun",
    "fit_bearing_to_target",
    "fit_compass",
    "fit_level",
    "fit_plane",
    "fit_swing",
    "read_calibration",
    "stored_from_dict",
]
