"""The command `assess`: thin, documented exit codes, JSON and nothing else on request."""

import json

import pytest
from click.testing import CliRunner

from logger.cli import main

from .conftest import ALASKA

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


def document(path, *more, latitude="46"):
    return json.loads(assess(path, *more, "--json", "-", latitude=latitude).stdout)


def annual(plane):
    return plane["solar_access"]["annual"]["value"]


def test_a_table_by_month_and_json_alone_on_request(file, tmp_path):
    target = tmp_path / "out.json"
    done = assess(file, "--json", str(target))
    assert done.exit_code == 0, done.output
    for word in ("Jan", "Dec", "not known", "2026", "in leaf and bare by season: lime tree"):
        assert word in done.stdout
    assert json.loads(target.read_text()) == document(file)


@pytest.mark.parametrize(
    ("change", "told", "is_more"),
    [
        (("--cut-to", "lime tree=10"), "lime tree cut to 10°", True),
        (("--without", "lime tree"), "lime tree removed, behind it straight across", True),
        (("--without", "lime tree=12"), "lime tree removed, behind it 12°", True),
        (("--growing", "lime tree=0.3,10"), "lime tree grown by 0.3 m a year", False),
        (("--kind", "lime tree=evergreen"), "lime tree taken as evergreen", False),
        (("--building", "shed=200,8,3,10,4"), "shed added: 3 m high, 10 m wide, 8 m away", False),
    ],
)
def test_what_ifs_stand_beside_the_survey_and_less_of_a_tree_is_more_light(
    file, change, told, is_more
):
    found = document(file, *change)
    assert found["changes"][0].startswith(told)
    before, after = (annual(found[key][0]) for key in ("as_surveyed", "planes"))
    assert after > before if is_more else after < before
    names = {o["name"] for o in found["planes"][0]["by_obstruction"]}
    assert ("shed" in names) == ("shed" in told)
    assert ("lime tree" in names) == ("removed" not in told)
    if "evergreen" in told:
        assert not any("by season: lime tree" in note for note in found["assumptions"]["notes"])


def test_size_and_best_plane_are_told(file):
    asked = ("--size", "5", "--best-plane", "--least-access", "0.2", "--least-window", "0.99")
    known, unknown = assess(file, *asked, "--weather", str(ALASKA)), assess(file, *asked)
    for words in ("not modelled", "kWh/kWp", "best fixed plane", ": pass", ": fail"):
        assert words in known.stdout
    # Nobody knows the sky: shares, and no energy anywhere.
    for words in ("best fixed plane", ": pass", ": fail"):
        assert words in unknown.stdout
    assert "kWh/kWp" not in unknown.stdout
    assert document(file, *asked)["best_plane"]["annual_kwh_per_m2"] is None
    # Weather of another place fails a check.
    assert (known.exit_code, unknown.exit_code) == (4, 0)
    assert "weather from near the site: the weather's place is" in known.stderr
    assert "weather from the site's height" not in known.stderr


def test_a_bad_horizon_is_named_with_its_line(tmp_path):
    bad = tmp_path / "bad.csv"
    bad.write_text("azimuth_deg,elevation_deg\n0,5\n10,high\n")
    done = assess(bad)
    assert done.exit_code == 3
    assert "line 3" in done.stderr
    assert assess(tmp_path / "none.csv").exit_code == 3


def test_a_month_without_sun_is_a_dash_and_null(file):
    assert "–" in assess(file, latitude="75").stdout
    (plane,) = document(file, latitude="75")["planes"]
    assert plane["solar_access"]["monthly"][11]["value"] is None


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
