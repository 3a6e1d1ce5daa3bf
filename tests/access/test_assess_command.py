"""The command `assess`: thin, documented exit codes, JSON and nothing else on request."""

import json

import pytest
from click.testing import CliRunner

from logger.cli import main

ROWS = [(az, 5 if az < 160 else 8, "", "") for az in range(0, 360, 10) if not 120 <= az <= 150]
ROWS += [(119, 5, "", ""), (151, 5, "", "")]
ROWS += [(az, 25, "lime tree", "12") for az in (120, 130, 140, 150)]
HORIZON = """# heading_error_deg: 2
# obstruction: lime tree = deciduous
azimuth_deg,elevation_deg,standard_error_deg,obstruction,distance_m
""" + "".join(f"{azimuth},{elevation},0.5,{name},{far}\n" for azimuth, elevation, name, far in ROWS)


@pytest.fixture
def file(tmp_path):
    path = tmp_path / "horizon.csv"
    path.write_text(HORIZON)
    return path


def assess(path, *more, latitude="46"):
    arguments = ["assess", str(path), "--latitude", latitude, "--longitude", "14.5"]
    arguments += ["--tilt", "35", "--azimuth", "180", *more]
    return CliRunner().invoke(main, arguments)


def test_a_table_by_month_and_what_it_rests_on(file):
    done = assess(file)
    assert done.exit_code == 0, done.output
    for word in ("Jan", "Dec", "lime tree", "not known", "2026"):
        assert word in done.stdout


def test_json_and_nothing_else(file, tmp_path):
    done = assess(file, "--json", "-")
    assert done.exit_code == 0
    document = json.loads(done.stdout)
    assert document["planes"][0]["solar_access"]["annual"]["low"] < 1
    target = tmp_path / "out.json"
    assert "Jan" in assess(file, "--json", str(target)).stdout
    assert json.loads(target.read_text()) == document


def test_what_ifs_stand_beside_the_survey(file):
    done = assess(
        file, "--without", "lime tree", "--building", "shed=200,8,3,10,4", "--json", "-",
    )  # fmt: skip
    document = json.loads(done.stdout)
    changes = document["changes"]
    assert any("lime tree removed" in change for change in changes)
    assert any("shed added" in change for change in changes)
    names = {o["name"] for o in document["planes"][0]["by_obstruction"]}
    assert "shed" in names
    assert "lime tree" not in names
    before = document["as_surveyed"][0]["solar_access"]["annual"]["value"]
    assert before != document["planes"][0]["solar_access"]["annual"]["value"]


@pytest.mark.parametrize(
    ("change", "is_more"),
    [
        (("--cut-to", "lime tree=10"), True),
        (("--without", "lime tree=12"), True),
        (("--growing", "lime tree=0.3,10"), False),
    ],
)
def test_less_of_a_tree_is_more_light(file, change, is_more):
    document = json.loads(assess(file, *change, "--json", "-").stdout)
    before = document["as_surveyed"][0]["solar_access"]["annual"]["value"]
    after = document["planes"][0]["solar_access"]["annual"]["value"]
    assert after > before if is_more else after < before


def test_size_and_best_plane_are_told(file):
    import pathlib

    import pvlib

    town = str(pathlib.Path(pvlib.__file__).parent / "data" / "703165TY.csv")
    asked = ("--size", "5", "--best-plane", "--least-access", "0.2", "--least-window", "0.99")
    known, unknown = assess(file, *asked, "--weather", town), assess(file, *asked)
    for words in ("not modelled", "kWh/kWp", "best fixed plane", ": pass", ": fail"):
        assert words in known.stdout
    # Nobody knows the sky: shares, and no energy anywhere.
    for words in ("best fixed plane", ": pass", ": fail"):
        assert words in unknown.stdout
    assert "kWh/kWp" not in unknown.stdout
    assert (
        json.loads(assess(file, *asked, "--json", "-").stdout)["best_plane"]["annual_kwh_per_m2"]
        is None
    )


def test_a_bad_horizon_is_named_with_its_line(tmp_path):
    bad = tmp_path / "bad.csv"
    bad.write_text("azimuth_deg,elevation_deg\n0,5\n10,high\n")
    done = assess(bad)
    assert done.exit_code == 3
    assert "line 3" in done.stderr
    assert assess(tmp_path / "none.csv").exit_code == 3


def test_a_month_without_sun_is_a_dash_and_null(file):
    assert "–" in assess(file, latitude="75").stdout
    document = json.loads(assess(file, "--json", "-", latitude="75").stdout)
    assert document["planes"][0]["solar_access"]["monthly"][11]["value"] is None


def test_a_tree_is_leafy_or_solid_by_its_kind(file):
    told = "in leaf and bare by season: lime tree"
    assert told in assess(file).stdout
    solid = assess(file, "--kind", "lime tree=evergreen", "--json", "-")
    document = json.loads(solid.stdout)
    assert not any(told in note for note in document["assumptions"]["notes"])
    leafy = document["as_surveyed"][0]["solar_access"]["monthly"][11]["value"]
    assert document["planes"][0]["solar_access"]["monthly"][11]["value"] < leafy - 0.01


def test_a_skyline_of_a_few_points_fails_a_check_and_is_worked_out_as_documented(tmp_path):
    few = tmp_path / "few.csv"
    few.write_text("azimuth_deg,elevation_deg\n0,5\n120,5\n180,25\n240,5\n")
    done = assess(few, "--json", "-")
    assert done.exit_code == 4
    (check,) = [g for g in json.loads(done.stdout)["quality"] if not g["passed"]]
    assert check["check"] == "horizon points close enough"
    assert check["value"] > 60
    assert "4 azimuths and nothing between" in done.stderr
    assert "Jan" in assess(few).stdout


def test_weather_of_another_place_fails_a_check(file):
    import pathlib

    import pvlib

    town = pathlib.Path(pvlib.__file__).parent / "data" / "703165TY.csv"
    done = assess(file, "--weather", str(town))
    assert done.exit_code == 4
    assert "weather from near the site: the weather's place is" in done.stderr
    assert "weather from the site's height" not in done.stderr
