"""The command, on the roof that ships with the program: an invented place, known exactly."""

from __future__ import annotations

import csv
import json
import re
import runpy
import shutil
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest
from click.testing import CliRunner, Result

from logger.access import Plane, SiteYear
from logger.cli import main
from logger.job import read_job, set_named
from logger.settings import Settings
from logger.simulation.place import Box
from logger.site import METRES_A_DEGREE, Site
from logger.survey import array
from logger.survey.demo import ROOF, shipped_survey

from .test_place import understood


def run(*words: object, code: int = 0) -> Result:
    done = CliRunner().invoke(main, [str(word) for word in words], catch_exceptions=False)
    assert done.exit_code == code, done.stderr
    return done


@pytest.fixture(scope="module")
def job(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return Path(shutil.copytree(shipped_survey(ROOF), tmp_path_factory.mktemp("roof") / "job"))


@pytest.fixture(scope="module")
def maker() -> Any:
    """What made the roof."""
    file = shipped_survey(ROOF).parent / "make_roof.py"
    with pytest.MonkeyPatch.context() as patch:
        patch.syspath_prepend(file.parent)
        return SimpleNamespace(**runpy.run_path(str(file)))


def test_what_nobody_could_see_takes_a_value_away_beyond_two_points_of_the_year() -> None:
    """Behind a wall in the south 7 m high: a metre above the sight it could be 5.5 points."""
    wall = Box("wall", 0.0, -6.0, 12.0, 0.4, 7.0)
    here = understood(wall, at=((-2.0, 0.0, 3.0), (2.0, 0.0, 3.0)))
    year = SiteYear(Site(46.05, 14.51, 310.0), [Plane("roof", 30.0, 180.0)], Settings(draws=20))
    places = np.array([[0.0, 0.0, 3.0], [0.0, 0.0, 4.0]])
    seen, _ = array.access_of_places(year, 0, here, places)
    known, found = array._known(year, 0, here, places, seen)
    assert known.tolist() == [True, False]
    moved = [new.solar.low[12] - old.solar.low[12] for new, old in zip(found, seen, strict=True)]
    assert moved == pytest.approx([0.0, -0.055], abs=0.01)
    assert array._known_check(known).value == 1.0


PLACES = ((-2.0, -1.0, 4.0), (3.5, -1.5, 3.6), (0.0, 1.5, 5.7))


def test_places_that_nobody_swept_come_out_right(job: Path, maker: Any) -> None:
    at = [f"--at={e},{n},{u}" for e, n, u in PLACES]
    found = json.loads(run("array", job, *at, "--json", "-").stdout)
    assert found["schema"] == "horizon-logger array 1"
    assert [(p["east_m"], p["north_m"], p["up_m"]) for p in found["places"]] == list(PLACES)
    year = SiteYear(maker.SITE, [maker.PLANE], Settings(draws=0))
    for place in found["places"]:
        eye = (place["east_m"], place["north_m"], place["up_m"])
        truth = year.assess(maker.PLACE.scene(*eye).truth()).planes[0]
        for name in ("solar_access", "beam_access"):
            annual = place[name]["annual"]
            right = getattr(truth, name)
            assert annual["value"] == pytest.approx(right.annual, abs=0.02)
            assert annual["low"] <= right.annual <= annual["high"]
            assert len(place[name]["monthly"]) == 12
        assert place["known"] is True


def test_places_are_told_in_a_table_by_number_and_direction(job: Path) -> None:
    shown = run("array", job, *(f"--at={e},{n},{u}" for e, n, u in PLACES)).stdout
    columns, units = (re.search(rf"^ *{words}", shown, re.MULTILINE) for words in (
        r"east +north +up +access +low +high +access", r"place( +\[m\]){3}( +\[%\]){4}$"
    ))  # fmt: skip
    assert columns, shown
    assert units, shown
    assert "\n\n\n" not in shown
    rows = re.findall(r"^(\d)((?: +−?[\d.]+){7})$", shown, re.MULTILINE)
    assert [int(number) for number, _ in rows] == [1, 2, 3]
    figures = [[float(x.replace("−", "-")) for x in row.split()] for _, row in rows]
    assert [tuple(row[:3]) for row in figures] == list(PLACES)
    assert all(low <= value <= high for value, low, high in (row[3:6] for row in figures))


def test_obstructions_have_the_distance_that_they_stand_at(job: Path, maker: Any) -> None:
    found = json.loads(run("array", job, "--at=0,0,4", "--json", "-").stdout)
    assert set(found["site"]) == {"latitude_deg", "longitude_deg", "altitude_m"}
    assert found["plane"]["name"] == "south roof"
    by_name = {o["name"]: o for o in found["obstructions"]}
    assert {"walnut", "barn", "flagpole", "far hills"} <= set(by_name)
    walnut = by_name["walnut"]
    east, north, _ = maker.POINTS[walnut["from_point"]]
    true_m = np.hypot(-7.5 - east, -8.5 - north) - 3.0
    assert walnut["distance_m"]["value"] == pytest.approx(true_m, rel=0.1)
    assert walnut["top_m"]["value"] == pytest.approx(9.0, abs=0.5)
    assert by_name["far hills"]["distance_m"]["value"] is None
    assert by_name["far hills"]["distance_m"]["low"] > 100


def test_the_outline_is_covered_and_told_in_every_form(job: Path, tmp_path: Path) -> None:
    table, picture, answer = (tmp_path / name for name in ("a.csv", "a.png", "a.json"))
    done = run("array", job, "--size", "4,2", "--rows", "1.7,3.4", "--csv", table, "--picture",
               picture, "--json", answer)  # fmt: skip
    shown = done.stdout
    assert f"wrote {table}\nwrote {picture}\n" in done.stderr
    found = json.loads(answer.read_text())
    least, most = found["array"]["least"]["value"], found["array"]["most"]["value"]
    mean = found["array"]["solar_access"]["annual"]
    assert least < mean["value"] < most
    assert mean["low"] <= mean["value"] <= mean["high"]
    values = [p["solar_access"]["annual"]["value"] for p in found["places"]]
    assert np.mean(values) == pytest.approx(mean["value"], abs=1e-6)
    assert found["array"]["best_rectangle"]["solar_access"] > mean["value"]
    assert "profile angle" in shown
    assert re.search(r"^0{2,}|9{2,}$", shown, re.MULTILINE)
    rows = list(csv.DictReader(table.read_text().splitlines()))
    assert len(rows) == len(values)
    for row, place in zip(rows, found["places"], strict=True):
        year = place["solar_access"]["annual"]
        assert float(row["low"]) <= float(row["solar_access"]) <= float(row["high"])
        told = [float(row[name]) for name in ("low", "solar_access", "high", "beam_access")]
        beam = place["beam_access"]["annual"]["value"]
        assert told == pytest.approx([year["low"], year["value"], year["high"], beam], abs=1e-4)
    assert found["rows"]["solar_access_foot"] < found["rows"]["solar_access_middle"] < 1
    # The ridge sees over what shades the eaves: digits rise up the slope.
    lines = re.findall(r"^\d+$", shown, re.MULTILINE)
    assert np.mean([int(d) for d in lines[0]]) > np.mean([int(d) for d in lines[-1]])
    (across,) = re.findall(r"is ([\d.]+) m across", shown)
    assert f"two characters are {2 * float(across) / len(lines[0]):.2f} m" in shown
    assert re.search(rf"0 is {100 * least:.1f} %, 9 is {100 * most:.1f} %", shown)
    assert re.search(r"^far hills +over \d{3,} ", shown, re.MULTILINE)
    assert picture.read_bytes().startswith(b"\x89PNG")


def test_the_report_shows_the_array_and_the_true_places(job: Path, tmp_path: Path) -> None:
    run("report", job, "--output", tmp_path / "r.pdf", "--tables")
    features = json.loads((tmp_path / "r-tables" / "points.geojson").read_text())["features"]
    site = read_job(job).site
    by_name = {f["properties"]["name"]: f["geometry"]["coordinates"] for f in features}
    # The ridge point is 1.0 m north of the origin, the eave 2.1 m south of it.
    north_m = (by_name["east ridge"][1] - site.latitude_deg) * METRES_A_DEGREE
    assert north_m == pytest.approx(1.0, abs=0.01)
    assert by_name["west eave"][0] < site.longitude_deg < by_name["east ridge"][0]


def test_without_any_position_it_says_so_and_is_wide(job: Path, tmp_path: Path) -> None:
    bare = Path(shutil.copytree(job, tmp_path / "bare"))
    for point in ("west eave", "east ridge"):
        run("edit", "set-position", bare, point, "--at", "0,0,4", "--at-error", "0.3")
    done = run("array", bare, "--at=0,0,4", "--json", "-", code=4)
    assert "points far enough apart: the points are 0.00 m apart" in done.stderr
    year = json.loads(done.stdout)["places"][0]["solar_access"]["annual"]
    assert year["high"] - year["low"] > 0.05


@pytest.mark.parametrize(
    ("words", "says", "code"),
    [
        (("--at", "1,2"), "'1,2' is not EAST,NORTH,UP, such as", 2),
        (("--plane", "north roof"), "there is no plane 'north roof'", 2),
        (("--size", "90,90"), "no rectangle of 90 by 90 m fits", 2),
        (("--rows", "1.7,1.0"), "stand in each other", 2),
    ],
)
def test_what_cannot_be_is_refused(job: Path, words: tuple[str, ...], says: str, code: int) -> None:
    done = run("array", job, *words, code=code)
    assert says in done.stderr
    assert "Traceback" not in done.stderr


def test_a_point_that_cannot_be_read_is_told_whatever_the_others_give(
    job: Path, tmp_path: Path
) -> None:
    spoilt = Path(shutil.copytree(job, tmp_path / "spoilt"))
    for point, told in (("west eave", "left out - "), ("east ridge", "error: ")):
        (recording,) = (spoilt / "sweeps" / point).iterdir()
        recording.write_bytes(b"nonsense")
        done = run("array", spoilt, "--at=0,0,4", code=3)
        assert f"{told}{spoilt}/sweeps/" in done.stderr
        assert "neither a recording nor a log" in done.stderr


def test_a_module_above_the_sight_takes_distances_from_the_other_point(
    job: Path, maker: Any, tmp_path: Path
) -> None:
    """Nobody enters a distance, and the eave's horizon is that of a place 0.7 m above it."""
    roof = Path(shutil.copytree(job, tmp_path / "above"))
    set_named(roof, "points", {"name": "west eave", "sight_height_m": 0.3, "module_height_m": 1.0})
    done = run("replay", roof, "west eave", "--json", "-")
    answer = json.loads(done.stdout)
    (check,) = [c for c in answer["quality"] if c["check"] == "corrected to module height"]
    assert check["passed"]
    assert "the distances that matter are known" in check["why"]
    east, north, up = maker.POINTS["west eave"]
    year = SiteYear(maker.SITE, [maker.PLANE], Settings(draws=0))
    beam = [
        year.assess(maker.PLACE.scene(east, north, up + rise).truth()).planes[0].beam_access.annual
        for rise in (0.0, 0.7)
    ]
    found = answer["planes"][0]["beam_access"]["annual"]["value"]
    assert found == pytest.approx(beam[1], abs=0.01)
    assert abs(found - beam[1]) < 0.5 * (beam[1] - beam[0])


def test_an_outline_that_is_none_falls_back_to_the_points(job: Path, tmp_path: Path) -> None:
    crossed = Path(shutil.copytree(job, tmp_path / "crossed"))
    corners = [[0.0, 0.0, 0.0], [4.0, 0.0, 0.0], [0.0, 4.0, 9.0], [3.0, 4.0, 0.0]]
    set_named(crossed, "planes", {"name": "south roof", "outline": corners})
    done = run("array", crossed, "--json", "-", code=4)
    assert len(json.loads(done.stdout)["places"]) == 2
    assert "outline is a polygon" in done.stderr


def test_an_outline_is_set_by_one_corner_and_a_size(job: Path, tmp_path: Path) -> None:
    copy = Path(shutil.copytree(job, tmp_path / "copy"))
    run("edit", "set-outline", copy, "south roof", "--corner=-4,-3,3", "--size", "8,5")
    (plane,) = read_job(copy).planes
    assert plane.outline[0] == (-4.0, -3.0, 3.0)
    assert plane.outline[2][2] == pytest.approx(3.0 + 5.0 * np.sin(np.radians(32.0)), abs=1e-3)
    done = run("edit", "set-outline", copy, "south roof", "--corner=0,0,0", code=2)
    assert "has 1 corners" in done.stderr
