"""From a job folder to the report: points, photos, calibrations, a point without a recording."""

from __future__ import annotations

import datetime as dt
import hashlib
import json
import shutil
from functools import partial
from pathlib import Path

import pytest
from click.testing import CliRunner
from PIL import Image
from pypdf import PdfReader

from logger.cli.report import command
from logger.errors import InputError
from logger.job import read_job
from logger.survey.answers import Answer, answers
from logger.survey.demo import shipped_survey
from logger.survey.recipe import recipe_of
from logger.survey.report import (
    calibrations_of,
    job_report,
    photos_of,
    standard_offset_h,
    with_report,
)


@pytest.fixture(scope="module")
def job_folder(tmp_path_factory) -> Path:
    """The shipped survey cut down to one point, with a photo and a calibration."""
    folder = tmp_path_factory.mktemp("jobs") / "alders"
    shutil.copytree(shipped_survey(), folder)
    for sweeps in (folder / "sweeps").iterdir():
        if sweeps.name != "yard":
            shutil.rmtree(sweeps)
    (folder / "photos" / "yard").mkdir(parents=True)
    Image.new("RGB", (300, 200), "grey").save(folder / "photos" / "yard" / "south.jpg")
    (folder / "photos" / "yard" / "notes.txt").write_text("no picture")
    return folder


@pytest.fixture(scope="module")
def surveyed(job_folder):
    return worked_out(job_folder)


def worked_out(folder, processes=1):
    job = read_job(folder)
    return list(answers(job, recipe_of(job), processes=processes, finish=partial(with_report, job)))


def test_points_without_a_recording_are_named_with_the_reason(surveyed):
    assert [a.point for a in surveyed if a.more] == ["yard"]
    missing = {a.point: str(a.error) for a in surveyed if a.error}
    assert set(missing) == {"meadow", "walled garden"}
    assert all("no recording" in why for why in missing.values())


def test_the_report_of_a_job_has_what_the_job_knows(job_folder, surveyed):
    report = job_report(read_job(job_folder), surveyed, dt.date(2026, 5, 20))
    assert report.surveyed == dt.date(2026, 5, 14)
    assert [p.name for p in report.points[0].photos] == ["south.jpg"]
    (yard,) = [a for a in surveyed if a.document]
    assert report.points[0].files[0].sha256 == yard.document["recordings"][0]["sha256"]
    torn = Answer("x", error=InputError("torn", str(job_folder / "sweeps" / "x")))
    told = job_report(read_job(job_folder), [yard, torn], dt.date(2026, 5, 20)).missing
    assert told == {"x": str(Path("sweeps", "x")) + ": torn"}  # no client knows our folders


def test_the_latest_calibration_of_a_purpose_counts(job_folder, tmp_path):
    (tmp_path / "calibrations").mkdir()
    shutil.copy(job_folder / "job.toml", tmp_path)
    (shipped,) = (job_folder / "calibrations").glob("*compass.json")
    for day, error in (("2026-05-13", 0.9), ("2026-05-14", 0.6)):
        stored = json.loads(shipped.read_text()) | {"made": f"{day}T06:00:00Z"}
        stored["figures"] = {"heading_error_95_deg": error}
        path = tmp_path / "calibrations" / f"{day.replace('-', '')}T060000Z-compass.json"
        path.write_text(json.dumps(stored))
    (compass,) = calibrations_of(read_job(tmp_path))
    assert [value for _, value in compass.figures] == ["0.60°"]
    assert compass.date == "2026-05-14T06:00:00Z"


def test_the_shipped_calibrations_are_told_with_their_recordings(job_folder):
    told = {c.purpose: c for c in calibrations_of(read_job(job_folder))}
    assert set(told) == {"compass", "level", "bearing"}
    for calibration in told.values():
        recording = job_folder / "calibrations" / calibration.file.name
        assert calibration.file.sha256 == hashlib.sha256(recording.read_bytes()).hexdigest()
        assert calibration.figures


def test_the_greatest_obstruction_gone_gives_more_sun(surveyed):
    (yard,) = [a.more for a in surveyed if a.more]
    assert yard.what_ifs
    for what_if in yard.what_ifs:
        assert what_if.change.startswith("without ")
        assert what_if.after.value > what_if.before.value


def test_only_pictures_count_as_photos(job_folder):
    job = read_job(job_folder)
    assert [p.name for p in photos_of(job, "yard")] == ["south.jpg"]
    assert photos_of(job, "meadow") == ()


@pytest.mark.parametrize(
    ("zone", "hours"),
    [("Europe/Ljubljana", 1.0), ("Australia/Adelaide", 9.5), ("America/St_Johns", -3.5)],
)
def test_the_clock_is_the_zones_without_summer_time(zone, hours):
    assert standard_offset_h(zone, 2026) == hours


def test_a_job_without_any_recording_is_refused(job_folder, tmp_path):
    shutil.copy(job_folder / "job.toml", tmp_path / "job.toml")
    with pytest.raises(InputError, match="nothing to report"):
        job_report(read_job(tmp_path), worked_out(tmp_path), dt.date(2026, 5, 20))


def test_the_command_writes_the_document_and_names_it(job_folder):
    ran = CliRunner().invoke(command, [str(job_folder), "--letter", "--report-date", "2026-05-20"])
    assert ran.exit_code == 0, ran.output  # two points are not swept yet
    path = job_folder / "report" / "report.pdf"
    assert f"wrote {path}" in ran.stdout
    assert "left out - meadow" in ran.stderr
    reader = PdfReader(path)
    assert round(reader.pages[0].mediabox.height) == 792
    assert (job_folder / "report" / "pictures" / "yard-sun-paths.png").exists()
    assert (job_folder / "report" / "pictures" / "yard-sun-paths-by-the-clock.svg").exists()
    assert (job_folder / "results" / "yard.json").exists()


def test_json_goes_to_standard_output_alone(job_folder, tmp_path):
    path = tmp_path / "only.pdf"
    arguments = [str(job_folder), "--output", str(path), "--document-only", "--json", "-"]
    ran = CliRunner().invoke(command, arguments)
    told = json.loads(ran.stdout)
    assert told["written"] == [str(path)]
    assert told["points"][0]["point"] == "yard"
    assert [p.name for p in tmp_path.iterdir()] == ["only.pdf"]


def test_two_processes_give_the_same_pictures(job_folder, surveyed):
    (one,), (two,) = (
        [a.more.report.pictures for a in found if a.more]
        for found in (surveyed, worked_out(job_folder, processes=2))
    )
    assert one == two
