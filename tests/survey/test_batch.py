"""A folder of jobs at once: in order, alike however many processes, no job stops another."""

import json
import shutil

import pytest

from logger.errors import InputError
from logger.survey.batch import job_folders, job_line, worked_through
from logger.survey.recipe import NOTHING, Overrides

QUICK = ("--set", "draws=20")


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
def both(run, folder, tmp_path_factory):
    """The batch on one process and on two."""
    out = tmp_path_factory.mktemp("out")
    runs = []
    for processes in (1, 2):
        file = out / f"{processes}.json"
        arguments = ["replay", "--batch", folder, *QUICK, "--processes", processes, "--json", file]
        done = run(*arguments)
        runs.append((done, file.read_bytes()))
    return runs


def test_the_json_is_alike_byte_for_byte_on_one_process_and_on_two(both):
    assert both[0][1] == both[1][1]
    assert both[0][0].out == both[1][0].out


def test_one_line_a_job_in_order_and_the_worst_exit_code(both):
    done, _ = both[0]
    assert done.code == 3
    lines = done.out.splitlines()
    assert [line.partition(":")[0] for line in lines] == ["alders", "birch", "cedar", "far/dune"]
    assert "1 of 1 points; the year's solar access moved by up to" in lines[0]
    assert "no valid TOML" in lines[1]
    assert "no point has a recording" in lines[2]
    assert "1 of 2 points; copse not worked out" in lines[3]
    assert "4 of 4 jobs" in done.err
    assert "1 fit for use" in done.err


def test_the_json_holds_every_result_and_what_changed(both):
    document = json.loads(both[0][1])
    assert document["schema"] == "horizon-logger batch 1"
    assert document["exit_code"] == 3
    jobs = {job["job"]: job for job in document["jobs"]}
    codes = {name: job["exit_code"] for name, job in jobs.items()}
    assert codes == {"alders": 0, "birch": 3, "cedar": 3, "far/dune": 3}
    assert jobs["cedar"]["not_swept"] == ["check"]
    assert "copse" in jobs["far/dune"]["not_worked_out"]
    (result,) = jobs["alders"]["points"]
    assert [s["name"] for s in result["changes"]["settings"]] == ["draws"]


def test_what_is_as_stored_is_said_to_be_and_json_goes_alone_to_standard_output(folder, run):
    (done,) = worked_through(folder, [folder / "alders"], NOTHING, 1)
    assert job_line(done) == "alders: 1 of 1 points; as stored"
    ran = run("replay", "--batch", folder / "birch", "--json", "-")
    assert ran.code == 3
    assert json.loads(ran.out)["jobs"][0]["points"] == []


def test_a_point_that_is_not_fit_for_use_makes_the_batch_4_and_is_named(stored, tmp_path):
    job = shutil.copytree(stored, tmp_path / "alders")
    shutil.rmtree(job / "calibrations")
    (done,) = worked_through(tmp_path, [job], Overrides({"draws": 0}), 1)
    assert done.code == 4
    assert "meadow not fit for use" in job_line(done)


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


def test_a_weather_file_that_cannot_be_read_is_told_once(folder, run):
    done = run("replay", "--batch", folder, "--weather", "missing.epw")
    assert done.code == 3
    assert done.err.count("missing.epw") == 1
