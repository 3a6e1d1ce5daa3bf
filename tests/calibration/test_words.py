"""Every figure of a calibration has a name that a reader understands, and a unit."""

from __future__ import annotations

import ast
from pathlib import Path

import pytest

import logger.calibration
from logger.calibration import read_calibration
from logger.calibration.level import _checks
from logger.calibration.words import _FIGURES, figures_in_words
from logger.job import calibration_files, read_job
from logger.orientation import LevelCorrection
from logger.survey.demo import shipped_survey

COLUMNS = {"sun_azimuth_deg", "sun_elevation_deg", "compass_heading_deg", "deviation_deg"}
"""Of many numbers each: left to the file."""


def keys_in_the_code() -> set[str]:
    """Keys that calibrations write into dicts called ``figures`` or ``found``."""
    keys: set[str] = set()
    for path in Path(logger.calibration.__file__).parent.glob("*.py"):
        if path.name == "words.py":
            continue
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            target, value = None, None
            if isinstance(node, ast.AnnAssign):
                target, value = node.target, node.value
            elif isinstance(node, ast.Assign):
                target, value = node.targets[0], node.value
            named = isinstance(target, ast.Name) and target.id in ("figures", "found")
            if named and isinstance(value, ast.Dict):
                keys |= {k.value for k in value.keys if isinstance(k, ast.Constant)}
    return keys


def test_every_figure_of_the_code_has_words():
    keys = keys_in_the_code()
    assert {"heading_error_95_deg", "collimation_deg", "largest_spread_deg", "lays"} <= keys
    assert keys - COLUMNS <= set(_FIGURES)
    assert not any("_" in figure.name for figure in _FIGURES.values())


def test_the_shipped_calibrations_are_told_in_words_with_units():
    told = {}
    for path in calibration_files(read_job(shipped_survey())):
        stored = read_calibration(path)
        told[stored.about.purpose] = dict(figures_in_words(stored.figures))
    assert told["compass"]["hard iron taken out"].endswith(" µT")
    assert told["compass"]["scatter of the field strength"].endswith(" %")
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
        ({"new_thing_ut": 0.61}, ("new thing", "0.61 µT")),
        ({"fit": {"samples": 12}}, ("fit: samples", "12")),
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
    (check,) = _checks(correction)
    assert check.why == "index +0.50° ± 0.20°, collimation -0.30° ± 0.10° (95 %)"
    assert check.value == 0.1
