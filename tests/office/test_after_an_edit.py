"""A job whose recordings were left out, dropped from or overridden in the office."""

import json

import pytest

from logger.job import EditEntry, add_edit, read_job
from logger.survey.points import is_swept

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


def test_a_point_that_only_took_a_recording_in_is_swept(job):
    recording = next((job / "sweeps" / "meadow").glob("*.sweep")).name
    assert not is_swept(read_job(job), "gate")
    entered(job, "take in", "gate", recording=recording)
    assert is_swept(read_job(job), "gate")
    entered(job, "leave out", "gate", recording=recording)
    assert not is_swept(read_job(job), "gate")
