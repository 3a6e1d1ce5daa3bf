"""The answers in words: the solar window, and what makes true north."""

from __future__ import annotations

import csv
from dataclasses import replace

import numpy as np
import pytest

from logger.report import words
from logger.report.answer import assumptions_text
from logger.report.exports import results_table
from logger.report.figures import plane_figures
from logger.report.inputs import point_report, true_north
from logger.report.monthly import monthly_table
from logger.report.tables import DASH, as_csv


def at(point, plane, **window):
    return replace(point, planes=(plane_figures(plane | {"window": plane["window"] | window}),))


def test_a_clear_window_is_said_to_be_clear(point_of, result_plane):
    point = at(point_of(result_plane), result_plane, monthly_clear_fraction=[1.0] * 12, blocked=[])
    assert words.window_sentences(point) == [
        "From 9 to 15 h solar time the sun is seen at north eave in every month."
    ]


def test_months_what_is_left_and_what_stands_in_the_way_are_named(point_of, result_plane):
    blocked = [
        {"month": m, "from": 9, "to": 10, "obstruction": name}
        for m, name in ((1, "barn"), (2, "barn"), (3, "barn"), (11, "lime"), (12, ""))
    ]
    clear = [0.8, 0.8, 0.9, *[1.0] * 7, 0.7, 0.6]
    point = at(
        point_of(result_plane), result_plane, blocked=blocked, monthly_clear_fraction=clear
    )  # fmt: skip
    (told,) = words.window_sentences(point)
    assert "in 5 of 12 months (January to March, November, December)" in told
    assert "the least is left in December, 60\N{NO-BREAK SPACE}% of that time" in told
    assert told.endswith("In the way: barn, lime, unnamed skyline.")


def test_what_was_not_measured_is_not_called_clear(point_of, result_plane):
    unknown = [0.0] * 10 + [0.2, 0.3]
    point = at(
        point_of(result_plane),
        result_plane,
        blocked=[],
        monthly_clear_fraction=[1.0] * 12,
        monthly_unmeasured_fraction=unknown,
    )
    (told,) = words.window_sentences(point)
    assert "is not known in November, December: the skyline there was not measured" in told
    printed = monthly_table(point.planes[0]).printed()
    assert [row[-1] for row in printed] == ["100.0"] * 10 + [DASH] * 3
    exported = list(csv.DictReader(as_csv(results_table([point])).splitlines()))
    assert [row["window_clear"] for row in exported] == ["1.000000"] * 10 + [""] * 3


def test_what_is_left_of_a_window_seen_in_part_is_the_most_it_can_be(point_of, result_plane):
    point = at(
        point_of(result_plane),
        result_plane,
        monthly_clear_fraction=[1.0] * 11 + [0.6],
        monthly_unmeasured_fraction=[0.0] * 11 + [0.3],
    )
    told = " ".join(words.window_sentences(point))
    assert "the least is left in December, at most 60\N{NO-BREAK SPACE}% of that time" in told


def test_a_window_without_sun_is_told(point_of, result_plane):
    point = at(
        point_of(result_plane), result_plane, blocked=[], monthly_clear_fraction=[None] * 12
    )  # fmt: skip
    assert words.window_sentences(point) == [
        "At north eave the sun is never up from 9 to 15 h solar time."
    ]


DECLINATION = {"value_deg": 4.0, "standard_error_deg": 0.5, "source": "WMM2025"}
BEARING = {"kind": "bearing", "figures": {"heading_deg": 5.0, "standard_error_deg": 0.25}}
BY_MODEL = "declination +4.00° ± 0.98° (95 %), WMM2025"
BY_BEARING = "bearing calibration +5.00° ± 0.49° (95 %)"


@pytest.mark.parametrize(
    ("used", "told", "by_bearing"),
    [
        ([[]], BY_MODEL, False),
        ([[BEARING]], f"{BY_BEARING}, in place of the {BY_MODEL}", True),
        ([[BEARING], []], f"{BY_BEARING}, in 1 of 2 recordings; else {BY_MODEL}", True),
    ],
)
def test_report_and_terminal_say_alike_what_makes_true_north(
    point_of, result_plane, used, told, by_bearing
):
    document = {
        "point": "eave",
        "planes": [result_plane],
        "declination": DECLINATION,
        "calibrations": [{"recording": "x", "used": kinds} for kinds in used],
    }
    assert true_north(document) == told
    point = point_report(document, point_of(result_plane).profile)
    assert (point.true_north, point.by_bearing) == (told, by_bearing)
    assert told in assumptions_text(document)


def test_without_a_declination_nothing_is_said():
    assert true_north({"declination": None}) == ""


def test_each_plane_is_told_with_its_interval(point_of, result_plane):
    dark = {"name": "north wall", "solar_access": {"annual": None, "monthly": [None] * 12}}
    point = point_of(result_plane)
    point = replace(point, planes=(*point.planes, plane_figures(result_plane | dark)))
    told = words.year_of_planes(point).replace("\N{NO-BREAK SPACE}", " ")
    assert "roof 87 % (95 % interval 83 to 90 %), north wall – (no sun over the year)" in told
    assert np.isnan(point.planes[1].solar_access.year.value)


def test_the_cover_counts_the_rules_that_are_met(result_plane):
    rules = [
        {"rule": "solar access", "limit": 0.8, "value": 0.8, "low": 0.7, "high": 0.9, "verdict": v}
        for v in ("pass", "fail", "pass", "too close to call")
    ]
    planes = [plane_figures(result_plane | {"rules": part}) for part in (rules[:3], rules[3:])]
    assert words.rules_sentence(planes).endswith("2 met, 1 not met, 1 too close to call.")
