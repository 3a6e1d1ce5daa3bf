"""What changed against a stored result: figures, horizon, settings, checks."""

import copy
import json
import math

import pytest

from logger.report.comparison import changes_text
from logger.survey.changes import changes_between


@pytest.fixture(scope="module")
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


def test_a_difference_beyond_both_intervals_is_significant(result, other):
    share = other["planes"][0]["solar_access"]["annual"]
    span = share["high"] - share["low"]
    for key in share:
        share[key] -= 3 * span
    changes = changes_between(result, other)
    year = figure(changes, "solar access, year")
    assert year.gap.value == pytest.approx(-3 * span)
    assert year.gap.significant
    assert changes.largest == year
    (row,) = [r for r in changes_text(changes).splitlines() if "ground frame solar access" in r]
    assert row.endswith("yes")


def test_a_difference_within_them_is_not(result, other):
    share = other["planes"][0]["solar_access"]["annual"]
    share["value"] += (share["high"] - share["low"]) / 8
    year = figure(changes_between(result, other), "solar access, year")
    assert year.differs
    assert year.gap.significant is False


def test_of_figures_without_an_interval_it_is_not_known(result, other):
    result = copy.deepcopy(other)
    for document, loss in ((result, 100.0), (other, 110.0)):
        document["planes"][0]["loss"]["annual_kwh_per_m2"] = loss
    loss = figure(changes_between(result, other), "loss, year")
    assert loss.gap.value == pytest.approx(10)
    assert loss.gap.significant is None


def test_a_month_that_lost_its_sun_differs_without_a_number(result, other):
    other["planes"][0]["solar_access"]["monthly"][0] = {"value": None, "low": None, "high": None}
    month = figure(changes_between(result, other), "solar access, Jan")
    assert month.differs
    assert math.isnan(month.gap.value)
    assert "Jan" in changes_text(changes_between(result, other))


def test_the_horizon_s_move_is_measured_where_both_saw_it(result, other):
    at = [k for k, a in enumerate(other["horizon"]["azimuth_deg"]) if 100 <= a <= 110]
    for k in at:
        other["horizon"]["elevation_deg"][k] += 10.0
    moved = changes_between(result, other).skyline
    assert moved.largest_deg == pytest.approx(10.0)
    assert 100 <= moved.at_azimuth_deg <= 110
    assert 9 <= moved.beyond_deg <= 11
    for k in at:
        other["horizon"]["elevation_deg"][k] = None
        other["horizon"]["measured"][k] = False
    gone = changes_between(result, other).skyline
    assert gone.largest_deg == 0.0
    assert -12 <= gone.measured_deg <= -9
    assert "° less of it measured" in changes_text(changes_between(result, other))
    assert "° more of it measured" in changes_text(changes_between(other, result))


def test_settings_and_inputs_that_differ_are_named(result, other):
    other["settings"] |= {"reflectance": [0.6], "use_gyro": False}
    other["recordings"][0]["sha256"] = "0" * 64
    other["declination"] |= {"value_deg": 1.0, "source": "given"}
    named = {n: (a, b) for n, a, b in changes_between(result, other).settings}
    assert named["reflectance"] == ("0.2", "0.6")
    assert named["use_gyro"] == ("yes", "no")
    assert set(named) == {"reflectance", "use_gyro", "recordings", "declination"}


def test_checks_that_turned_are_named(result, other):
    check = other["quality"][0]
    check["passed"] = not check["passed"]
    changes = changes_between(result, other)
    assert [g[0] for g in changes.checks] == [check["check"]]
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


def test_replay_with_a_setting_changed_prints_old_and_new_side_by_side(stored, call):
    done = call("replay", stored, "meadow", "--reflectance", "0.7", "--set", "draws=50")
    assert done.exit_code == 0, done.output
    told = done.stdout.partition("Against the stored result:")[2]
    for word in ("reflectance", "draws", "stored", "now", "significant?", "horizon: the same"):
        assert word in told


def test_the_json_of_a_changed_replay_tells_the_changes(stored, call):
    out = call("replay", stored, "meadow", "--solar-window", "8,16", "--json", "-").stdout
    changes = json.loads(out)["changes"]
    assert changes["settings"] == [{"name": "solar_window", "stored": "9,15", "now": "8,16"}]
    assert changes["figures"][0]["significant"] is False
