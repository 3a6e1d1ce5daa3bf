"""Calibration: fits the corrections that orientation applies, and says how good they are."""

from logger.calibration.bearing import NEVER_LOOK, fit_bearing_to_sun, fit_bearing_to_target
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
from logger.calibration.compass import fit_compass
from logger.calibration.coverage import TumbleCoverage
from logger.calibration.fitted import Calibration
from logger.calibration.level import fit_level
from logger.calibration.plane import PlaneFix, fit_plane
from logger.calibration.swing import deviation_curve, fit_swing
