"""A folder of jobs at once: in order, alike however many processes, no job stops another."""

import json
import shutil
from concurrent.futures import Future
from concurrent.futures.process import BrokenProcessPool

import pytest

from logger.errors import InputError
from logger.survey.again import Recipe
from logger.survey.batch import (
    Chunk,
    JobDone,
    PointDone,
    _Pool,
    job_folders,
    job_line,
    points_done,
    worked_through,
    worst,
)
from logger.survey.batch_file import batch_file
from logger.survey.points import site_year

QUICK = ("--draws", "20")


@pytest.fixture(scope="module")
def folder(tmp_path_factory, stored):
    """Four jobs: sound with a stored result, unreadable, not swept, one of two recordings junk."""
    root = tmp_path_factory.mktemp("jobs")
    shutil.copytree(stored, root / "alders")
    (root / "birch").mkdir()
    (root / "birch" / "job.toml").write_text("nonsense [")
    (root / "cedar").mkdir()
    text = (stored / "job.toml").read_text(encoding="utf-8")
    (root / "cedar" / "job.toml").write_text(text + '\n[[points]]\nname = "check"\n')
    damaged = shutil.copytree(stored, root / "far" / "dune")
    (damaged / "sweeps" / "copse").mkdir()
    (damaged / "sweeps" / "copse" / "20260514T064000Z.sweep").write_text("junk")
    return root


@pytest.fixture(scope="module")
def both(folder, tmp_path_factory):
    """The batch on one process and on two."""
    from click.testing import CliRunner

    from logger.cli import main

    out = tmp_path_factory.mktemp("out")
    runs = []
    for processes in (1, 2):
        file = out / f"{processes}.json"
        arguments = ["replay", "--batch", folder, *QUICK, "--processes", processes, "--json", file]
        done = CliRunner().invoke(main, [str(a) for a in arguments])
        runs.append((done, file.read_bytes()))
    return runs


def test_the_json_is_alike_byte_for_byte_on_one_process_and_on_two(both):
    assert both[0][1] == both[1][1]
    assert both[0][0].stdout == both[1][0].stdout


def test_one_line_a_job_in_order_and_the_worst_exit_code(both):
    done, _ = both[0]
    assert done.exit_code == 3
    lines = done.stdout.splitlines()
    assert [line.partition(":")[0] for line in lines] == ["alders", "birch", "cedar", "far/dune"]
    assert "year's solar access" in lines[0]
    assert "no valid TOML" in lines[1]
    assert "no point has a recording" in lines[2]
    assert "1 of 2 points; copse not worked out" in lines[3]


def test_progress_is_told_in_plain_lines_where_there_is_no_terminal(both):
    told = both[0][0].stderr
    assert "4 of 4 jobs" in told
    assert "1 fit for use" in told
    assert "\x1b" not in told


def test_the_json_holds_every_result_and_what_changed(both):
    document = json.loads(both[0][1])
    assert document["schema"] == "horizon-logger batch 1"
    assert document["exit_code"] == 3
    jobs = {job["job"]: job for job in document["jobs"]}
    assert {name: job["exit_code"] for name, job in jobs.items()} == {
        "alders": 0,
        "birch": 3,
        "cedar": 3,
        "far/dune": 3,
    }
    assert jobs["cedar"]["not_swept"] == ["check"]
    assert "copse" in jobs["far/dune"]["not_worked_out"]
    (result,) = jobs["alders"]["points"]
    assert result["schema"] == "horizon-logger result 1"
    assert [s["name"] for s in result["changes"]["settings"]] == ["access.draws"]


def test_results_can_be_put_in_place_of_the_stored_ones(stored, tmp_path):
    job = shutil.copytree(stored, tmp_path / "alders")
    recipe = Recipe(changes=(("draws", "20"),))
    (point,) = points_done(Chunk(job, ("meadow",), recipe, store=True))
    assert "year's solar access" in job_line(JobDone(job, (point,)), tmp_path)
    (point,) = points_done(Chunk(job, ("meadow",), recipe))
    assert job_line(JobDone(job, (point,)), tmp_path) == "alders: 1 point; as stored"


def test_json_to_standard_output_and_nothing_else(folder, call):
    done = call("replay", "--batch", folder / "birch", "--json", "-")
    assert done.exit_code == 3
    assert json.loads(done.stdout)["jobs"][0]["points"] == []


def test_a_fault_of_the_program_in_one_point_is_told_in_its_place(stored, monkeypatch):
    def broken(*_args, **_more):
        raise ZeroDivisionError("division by zero")

    monkeypatch.setattr("logger.survey.batch.point_again", broken)
    (point,) = points_done(Chunk(stored, ("meadow",)))
    assert point.code == 1
    assert point.words == "ZeroDivisionError: division by zero"


def test_a_check_that_failed_makes_the_batch_4_and_is_named(stored):
    recipe = Recipe(changes=(("orientation.disturbance_dip_deg", "0.1"), ("draws", "0")))
    (point,) = points_done(Chunk(stored, ("meadow",), recipe))
    assert point.code == 4
    assert point.words
    line = job_line(JobDone(stored, (point,)), stored.parent)
    assert f"not fit for use: meadow ({point.words})" in line


@pytest.mark.parametrize(
    ("codes", "code"),
    [([], 0), ([0, 0], 0), ([0, 4, 0], 4), ([4, 3, 0], 3), ([3, 1, 4], 1)],
)
def test_the_worst_exit_code_stands_for_all(codes, code):
    assert worst(codes) == code


def test_jobs_are_found_at_any_depth_but_not_inside_a_job(tmp_path):
    for name in ("b", "a/deep", "b/sweeps/inner"):
        (tmp_path / name).mkdir(parents=True)
        (tmp_path / name / "job.toml").write_text("")
    (tmp_path / "empty").mkdir()
    assert job_folders(tmp_path) == [tmp_path / "a" / "deep", tmp_path / "b"]
    assert job_folders(tmp_path / "b") == [tmp_path / "b"]
    with pytest.raises(InputError, match="holds no job"):
        job_folders(tmp_path / "empty")
    with pytest.raises(InputError, match="no folder"):
        job_folders(tmp_path / "missing")


def test_only_a_few_points_are_under_way_at_a_time(tmp_path, monkeypatch):
    """However many points a job has: what is handed out waits for what is taken."""

    class Counted:
        out = most = 0

        def __init__(self, processes):
            pass

        def __enter__(self):
            return self

        def __exit__(self, *_):
            pass

        def submit(self, chunk):
            Counted.out += 1
            Counted.most = max(Counted.most, Counted.out)
            return chunk

        def result(self, chunk, _future):
            Counted.out -= 1
            return [PointDone(name, 0, "{}") for name in chunk.points]

    monkeypatch.setattr("logger.survey.batch._Pool", Counted)
    (tmp_path / "job.toml").write_text("[site]\nlatitude_deg = 46\nlongitude_deg = 14\n")
    for k in range(100):
        (tmp_path / "sweeps" / f"p{k:03d}").mkdir(parents=True)
        (tmp_path / "sweeps" / f"p{k:03d}" / "1.sweep").touch()
    yielded = list(worked_through([tmp_path], processes=2))
    assert [p.name for _, p in yielded[:-1]] == [f"p{k:03d}" for k in range(100)]
    assert len(yielded[-1][1].points) == 100
    assert not any(p.json for p in yielded[-1][1].points)
    assert Counted.most <= 6


def test_an_old_file_stays_when_a_batch_breaks_off(tmp_path):
    target = tmp_path / "out.json"
    target.write_text("old")

    def interrupted():
        with batch_file(str(target), tmp_path) as out:
            out.point(tmp_path / "job", PointDone("a", 0, "{}"))
            raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        interrupted()
    assert target.read_text() == "old"
    assert list(tmp_path.iterdir()) == [target]


@pytest.mark.parametrize("option", ["--job", "--rate", "--samples", "--altitude"])
def test_what_is_for_one_recording_is_refused(folder, call, option):
    done = call("replay", "--batch", folder, option, "1")
    assert done.exit_code == 2
    assert option in done.stderr


def test_a_weather_file_that_cannot_be_read_is_told_once(folder, call):
    done = call("replay", "--batch", folder, "--weather", "missing.epw")
    assert done.exit_code == 3
    assert done.stderr.count("missing.epw") == 1


def test_jobs_of_one_site_share_its_sun_and_light(stored, tmp_path, monkeypatch):
    made = []

    def counted(*arguments, **more):
        made.append(1)
        return site_year(*arguments, **more)

    monkeypatch.setattr("logger.survey.again.site_year", counted)
    twin = shutil.copytree(stored, tmp_path / "twin")
    recipe = Recipe(changes=(("draws", "7"),))
    for folder in (stored, twin, stored):
        assert points_done(Chunk(folder, ("meadow",), recipe))[0].code == 0
    assert len(made) == 1
    other = Recipe(changes=(("draws", "8"),))
    assert points_done(Chunk(twin, ("meadow",), other))[0].code == 0
    assert len(made) == 2


def test_what_a_killed_process_worked_on_is_tried_again_in_a_fresh_one(tmp_path):
    killed = Future()
    killed.set_exception(BrokenProcessPool("killed"))
    with _Pool(1) as pool:
        (point,) = pool.result(Chunk(tmp_path / "missing", ("a",)), killed)
    assert (point.name, point.code) == ("a", 3)
    assert "job.toml" in point.words
