"""A table reads the same in the terminal and as CSV, fits the terminal, and its text stays text."""

from __future__ import annotations

import csv
import io
from operator import itemgetter

import pytest
from hypothesis import given
from hypothesis import strategies as st

from logger.report.survey_csv import csv_text, inert
from logger.report.tables import MONTHS, Column, Table, as_text, one_line, shortened

COLUMNS = (
    Column("point", itemgetter(0)),
    Column("solar access", itemgetter(1), "%", 1, 100.0),
    Column("loss", itemgetter(2), "kWh/m²", 0),
)
HEADER = "point access loss_kwh_per_m2"


@pytest.mark.parametrize(
    ("row", "printed", "written"),
    [
        (("eave", None, float("nan")), "eave – –", "eave,,"),
        (("eave", 0.9316, 1203.6), "eave 93.2 1204", "eave,0.9316,1203.6"),
        (("eave", -1e-9, -0.2), "eave 0.0 0", "eave,0,-0.2"),
    ],
    ids=["undefined", "shares", "no negative zero"],
)
def test_print_has_per_cent_and_dashes_and_the_file_has_fractions_and_nothing(
    row, printed, written
):
    text = as_text(Table("monthly", [row], COLUMNS))
    assert text.splitlines()[-1].split() == printed.split()
    assert csv_text(HEADER, [row]) == f"point,access,loss_kwh_per_m2\n{written}\n"


def test_a_text_cannot_turn_what_stands_behind_it_about():
    turned = "\u202e12 % \u2066more\u2069\x1b[2J\u2028end"
    assert one_line(turned) == "12 % more [2J end"
    assert one_line("بيت \u200f5") == "بيت \u200f5"  # marks of a script that runs so are left


def test_columns_line_up_whatever_the_name():
    table = Table("t", [("東の庭", 0.5, 1.0), ("e", 0.25, 22.0)], COLUMNS)
    wide, narrow = as_text(table).splitlines()[-2:]
    assert len(wide) + 3 == len(narrow)  # three characters of double width


@pytest.mark.parametrize("width", [80, 60, 40])
def test_a_table_fits_the_terminal_and_loses_nothing(width):
    shares = (Column(m, itemgetter(k), "%", 1, 100.0) for k, m in enumerate(MONTHS, 1))
    columns = [Column("obstruction", itemgetter(0)), *shares]
    name = "row of poplars behind the weir"
    rows = ((name, *(k / 100 for k in range(12))), ("shed", *(k / 10 for k in range(12))))
    text = as_text(Table("Loss", rows, columns), width)
    assert max(map(len, text.splitlines())) <= width
    numbers = [word for word in text.split() if word.replace(".", "").isdigit()]
    assert sorted(map(float, numbers)) == sorted([*range(12), *(10 * k for k in range(12))])
    parts = text.strip().split("\n\n")
    assert all("shed" in part and part.split()[0] for part in parts)  # rows are named again


@pytest.mark.parametrize("lead", ["=", "+", "-", "@", "\t", "\r", " =", "\n="])
def test_no_text_becomes_a_formula(lead):
    cell = inert(lead + "HYPERLINK(1)")
    assert cell.startswith("'")
    assert cell.endswith("HYPERLINK(1)")


@given(st.text())
def test_any_text_survives_as_one_inert_field(text):
    rows = list(csv.reader(io.StringIO(csv_text(HEADER, [(text, 0.5, 1.0)]))))
    assert len(rows) == 2
    assert rows[1][0] == inert(text)
    assert rows[1][0].lstrip()[:1] not in ("=", "+", "-", "@")


def test_a_row_of_the_wrong_length_is_refused():
    with pytest.raises(ValueError, match="shorter"):
        csv_text(HEADER, [("eave", 0.5)])


def test_names_that_are_cut_keep_what_tells_them_apart():
    names = [f"Apartment house at the weir, corner {k}" for k in "ABCDEFGHIJKL"]
    assert [name[-1] for name in shortened(names, 16)] == list("ABCDEFGHIJKL")
    middle = ["a" * 20 + "first" + "b" * 20, "a" * 20 + "second" + "b" * 20]
    one, other = shortened(middle, 16)
    assert one != other
    assert "first" in one
    assert shortened(["short", "short"], 16) == ["short", "short"]


@given(st.lists(st.text(st.characters(codec="ascii", categories=["L"]), max_size=30), unique=True))
def test_different_names_stay_different_and_short(names):
    cut = shortened(names, 10)
    assert len(set(cut)) == len(names)
    assert all(len(name) <= 10 for name in cut)
