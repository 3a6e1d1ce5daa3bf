"""A job whose recordings were left out, dropped from or overridden in the office."""

import json

import pytest

from logger.horizon_fit import edit_from
from logger.job import add_edit, read_job
from logger.survey.points import earlier_passes

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
    done = call("replay", job, "meadow", "--set", "draws=20", "--json", "-")
    assert done.exit_code == 0, done.stderr
    result = json.loads(done.stdout)
    assert EMPTY not in [r["file"] for r in result["recordings"]]
    assert sum(EMPTY in step for step in result["horizon"]["steps"]) == 2


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
