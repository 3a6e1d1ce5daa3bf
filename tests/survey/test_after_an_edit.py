"""A job whose recordings were left out, dropped from or overridden in the office."""

import json
import shutil

import pytest

from logger.horizon_fit import edit_from
from logger.job import (
    JobObstruction,
    Point,
    add_edit,
    add_obstruction,
    change_job,
    read_job,
    set_point,
)
from logger.survey.points import earlier_passes, job_sha256

EMPTY = "20260514T235900Z.sweep"
WHEN = "2026-05-15T07:30:00Z"


def entered(folder, kind, point="meadow", **what):
    who = {"who": "A. Example", "when": WHEN, "why": "a test"}
    add_edit(folder, edit_from({"kind": kind, "point": point, **who, **what}))


@pytest.fixture
def job(copy_job, tmp_path):
    return copy_job(tmp_path / "alders")


def test_what_is_left_out_is_not_even_read_and_a_span_of_it_is_of_no_effect(job, call):
    (job / "sweeps" / "meadow" / EMPTY).touch()
    entered(job, "exclude-span", recording=EMPTY, from_s=1.0, to_s=2.0)
    entered(job, "exclude-sweep", recording=EMPTY)
    done = call("replay", job / "sweeps" / "meadow", "--draws", 20, "--json", "-")
    assert done.exit_code == 0, done.stderr
    result = json.loads(done.stdout)
    assert EMPTY not in [r["file"] for r in result["recordings"]]
    assert sum(EMPTY in step for step in result["horizon"]["steps"]) == 2


def test_after_an_edit_points_works_the_point_out_again_once(stored, call, tmp_path):
    job = shutil.copytree(stored, tmp_path / "alders")
    before = json.loads(call("points", job, "--json", "-").stdout)
    change = ("--from-azimuth", 90, "--to-azimuth", 270, "--elevation", 40)
    done = call(
        "edit", "set-sector", job, "meadow", *change, "--who", "A. Example", "--why", "test"
    )
    assert f"horizon-logger points {job}" in " ".join(done.stderr.split())
    first, second = (call("points", job, "--json", "-") for _ in range(2))
    assert "meadow: the job has changed since, worked out again" in first.stderr
    assert second.stderr == ""
    assert first.stdout == second.stdout

    def year(document):
        return document["points"][0]["planes"][0]["solar_access"]["annual"]["value"]

    assert year(json.loads(first.stdout)) < year(before) - 0.2


def test_what_the_job_says_of_a_point_is_told_from_what_it_says_of_others(job):
    def said():
        return job_sha256(read_job(job), "meadow")

    def renamed(document):
        document["people"] = {"client": "B. Example"}

    before = said()
    change_job(job, renamed)
    set_point(job, Point("copse", sight_height_m=1.5))
    entered(job, "remove-point", "copse", recordings=[])
    add_obstruction(job, JobObstruction("elm", point="copse"))
    assert said() == before
    seen = [before]
    for change in (
        lambda: set_point(job, Point("meadow", sight_height_m=1.5)),
        lambda: (job / "sweeps" / "meadow" / EMPTY).touch(),
        lambda: entered(job, "exclude-sweep", recording=EMPTY),
        lambda: add_obstruction(job, JobObstruction("oak", distance_m=30.0)),
        lambda: change_job(job, lambda document: document["site"].update(altitude_m=99.0)),
    ):
        change()
        assert said() not in seen
        seen.append(said())


def test_what_earlier_sweeps_saw_is_told_without_what_is_excluded(job):
    (path,) = (job / "sweeps" / "meadow").glob("*.sweep")
    bad = job / "sweeps" / "meadow" / EMPTY
    bad.touch()
    entered(job, "exclude-span", recording=path.name, from_s=5.0, to_s=10.0)
    (seen,) = earlier_passes(read_job(job), "meadow", [path, bad])
    inside = (seen.sight.t_s >= 5.0) & (seen.sight.t_s <= 10.0)
    assert inside.any()
    assert not seen.sight.used[inside].any()
    assert seen.sight.used[seen.sight.t_s < 5.0].any()
    entered(job, "exclude-sweep", recording=path.name)
    assert earlier_passes(read_job(job), "meadow", [path]) == ()
