"""Every figure of a calibration has a name that a reader understands, and a unit."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from calibrated_boards import DECLINATION, calibrated, corrections_of, stream_of

from logger.calibration import fit_plane, fit_swing, read_calibration
from logger.calibration.level import _check
from logger.calibration.words import FIGURES, figures_in_words
from logger.job import calibration_files, read_job
from logger.orientation import LevelCorrection
from logger.simulation import Sensor, simulate_plane, simulate_swing
from logger.survey.demo import shipped_survey

COLUMNS = {"sun_azimuth_deg", "sun_elevation_deg", "compass_heading_deg", "deviation_deg"}
"""Of many numbers each: left to the file."""


def test_every_figure_that_a_calibration_gives_has_words():
    sensor = replace(Sensor(individual=4), hard_iron_ut=5.0, soft_iron_share=0.02)
    swing = stream_of(simulate_swing(np.arange(5.0, 360.0, 36.0), sensor=sensor, seed=1))
    laid = stream_of(simulate_plane(30, 180, sensor, seed=1, streams="MG"))
    made = [
        fit_swing(swing.samples, swing.notes, DECLINATION).figures,
        fit_plane(laid.samples, corrections_of(sensor)).figures,
        calibrated(sensor).figures,
        *(read_calibration(path).figures for path in calibration_files(read_job(shipped_survey()))),
    ]
    keys = {key for figures in made for key in figures}
    assert {"heading_error_95_deg", "collimation_deg", "largest_spread_deg", "lays"} <= keys
    errors = {figure.error for figure in FIGURES.values()}
    assert keys - COLUMNS - errors <= set(FIGURES)


def test_the_shipped_calibrations_are_told_in_words_with_units():
    told = {}
    for path in calibration_files(read_job(shipped_survey())):
        stored = read_calibration(path)
        told[stored.about.purpose] = dict(figures_in_words(stored.figures))
    assert told["compass"]["hard iron taken out"].endswith(" µT")
    assert told["compass"]["scatter of the strength"].endswith(" %")
    assert "± " in told["level"]["index error"]
    assert told["level"]["index error"].endswith("(95 %)")
    assert told["bearing"]["from the compass to true north"].endswith("(95 %)")
    assert not any("_" in words for rows in told.values() for words in rows)


def test_a_standard_error_is_told_as_a_95_percent_interval():
    rows = figures_in_words({"index_deg": 0.5, "index_error_deg": 0.1})
    assert rows == [("index error", "0.50° ± 0.20° (95 %)")]
    assert figures_in_words({"standard_error_deg": 0.5}) == [("good to ± (95 %)", "0.98°")]


@pytest.mark.parametrize(
    ("figures", "told"),
    [
        ({"soft_iron_share": 0.263}, ("soft iron taken out", "26.3 %")),
        ({"with_gyro": True}, ("gyro used", "yes")),
        ({"coefficients_deg": {"b": -1.0}}, ("coefficient B", "-1.00°")),
        ({"force_residual_g": 0.0084}, ("accelerometer noise", "8.4 thousandths of g")),
        ({"new_thing_ut": 0.61}, ("new thing ut", "0.61")),
    ],
)
def test_a_figure_is_told(figures, told):
    assert figures_in_words(figures) == [told]


def test_what_is_unknown_or_a_long_column_is_not_told():
    assert figures_in_words({"temperature_c": None, "sun_azimuth_deg": [1.0, 2.0]}) == []


def test_every_plus_or_minus_of_a_check_is_a_95_percent_interval_and_says_so():
    told = 0
    for stored in map(read_calibration, calibration_files(read_job(shipped_survey()))):
        for check in stored.checks:
            if "±" in check.why or "good to" in check.why:
                assert "(95 %)" in check.why
                told += 1
        if stored.kind == "bearing":
            good_to = f"good to {1.96 * stored.figures['standard_error_deg']:.2f}° (95 %)"
            assert any(good_to in check.why for check in stored.checks)
    assert told >= 3


def test_a_level_fitted_now_tells_its_errors_as_the_shipped_one_does():
    correction = LevelCorrection(0.5, -0.3, index_error_deg=0.1, collimation_error_deg=0.05)
    check = _check(correction)
    assert check.why == "index +0.50° ± 0.20°, collimation -0.30° ± 0.10° (95 %)"
    assert check.value == 0.1
