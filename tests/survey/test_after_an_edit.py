"""A job whose recordings were left out, dropped from or overridden in the office."""

import json
import shutil

import pytest

from logger.job import EditEntry, Point, add_edit, add_obstruction, change_job, read_job, set_point
from logger.survey.points import earlier_passes, is_swept, job_sha256

EMPTY = "20260514T235900Z.sweep"
WHEN = "2026-05-15T07:30:00Z"


def entered(folder, kind, point="meadow", **what):
    add_edit(folder, EditEntry(kind, point, "A. Example", WHEN, "a test", what))


@pytest.fixture
def job(copy_job, tmp_path):
    return copy_job(tmp_path / "alders")


def test_what_is_left_out_is_not_even_read_and_a_span_of_it_is_of_no_effect(job, call):
    (job / "sweeps" / "meadow" / EMPTY).touch()
    entered(job, "drop span", recording=EMPTY, from_s=1.0, to_s=2.0)
    entered(job, "leave out", recording=EMPTY)
    done = call("replay", job / "sweeps" / "meadow", "--draws", 20, "--json", "-")
    assert done.exit_code == 0, done.stderr
    result = json.loads(done.stdout)
    assert EMPTY not in [r["file"] for r in result["recordings"]]
    assert sum(EMPTY in step for step in result["horizon"]["steps"]) == 2


def test_a_change_by_hand_that_makes_no_sense_is_named_with_what_to_do(job, call):
    values = {"from_azimuth_deg": 9.0, "to_azimuth_deg": 20.0, "to_elevation_deg": 5.0}
    entered(job, "override sector", from_elevation_deg=95.0, **values)
    done = call("replay", job / "sweeps" / "meadow")
    assert done.exit_code == 3
    assert f"job.toml: edit of {WHEN}: from_elevation_deg 95 is outside -90 to 90" in done.stderr
    assert "edit undo removes the last" in " ".join(done.stderr.split())


def test_a_horizon_outside_the_job_is_not_read(job, call):
    (job.parent / "x.csv").write_text("azimuth_deg,elevation_deg\n0,1\n180,1\n")
    entered(job, "import horizon", source="../x.csv")
    done = call("replay", job / "sweeps" / "meadow")
    assert done.exit_code == 3
    assert "'../x.csv' is outside the job folder" in done.stderr


def test_a_span_that_begins_after_the_recording_ended_is_refused(job, call):
    recording = next((job / "sweeps" / "meadow").glob("*.sweep")).name
    span = ("edit", "drop-span", job, "meadow", "--recording", recording, "--why", "a test")
    done = call(*span, "--from", 5000, "--to", 6000)
    assert done.exit_code == 2
    assert "nothing of it lies after 5000 s" in done.stderr
    done = call(*span, "--from", 5, "--to", 6, "--who", "A. Example")
    assert done.exit_code == 0, done.stderr


def test_a_point_that_only_took_a_recording_in_is_swept(job):
    recording = next((job / "sweeps" / "meadow").glob("*.sweep")).name
    assert not is_swept(read_job(job), "check")
    entered(job, "take in", "check", recording=recording)
    assert is_swept(read_job(job), "check")
    entered(job, "leave out", "check", recording=recording)
    assert not is_swept(read_job(job), "check")


def test_after_an_edit_points_works_the_point_out_again_once(stored, call, tmp_path):
    job = shutil.copytree(stored, tmp_path / "alders")
    before = json.loads(call("points", job, "--json", "-").stdout)
    change = (
        "--from",
        90,
        "--to",
        270,
        "--elevation",
        40,
        "--who",
        "A. Example",
        "--why",
        "a test",
    )
    done = call("edit", "override-sector", job, "meadow", *change)
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
    entered(job, "leave out", "copse", recording=EMPTY)
    add_obstruction(job, {"name": "elm", "point": "copse"})
    assert said() == before
    seen = [before]
    for change in (
        lambda: set_point(job, Point("meadow", sight_height_m=1.5)),
        lambda: entered(job, "leave out", recording=EMPTY),
        lambda: add_obstruction(job, {"name": "oak", "distance_m": 30.0}),
        lambda: (job / "sweeps" / "meadow" / EMPTY).touch(),
        lambda: change_job(job, lambda document: document["site"].update(altitude_m=99.0)),
    ):
        change()
        assert said() not in seen
        seen.append(said())


def test_changes_that_cannot_be_used_do_not_stop_a_sweep_that_adds_to_a_point(job):
    (path,) = (job / "sweeps" / "meadow").glob("*.sweep")
    entered(job, "override sector", from_elevation_deg=95.0)
    entered(job, "drop span", recording=path.name, from_s=9.0, to_s=2.0)
    entered(job, "drop span", recording=EMPTY, from_s=1.0, to_s=2.0)
    entered(job, "drop span", recording=path.name, from_s=5.0, to_s=10.0)
    (seen,) = earlier_passes(read_job(job), "meadow", [path])
    inside = (seen.sight.t_s >= 5.0) & (seen.sight.t_s <= 10.0)
    assert inside.any()
    assert not seen.sight.used[inside].any()
    assert seen.sight.used[seen.sight.t_s < 5.0].any()
    assert earlier_passes(read_job(job), "meadow", []) == ()
