"""A job whose points were put right by edits."""

import json

import pytest

from logger.edits import edit_from
from logger.job import add_edit

EMPTY = "20260514T235900Z.sweep"
WHEN = "2026-05-15T07:30:00Z"


def entered(folder, kind, point="meadow", **what):
    who = {"who": "A. Example", "when": WHEN, "why": "a test"}
    add_edit(folder, edit_from({"kind": kind, "point": point, **who, **what}))


@pytest.fixture
def job(copy_job, tmp_path):
    return copy_job(tmp_path / "alders")


def test_what_is_left_out_is_not_even_read_and_a_span_of_it_is_of_no_effect(job, run):
    (job / "sweeps" / "meadow" / EMPTY).touch()
    entered(job, "exclude-span", recording=EMPTY, from_s=1.0, to_s=2.0)
    entered(job, "exclude-sweep", recording=EMPTY)
    done = run("replay", job, "meadow", "--set", "draws=20", "--json", "-")
    assert done.code == 0, done.err
    result = json.loads(done.out)
    assert EMPTY not in [r["file"] for r in result["recordings"]]
    assert sum(EMPTY in step for step in result["horizon"]["steps"]) == 2


def test_one_recording_under_two_points_fails_a_check_of_both(job, run):
    """Whatever it is called: a point that is stored already is worked out again."""
    before = run("replay", job, "meadow", "--json", "-")
    assert before.code == 0
    (path,) = (job / "sweeps" / "meadow").glob("*.sweep")
    copy = job / "sweeps" / "copse" / "20260514T170000Z.sweep"
    copy.parent.mkdir()
    copy.write_bytes(path.read_bytes())
    for point, other, name in (("meadow", "copse", path.name), ("copse", "meadow", copy.name)):
        done = run("replay", job, point, "--set", "draws=0", "--json", "-")
        assert done.code == 4
        said = " ".join(done.err.split())
        assert f"recording of one point: {point}: {name} is a recording of {other} too" in said
    entered(job, "exclude-sweep", "copse", recording=copy.name)
    after = run("replay", job, "meadow", "--json", "-")
    # The job has an edit more, and so another hash; the answer is the same.
    assert all_but_repeat(after.out) == all_but_repeat(before.out)


def all_but_repeat(text: str) -> dict[str, object]:
    answer: dict[str, object] = json.loads(text)
    return {key: value for key, value in answer.items() if key not in ("repeat", "key", "seal")}


def test_a_job_that_cannot_be_written_gives_its_answer_all_the_same(job, run):
    kept = run("replay", job, "meadow", "--json", "-")
    (job / "results" / "meadow.json").unlink()
    (job / "results").rmdir()
    (job / "results").touch()  # no folder can be made there
    done = run("replay", job, "meadow", "--json", "-")
    assert done.code == 0
    assert done.out == kept.out
    assert "not kept in the job" in done.err
