"""What changed against a stored result: figures, skyline, settings, checks."""

import copy
import json
import math
import shutil

import pytest

from logger.errors import InputError
from logger.survey.changes import changes_between, changes_text


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


def test_a_difference_beyond_both_intervals_is_more_than_the_uncertainty(result, other):
    share = other["planes"][0]["solar_access"]["annual"]
    span = share["high"] - share["low"]
    for key in share:
        share[key] -= 3 * span
    year = figure(changes_between(result, other), "solar access, year")
    assert year.gap.value == pytest.approx(-3 * span)
    assert year.gap.is_real
    assert "more than" in changes_text(changes_between(result, other))


def test_a_difference_within_them_is_not(result, other):
    share = other["planes"][0]["solar_access"]["annual"]
    share["value"] += (share["high"] - share["low"]) / 8
    year = figure(changes_between(result, other), "solar access, year")
    assert year.differs
    assert year.gap.is_real is False


def test_figures_without_an_interval_cannot_tell(result, other):
    other["planes"][0]["loss"]["annual_kwh_per_m2"] += 10
    loss = figure(changes_between(result, other), "loss, year")
    assert loss.gap.value == pytest.approx(10)
    assert loss.gap.is_real is None


def test_a_month_that_lost_its_sun_differs_without_a_number(result, other):
    other["planes"][0]["solar_access"]["monthly"][0] = {"value": None, "low": None, "high": None}
    month = figure(changes_between(result, other), "solar access, Jan")
    assert month.differs
    assert math.isnan(month.gap.value)
    assert "solar access, Jan" in changes_text(changes_between(result, other))


def test_the_skyline_s_move_is_measured_where_both_saw_it(result, other):
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


def test_settings_and_inputs_that_differ_are_named(result, other):
    other["settings"]["access"]["reflectance"] = 0.6
    other["settings"]["orientation"]["use_gyro"] = False
    other["recordings"][0]["sha256"] = "0" * 64
    other["declination"] |= {"value_deg": 1.0, "source": "given"}
    named = {n: (a, b) for n, a, b in changes_between(result, other).settings}
    assert named["access.reflectance"] == ("0.2", "0.6")
    assert named["orientation.use_gyro"] == ("yes", "no")
    assert set(named) == {"access.reflectance", "orientation.use_gyro", "recordings", "declination"}


def test_a_result_of_before_settings_were_stored_tells_by_its_assumptions(result, other):
    del result["settings"]
    other["assumptions"]["draws"] = 10
    named = [n for n, _, _ in changes_between(result, other).settings]
    assert named == ["assumptions.draws"]


def test_checks_that_turned_are_named(result, other):
    check = other["quality"][0]
    check["passed"] = not check["passed"]
    changes = changes_between(result, other)
    assert [g[0] for g in changes.checks] == [check["check"]]
    assert check["check"] in changes_text(changes)


def test_planes_that_only_one_has_or_that_turned_are_told(result, other):
    other["planes"][0]["name"] = "new frame"
    other["planes"][1]["tilt_deg"] = 25.0
    told = "\n".join(changes_between(result, other).planes)
    assert "new frame: not in the stored result" in told
    assert "ground frame: only in the stored result" in told
    assert "tilt 20°" in told
    assert "tilt 25°" in told


@pytest.mark.parametrize(
    "spoil",
    [
        lambda d: d.clear(),
        lambda d: d.update(planes=5),
        lambda d: d["planes"][0].update(solar_access=[1, 2]),
        lambda d: d["horizon"]["azimuth_deg"].pop(),
        lambda d: d["horizon"].update(elevation_deg="high"),
        lambda d: d.update(quality=[{}]),
        lambda d: d.update(recordings="some"),
    ],
)
def test_what_is_no_result_is_refused_in_one_sentence(result, other, spoil):
    spoil(other)
    with pytest.raises(InputError, match="no result"):
        changes_between(other, result, "results/meadow.json")


def test_replay_with_a_setting_changed_prints_old_and_new_side_by_side(stored, call):
    done = call("replay", stored / "sweeps" / "meadow", "--reflectance", "0.7", "--draws", "50")
    assert done.exit_code == 0, done.output
    told = done.stdout.partition("Against the stored result:")[2]
    assert "access.reflectance" in told
    for word in ("stored", "now", "more than", "solar access, year", "skyline: the same"):
        assert word in told


def test_replay_with_nothing_changed_says_so_and_its_json_is_the_stored_result(stored, call):
    out = call("replay", stored / "sweeps" / "meadow", "--json", "-").stdout
    assert out == (stored / "results" / "meadow.json").read_text(encoding="utf-8")


def test_the_json_of_a_changed_replay_tells_the_changes(stored, call):
    out = call(
        "replay", stored / "sweeps" / "meadow", "--solar-window", "8,16", "--json", "-"
    ).stdout
    changes = json.loads(out)["changes"]
    assert {s["name"] for s in changes["settings"]} == {"access.solar_window"}
    assert changes["figures"][0]["more_than_uncertainty"] is False


def test_a_damaged_stored_result_is_told_and_stops_nothing(stored, call, tmp_path):
    job = shutil.copytree(stored, tmp_path / "job")
    (job / "results" / "meadow.json").write_text('{"planes": 5}')
    done = call("replay", job / "sweeps" / "meadow")
    assert done.exit_code == 0
    assert "not compared" in done.stderr
    assert "year" in done.stdout


@pytest.mark.parametrize(
    ("more", "word"),
    [
        (("--set", "horizon.tremr_deg=1"), "horizon.tremr_deg"),
        (("--set", "horizon.tremor_deg"), "NAME=VALUE"),
        (("--draws", "few"), "--draws"),
        (("--draws", "5", "--set", "draws=6"), "given twice"),
        (("--rate", "10"), "one recording"),
        (("--processes", "2"), "--batch"),
        (("--batch", "."), "either"),
    ],
)
def test_what_makes_no_sense_is_wrong_usage(stored, call, more, word):
    done = call("replay", stored / "sweeps" / "meadow", *more)
    assert done.exit_code == 2
    assert word in done.stderr


def test_one_recording_is_not_stored_as_the_point(stored, call):
    recording = next((stored / "sweeps" / "meadow").glob("*.sweep"))
    assert call("replay", recording, "--job", stored, "--store").exit_code == 2
    assert (
        call("replay", recording, "--no-gyro", "--job", stored).stdout.count("stored result") == 1
    )


def test_a_folder_that_is_no_point_of_a_job_cannot_be_replayed(call, tmp_path, stored):
    assert call("replay", tmp_path).exit_code == 3
    stray = shutil.copytree(stored / "sweeps" / "meadow", tmp_path / "stray")
    assert call("replay", stray).exit_code == 3
    assert call("replay", stray, "--job", stored).exit_code == 3
