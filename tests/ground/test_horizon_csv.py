"""A horizon as CSV: read as documented, written to be read back, refused with the line named."""

import contextlib
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from logger.errors import InputError
from logger.horizon import HorizonProfile, Obstruction
from logger.horizon_csv import (
    horizon_csv,
    parse_horizon_csv,
    read_horizon_csv,
)

HEADER = "azimuth_deg,elevation_deg\n"


def test_the_plainest_file():
    profile = parse_horizon_csv("# made by hand\n" + HEADER + "0,5\n90,10\n180,2\n270,3\n")
    assert profile.elevation_at([45, 315]) == pytest.approx([7.5, 4])
    assert profile.known.all()
    assert np.isnan(profile.standard_error_deg).all()


def test_any_order_any_spacing_columns_in_any_order_and_a_vertical_edge():
    profile = parse_horizon_csv(
        "elevation_deg , azimuth_deg\n30,200\n\n2,350\n# between\n0,100.5\n30,100.5\n0,200\n"
    )
    assert profile.elevation_at([100.4, 100.6, 199.9]) == pytest.approx([0.003, 30, 30], abs=0.01)
    # Rows of one azimuth keep the order they are written in.
    assert profile.elevation_at(201) == pytest.approx(0, abs=0.05)


def test_azimuths_outside_the_circle_are_wrapped():
    assert list(parse_horizon_csv(HEADER + "-90,1\n360,2\n").azimuth_deg) == [0, 270]


def test_all_columns():
    profile = parse_horizon_csv(
        "# obstruction: old oak = deciduous\n# heading_error_deg: 1.5\n# level_error_deg: 0.2\n"
        "azimuth_deg,elevation_deg,standard_error_deg,measured,obstruction,distance_m,mood\n"
        "0,1,0.5,true,,,glad\n10,20,0.5,1,old oak,12,\n20,21,,yes,old oak,14,\n30,1,0.5,true,,,\n"
        "200,,,false,,,\n210,5,,false,,,\n"
    )
    assert list(profile.known) == [True, True, True, True, False, False]
    assert profile.obstructions == (Obstruction("old oak", 5.0, 25.0, "deciduous", 13.0),)
    assert (profile.heading_error_deg, profile.level_error_deg) == (1.5, 0.2)
    assert np.isnan(profile.standard_error_deg[2])
    assert profile.distance_m[1] == 12


def test_an_obstruction_across_north_is_one():
    profile = parse_horizon_csv(
        "azimuth_deg,elevation_deg,obstruction\n350,9,hill\n0,9,hill\n10,9,hill\n20,1,\n340,1,\n"
    )
    (hill,) = profile.obstructions
    assert (hill.from_azimuth_deg, hill.to_azimuth_deg) == (345, 15)


def test_an_obstruction_all_round_is_the_whole_circle():
    profile = parse_horizon_csv("azimuth_deg,elevation_deg,obstruction\n0,9,wood\n180,9,wood\n")
    (wood,) = profile.obstructions
    assert wood.to_azimuth_deg - wood.from_azimuth_deg == 360


@pytest.mark.parametrize(
    "text",
    [
        "0,5\n90,10\n180,2\n270,3\n",
        "azimuth_from_north_cw,horizon_elevation\n0,5\n90,10\n180,2\n270,3\n",
        "Elevation;Azimuth\n5,0;0\n10,0;90\n2,0;-180\n3,0;-90\n",
        "0\t5\n90\t10\n180\t2\n270\t3\n",
        "# by hand\n0 5\n90   10\n180 2\n270 3\n",
        "5\n10\n2\n3\n",
        "horizon\n5\n10\n2\n3\n",
    ],
)
def test_two_columns_or_an_evenly_spaced_list_from_north_are_a_horizon(text):
    profile = parse_horizon_csv(text)
    assert profile.azimuth_deg.tolist() == [0, 90, 180, 270]
    assert profile.elevation_deg.tolist() == [5, 10, 2, 3]


@pytest.mark.parametrize(
    ("text", "where", "what"),
    [
        ("", "", "no header"),
        (HEADER, "", "no nodes"),
        ("azimuth_deg,height\n0,5\n", "line 1", "lacks elevation_deg"),
        ("a,b,c\n0,5,7\n", "line 1", "lacks azimuth_deg"),
        ("azimuth;elevation\n0;5\n1;x\n", "line 3", "no number"),
        ("10.7\n11.8\n91\n", "line 3", "outside -90 to 90"),
        ("azimuth_deg,elevation_deg,elevation_deg\n", "line 1", "twice"),
        (HEADER + "0,5\n10\n", "line 3", "1 fields"),
        (HEADER + "0,5,7\n", "line 2", "3 fields"),
        (HEADER + "0,five\n", "line 2", "no number"),
        (HEADER + "0,nan\n", "line 2", "outside"),
        (HEADER + "0,inf\n", "line 2", "outside"),
        (HEADER + "0,91\n", "line 2", "outside -90 to 90"),
        (HEADER + "400,1\n", "line 2", "outside -360 to 360"),
        (HEADER + ",1\n", "line 2", "azimuth_deg is empty"),
        (HEADER + '0,"1\n', "line 2", "CSV"),
        ("azimuth_deg,elevation_deg,measured\n0,1,perhaps\n", "line 2", "not true or false"),
        ("azimuth_deg,elevation_deg,measured\n0,,true\n", "line 2", "marked measured"),
        ("azimuth_deg,elevation_deg,standard_error_deg\n0,1,-1\n", "line 2", "standard_error_deg"),
        ("# heading_error_deg: big\n" + HEADER + "0,1\n", "line 1", "heading_error_deg"),
        ("# obstruction: oak = tasty\n" + HEADER + "0,1\n", "line 1", "tasty"),
        ("azimuth_deg,elevation_deg,obstruction\n0,1,\x1b[2J\n", "line 2", "printable"),
        ("azimuth_deg,elevation_deg,obstruction\n0,1," + "x" * 999 + "\n", "line 2", "200"),
    ],
)
def test_what_cannot_be_understood_is_named_with_its_line(text, where, what):
    with pytest.raises(InputError) as caught:
        parse_horizon_csv(text, "h.csv")
    assert str(caught.value).startswith("h.csv" + (f", {where}" if where else ""))
    assert what in str(caught.value)


def test_a_file_may_not_hold_endless_nodes_or_names(monkeypatch):
    monkeypatch.setattr("logger.horizon_csv.MOST_NODES", 3)
    with pytest.raises(InputError, match="line 5: more than 3 nodes"):
        parse_horizon_csv(HEADER + "0,1\n1,1\n2,1\n3,1\n")
    monkeypatch.undo()
    names = "".join(f"{k * 0.5},1,{'ab'[k % 2]}\n" for k in range(720))
    with pytest.raises(InputError, match="720 obstructions"):
        parse_horizon_csv("azimuth_deg,elevation_deg,obstruction\n" + names)


def test_a_file_that_is_no_text(tmp_path: Path):
    binary = tmp_path / "picture.csv"
    binary.write_bytes(b"\x89PNG\r\n\xff\xfe\x00")
    with pytest.raises(InputError, match="UTF-8"):
        read_horizon_csv(binary)


def test_a_byte_order_mark_and_windows_line_ends_do_no_harm(tmp_path: Path):
    file = tmp_path / "h.csv"
    file.write_bytes("\ufeffazimuth_deg,elevation_deg\r\n0,5\r\n180,7\r\n".encode())
    assert list(read_horizon_csv(file).elevation_deg) == [5, 7]


@given(st.text(max_size=300))
def test_no_text_breaks_the_reader(text):
    with contextlib.suppress(InputError):
        parse_horizon_csv(HEADER + text)


def test_what_is_written_reads_back_the_same(tmp_path: Path):
    profile = HorizonProfile(
        [0, 50, 50, 120, 240, 300],
        [1, 2, 30, 25, np.nan, -1.5],
        standard_error_deg=[0.1, 0.2, 0.2, 0.3, np.nan, 0.1],
        distance_m=[np.nan, 9, 9, 8, np.nan, np.nan],
        obstructions=(Obstruction("shed, red", 40, 150, "building", 9.0),),
        heading_error_deg=2.0,
        correlation_deg=5.0,
    )
    file = tmp_path / "h.csv"
    file.write_text(horizon_csv(profile))
    again = read_horizon_csv(file)
    for name in ("azimuth_deg", "elevation_deg", "standard_error_deg", "distance_m", "measured"):
        assert np.array_equal(getattr(again, name), getattr(profile, name), equal_nan=True), name
    assert (again.heading_error_deg, again.correlation_deg) == (2.0, 5.0)
    assert [(o.name, o.kind) for o in again.obstructions] == [("shed, red", "building")]
    assert horizon_csv(again) == horizon_csv(profile)


def test_a_name_that_a_spreadsheet_would_take_for_a_formula_is_made_inert():
    profile = HorizonProfile([0, 90], [1, 2], obstructions=(Obstruction("=1+1", 80, 100),))
    text = horizon_csv(profile)
    assert ",'=1+1" in text
    assert [o.name for o in parse_horizon_csv(text).obstructions] == ["=1+1"]
