"""What changed against a stored result: figures, horizon, settings, checks."""

import copy
import json
import math

import pytest

from logger.report.comparison import changes_text
from logger.survey.changes import changes_between


@pytest.fixture
def result(stored):
    return json.loads((stored / "results" / "meadow.json").read_text(encoding="utf-8"))


@pytest.fixture
def other(result):
    return copy.deepcopy(result)


def figure(changes, name, plane="ground frame"):
    return next(f for f in changes.figures if f.plane == plane and f.figure == name)


def test_a_result_against_itself_has_not_changed(result):
    changes = changes_between(result, result)
    assert changes.nothing
    assert "nothing changed" in changes_text(changes)


def test_a_figure_that_moved_is_told_with_its_unit(result, other):
    plane = other["planes"][0]
    plane["solar_access"]["annual"]["value"] -= 0.02
    result["planes"][0]["loss"]["annual_kwh_per_m2"] = 100.0
    plane["loss"]["annual_kwh_per_m2"] = 110.0
    changes = changes_between(result, other)
    year = figure(changes, "solar access, year")
    assert year.by == pytest.approx(-0.02)
    assert changes.largest == year
    rows = [r for r in changes_text(changes).splitlines() if r.startswith("ground frame")]
    assert [row.split()[-1] for row in rows if "[%]" in row] == ["−2.0"]
    assert [row.split()[-3:] for row in rows if "[kWh/m²]" in row] == [["100.0", "110.0", "10.0"]]


def test_a_month_that_lost_its_sun_differs_without_a_number(result, other):
    other["planes"][0]["solar_access"]["monthly"][0] = {"value": None, "low": None, "high": None}
    month = figure(changes_between(result, other), "solar access, Jan")
    assert month.differs
    assert math.isnan(month.by)
    assert "Jan" in changes_text(changes_between(result, other))


def test_the_horizon_s_move_is_measured_where_both_saw_it(result, other):
    at = [k for k, a in enumerate(other["horizon"]["azimuth_deg"]) if 100 <= a <= 110]
    for k in at:
        other["horizon"]["elevation_deg"][k] += 10.0
    moved = changes_between(result, other).horizon
    assert moved.largest_deg == pytest.approx(10.0)
    assert 100 <= moved.at_azimuth_deg <= 110
    for k in at:
        other["horizon"]["elevation_deg"][k] = None
        other["horizon"]["measured"][k] = False
    gone = changes_between(result, other).horizon
    assert gone.largest_deg == 0.0
    assert -12 <= gone.measured_deg <= -9
    assert "° less of it measured" in changes_text(changes_between(result, other))
    assert "° more of it measured" in changes_text(changes_between(other, result))


def test_settings_and_inputs_that_differ_are_named(result, other):
    other["settings"] |= {"reflectance": [0.6], "use_gyro": False}
    other["recordings"][0]["sha256"] = "0" * 64
    other["declination"] |= {"value_deg": 1.0, "source": "given"}
    found = changes_between(result, other).settings
    named = {one.name: (one.stored, one.now) for one in found}
    assert named["reflectance"] == ("0.2", "0.6")
    assert named["use_gyro"] == ("yes", "no")
    assert set(named) == {"reflectance", "use_gyro", "recordings", "declination"}


def test_checks_that_turned_are_named(result, other):
    check = other["quality"][0]
    check["passed"] = not check["passed"]
    changes = changes_between(result, other)
    assert [one.name for one in changes.checks] == [check["check"]]
    assert f"check: {check['check']} now fails, passed before" in changes_text(changes)
    back = changes_text(changes_between(other, result))
    assert f"check: {check['check']} now passes, failed before" in back


def test_planes_that_only_one_has_or_that_turned_are_told(result, other):
    other["planes"][0]["name"] = "new frame"
    other["planes"][1]["tilt_deg"] = 25.0
    told = "\n".join(changes_between(result, other).planes)
    assert "new frame: not in the stored result" in told
    assert "ground frame: only in the stored result" in told
    assert "tilt 20°" in told
    assert "tilt 25°" in told


def test_a_replay_with_settings_changed_tells_old_and_new_side_by_side(stored, run, tmp_path):
    changed = ("--solar-window", "8,16", "--set", "draws=50")
    done = run("replay", stored, "meadow", *changed, "--json", tmp_path / "now.json")
    assert done.code == 0, done.err
    told = done.out.partition("Against the stored result:")[2]
    for word in ("solar_window", "draws", "stored", "change", "horizon: the same"):
        assert word in told
    changes = json.loads((tmp_path / "now.json").read_text(encoding="utf-8"))["changes"]
    assert changes["settings"] == [
        {"name": "solar_window", "stored": "9,15", "now": "8,16"},
        {"name": "draws", "stored": "1000", "now": "50"},
    ]
    assert changes["horizon"]["largest_deg"] == 0
