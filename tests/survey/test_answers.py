"""One way from a job to its answers, and a store that is trusted only where nothing has changed."""

import hashlib
import json
import shutil

import pytest

from logger.job import (
    JobObstruction,
    Point,
    add_obstruction,
    change_job,
    read_job,
    set_point,
)
from logger.survey.answers import answers, recording_answer, worst
from logger.survey.points import load_sweep
from logger.survey.recipe import Overrides, recipe_of, set_settings
from logger.survey.store import answer_key, stored_answer

from .conftest import edited

EMPTY = "20260514T235900Z.sweep"
QUICK = Overrides({"draws": 20})


@pytest.fixture
def job(stored, tmp_path):
    """A job of one point whose answer is stored, to be changed at will."""
    return shutil.copytree(stored, tmp_path / "alders")


def said(folder, overrides=QUICK, **more):
    job = read_job(folder)
    return list(answers(job, recipe_of(job, overrides), **more))


def on_disk(folder):
    return (folder / "results" / "meadow.json").read_bytes()


def key_of(folder):
    return answer_key(read_job(folder), "meadow", recipe_of(read_job(folder)))


def test_every_command_gives_the_same_bytes(job, run, tmp_path):
    run("settings", job, "draws=20")
    run("compare", job)
    stored = on_disk(job)
    replayed = run("replay", job, "meadow", "--json", "-").out.encode()
    run("replay", "--batch", job, "--json", tmp_path / "batch.json")
    run("report", job, "--json", tmp_path / "report.json")
    assert replayed == stored == on_disk(job)
    document = json.loads(stored)
    assert json.loads((tmp_path / "batch.json").read_text())["jobs"][0]["points"] == [document]
    assert json.loads((tmp_path / "report.json").read_text())["points"] == [document]


def test_a_stored_answer_is_taken_only_for_the_very_same(job):
    (taken,) = said(job, Overrides(), stored=True)
    assert taken.result is None
    assert taken.document == stored_answer(read_job(job), "meadow")
    (fresh,) = said(job, QUICK, stored=True)
    assert fresh.result is not None


CHANGES = {
    "height of the sight": lambda f: set_point(f, Point("meadow", sight_height_m=1.0)),
    "an edit": lambda f: edited(f, "exclude-span", from_azimuth_deg=10.0, to_azimuth_deg=11.0),
    "an obstruction": lambda f: add_obstruction(f, JobObstruction("oak", distance_m=30.0)),
    "a recording": lambda f: (f / "sweeps" / "meadow" / EMPTY).touch(),
    "a recording's bytes": lambda f: next((f / "sweeps" / "meadow").iterdir()).write_bytes(b"x"),
    "a calibration": lambda f: next((f / "calibrations").glob("*.json")).unlink(),
    "the site": lambda f: change_job(f, lambda d: d["site"].update(altitude_m=99.0)),
    "a plane": lambda f: change_job(f, lambda d: d["planes"][0].update(tilt_deg=10.0)),
    "a setting": lambda f: set_settings(read_job(f), {"draws": "500"}),
}


@pytest.mark.parametrize("change", CHANGES.values(), ids=CHANGES)
def test_whatever_an_answer_came_from_is_in_its_key(job, change):
    before = key_of(job)
    assert before == stored_answer(read_job(job), "meadow")["key"]
    change(job)
    assert key_of(job) != before


def test_names_for_the_report_and_other_points_are_not_in_the_key(job):
    before = key_of(job)
    change_job(job, lambda document: document.update(people={"client": "B. Example"}))
    set_point(job, Point("copse", sight_height_m=1.5))
    edited(job, "remove-point", "copse", recordings=[])
    add_obstruction(job, JobObstruction("elm", point="copse"))
    assert key_of(job) == before


@pytest.mark.parametrize(
    "spoil",
    [
        lambda text: text.replace('"value": 0.99', '"value": 0.89', 1),
        lambda text: text[: len(text) // 2],
        lambda text: "[1]",
    ],
)
def test_a_stored_answer_that_is_not_as_it_was_written_is_worked_out_again(job, run, spoil):
    path = job / "results" / "meadow.json"
    good = path.read_text(encoding="utf-8")
    path.write_text(spoil(good), encoding="utf-8")
    assert path.read_text(encoding="utf-8") != good
    assert run("compare", job).code == 0
    assert path.read_text(encoding="utf-8") == good


@pytest.mark.parametrize(
    ("command", "more"),
    [
        ("replay", ("meadow", "--set", "draws=50")),
        ("replay", ("meadow", "--date", "2026-05-14", "--year", "2027")),
        ("replay", ("meadow", "--tilt", "10", "--azimuth", "90")),
        ("compare", ("--tilt", "10", "--azimuth", "90")),
    ],
)
def test_what_is_overridden_is_never_stored(job, run, command, more):
    before = on_disk(job)
    assert run(command, job, *more).code == 0
    assert on_disk(job) == before


def test_a_job_that_cannot_be_written_gives_its_answer_all_the_same(job, run):
    kept = run("replay", job, "meadow", "--json", "-")
    shutil.rmtree(job / "results")
    (job / "results").touch()  # no folder can be made there
    done = run("replay", job, "meadow", "--json", "-")
    assert (done.code, done.out) == (0, kept.out)
    assert "not kept in the job" in done.err


def test_after_an_edit_compare_works_the_point_out_again_once(job, run):
    def year():
        document = json.loads(run("compare", job, "--json", "-").out)
        return document["planes"][0]["points"][0]["solar_access"]["value"]

    before = year()
    sector = {"from_azimuth_deg": 90.0, "to_azimuth_deg": 270.0}
    ends = {"from_elevation_deg": 40.0, "to_elevation_deg": 40.0, "standard_error_deg": 1.0}
    edited(job, "set-sector", **sector, **ends)
    assert year() < before - 0.2
    (taken,) = said(job, Overrides(), stored=True)
    assert taken.result is None


def test_a_point_that_cannot_be_worked_out_is_an_answer_with_its_name_and_the_reason(job):
    (job / "sweeps" / "garb").mkdir()
    (job / "sweeps" / "garb" / EMPTY).write_bytes(b"junk")
    set_point(job, Point("attic"))
    told = {answer.point: answer for answer in said(job)}
    assert set(told) == {"attic", "garb", "meadow"}
    assert told["meadow"].error is None
    assert EMPTY in str(told["garb"].error)
    assert (told["garb"].code, told["attic"].code) == (3, 0)
    assert "no recording yet" in str(told["attic"].error)


def test_a_fault_of_the_program_in_one_point_is_told_in_its_place(job, monkeypatch):
    def broken(*_args, **_more):
        raise ZeroDivisionError("division by zero")

    monkeypatch.setattr("logger.survey.answers.point_result", broken)
    (answer,) = said(job)
    assert answer.code == 1
    assert "please report it: ZeroDivisionError: division by zero" in str(answer.error)


@pytest.mark.parametrize(
    ("codes", "code"), [([], 0), ([0, 0], 0), ([0, 4, 0], 4), ([4, 3, 0], 3), ([3, 1, 4], 1)]
)
def test_the_worst_exit_code_stands_for_all(codes, code):
    assert worst(codes) == code


def test_settings_of_the_job_decide_and_are_taken_back(job, run):
    comment = "# a note of the surveyor\n"
    path = job / "job.toml"
    path.write_text(comment + path.read_text(encoding="utf-8"), encoding="utf-8")
    shown = run("settings", job, "draws=50", "solar_window=8,16", "turbidity=3")
    assert "draws = 50  (default 1000" in shown.out
    assert path.read_text(encoding="utf-8").startswith(comment)
    assert recipe_of(read_job(job)).settings.solar_window == (8.0, 16.0)
    assert "Settings: solar_window 8,16, turbidity 3, draws 50" in run("compare", job).out
    run("settings", job, "draws=default", "solar_window=default", "turbidity=none")
    assert recipe_of(read_job(job)).settings.draws == 1000
    assert "Settings: all as by default" in run("compare", job).out


def test_an_answer_says_what_repeats_it(job):
    set_point(job, Point("meadow", 1.6, 4.6))
    folder = read_job(job)
    overrides = Overrides({"draws": 20, "turbidity": 3.5})
    (found,) = answers(folder, recipe_of(folder, overrides))
    repeat = found.document["repeat"]
    words = ["horizon-logger", "replay", "alders", "meadow", "--set", "turbidity=3.5"]
    assert repeat["command"].split() == [*words, "--set", "draws=20"]
    assert repeat["job_sha256"] == hashlib.sha256((job / "job.toml").read_bytes()).hexdigest()
    assert (repeat["turbidity"], repeat["weather_sha256"], repeat["seed"]) == (3.5, None, 1)
    assert repeat["magnetic_model"].startswith("WMM")
    assert (repeat["sight_height_m"], repeat["module_height_m"]) == (1.6, 4.6)


def test_a_recording_on_its_own_says_what_repeats_it(job):
    (path,) = (job / "sweeps" / "meadow").glob("*.sweep")
    sweep = load_sweep(path)
    alone = recording_answer(sweep, None, (47.5, 14.5, 300.0), Overrides({"draws": 20}))
    place = "--latitude 47.5 --longitude 14.5 --altitude 300"
    assert alone.document["repeat"]["command"] == (
        f"horizon-logger replay {path.name} {place} --set draws=20"
    )
    in_job = recording_answer(sweep, job, (None, None, None), Overrides({"draws": 20}))
    assert in_job.document["repeat"]["command"] == (
        f"horizon-logger replay {path.name} --job alders --set draws=20"
    )
