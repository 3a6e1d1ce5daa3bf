"""The monthly table and bars say what the result says, undefined months included."""

from __future__ import annotations

import csv
import io

import numpy as np

from logger.report import access_charts, monthly
from logger.report.figures import plane_figures
from logger.report.tables import as_csv, as_text


def test_the_table_holds_every_month_and_the_year(result_plane):
    text = as_text(monthly.monthly_table(plane_figures(result_plane), "eave"))
    rows = {line.split()[0]: line.split()[1:] for line in text.splitlines() if line.split()}
    assert text.startswith("roof: tilt 30°, azimuth 180° at eave\n")
    assert rows["Jan"] == ["–", "–", "–", "–", "0.0", "–"]
    assert rows["Feb"] == ["50.0", "46.0", "53.0", "50.0", "9.5", "50.0"]
    assert rows["year"] == ["87.3", "83.3", "90.3", "83.0", "201.2", "–"]


def test_the_csv_holds_fractions_and_nothing_where_nothing_is_defined(result_plane):
    table = monthly.monthly_table(plane_figures(result_plane))
    rows = list(csv.DictReader(io.StringIO(as_csv(table))))
    assert rows[0]["solar_access"] == ""
    assert float(rows[1]["solar_access"]) == 0.5
    assert float(rows[12]["loss_kwh_per_m2"]) == 201.25


def test_an_obstruction_cannot_smuggle_a_formula(result_plane):
    table = monthly.obstruction_table([plane_figures(result_plane)])
    assert as_csv(table).splitlines()[1].startswith("roof,'=barn,")


def test_the_document_leaves_rows_of_zeros_out_and_says_so(result_plane):
    nothing = {"annual_loss_fraction": 0.0004, "monthly_loss_fraction": [None, *[0.0] * 11]}
    first = result_plane["by_obstruction"][0]
    result_plane["by_obstruction"] = [first, first | nothing | {"name": "far hill"}]
    whole = monthly.obstruction_table([plane_figures(result_plane)])
    shown = monthly.without_nothing(whole)
    assert [row[1] for row in whole.rows] == ["=barn", "far hill"]
    assert [row[1] for row in shown.rows] == ["=barn"]
    assert shown.title == "Loss by obstruction, without what rounds to nothing"
    assert monthly.without_nothing(shown) is shown


def test_in_the_terminal_what_takes_nothing_is_left_out_and_a_line_fits(result_plane):
    first = result_plane["by_obstruction"][0] | {"name": "a tree before the barn"}
    result_plane["by_obstruction"] = [
        first | {"monthly_loss_fraction": [1.0] * 12},
        first
        | {"name": "pole", "annual_loss_fraction": 0.0, "monthly_loss_fraction": [0.004] * 12},
    ]
    text = as_text(monthly.short_obstruction_table(plane_figures(result_plane), "eave"))
    assert text.startswith("Loss by obstruction at eave, without what rounds to nothing")
    assert "pole" not in text
    assert max(map(len, text.splitlines())) <= 100


def test_a_size_brings_the_loss_in_kilowatt_hours(result_plane):
    without = monthly.summary_table([("eave", [plane_figures(result_plane)])])
    result_plane["loss"]["annual_kwh"] = 612.0
    sized = monthly.summary_table([("eave", [plane_figures(result_plane)])])
    more = ["loss_kwh", "energy_kwh", "specific_yield_kwh_per_kwp"]
    assert [c.name for c in sized.columns] == [c.name for c in without.columns] + more
    assert sized.rows[0][-3] == 612.0


def test_bars_stand_where_access_is_defined_and_a_dash_where_it_is_not(result_plane, read):
    axes = access_charts.monthly_access_chart([plane_figures(result_plane)], "eave").axes[0]
    months, year = read(axes).boxes
    assert len(months.parts) == 10
    assert len(year.parts) == 1
    assert months.parts[0][:, 1].max() == 50.0
    written = list(read(axes).words)
    assert written[:2] == ["–", "50"]
    assert "solar access [%]" in written


def test_the_interval_is_drawn_from_low_to_high(result_plane, read):
    axes = access_charts.monthly_access_chart([plane_figures(result_plane)]).axes[0]
    february = read(axes).lines[0].parts[0]
    np.testing.assert_allclose(february[:, 1], [46.0, 53.0])
