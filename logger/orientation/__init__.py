"""Orientation: samples and corrections in, true azimuth and elevation of the sight out."""

from logger.orientation.corrections import (
    CORRECTIONS,
    BearingCorrection,
    CompassCorrection,
    Corrections,
    Declination,
    DeviationCurve,
    FieldReference,
    LevelCorrection,
)
from logger.orientation.declination import (
    UNDATED,
    declination_at,
    declination_given,
    field_expected_at,
    model_years_check,
)
from logger.orientation.fusion import SensorPrior
from logger.orientation.sight import Orientation, orient
