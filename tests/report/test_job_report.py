"""From a job folder to the report: points without an answer, what is written and what is not."""

from __future__ import annotations

import json
import shutil
from datetime import date
from functools import partial
from pathlib import Path

import pytest
from click.testing import CliRunner
from pypdf import PdfReader

from logger.cli.report import command
from logger.errors import InputError
from logger.job import read_job
from logger.report.content import report_of as report_from
from logger.report.content import with_beside
from logger.survey.answers import Answer, answers
from logger.survey.recipe import recipe_of


@pytest.fixture(scope="module")
def folder(job_folder, tmp_path_factory) -> Path:
    """A copy whose answers and reports the tests of this file write."""
    copied = tmp_path_factory.mktemp("report") / "alders"
    shutil.copytree(job_folder, copied)
    return copied


@pytest.fixture(scope="module")
def found(folder) -> list[Answer]:
    return worked_out(folder)


def worked_out(folder, processes=1) -> list[Answer]:
    job = read_job(folder)
    finish = partial(with_beside, job, "en")
    return list(answers(job, recipe_of(job), processes=processes, finish=finish))


def made_of(folder, found):
    job = read_job(folder)
    return report_from(job, recipe_of(job), found, date(2026, 5, 20))


def test_points_that_are_not_swept_are_no_fault(folder, found):
    report = made_of(folder, found)
    assert [p.name for p in report.points] == ["yard"]
    assert report.not_swept == ("meadow", "walled garden")
    assert report.left_out == {}
    assert report.surveyed == (date(2026, 5, 14),)


def test_no_client_is_told_where_our_folders_lie(folder, found):
    torn = Answer("x", error=InputError("torn", str(folder / "sweeps" / "x")))
    report = made_of(folder, [*found, torn])
    assert report.left_out == {"x": str(Path("sweeps", "x")) + ": torn"}


def test_what_could_be_cut_gives_more_sun_and_houses_stay(folder, found):
    gain = made_of(folder, found).beside["yard"].gain
    assert gain.name == "lime trees"  # a block and a house take more, but stay
    assert 0 <= gain.low < gain.value < gain.high < 2 * gain.value
    assert gain.value > 0.01
    with (folder / "job.toml").open("a") as file:
        file.write('\n[[obstructions]]\nname = "lime trees"\nremovable = false\n')
    assert made_of(folder, worked_out(folder)).beside["yard"].gain is None


def test_a_job_without_any_recording_is_refused(folder, tmp_path):
    shutil.copy(folder / "job.toml", tmp_path / "job.toml")
    with pytest.raises(InputError, match="nothing to report"):
        made_of(tmp_path, worked_out(tmp_path))


def test_two_processes_give_the_same_pictures(folder, found):
    one, two = (
        made_of(folder, some).beside["yard"].pictures for some in (found, worked_out(folder, 2))
    )
    assert one == two


def test_the_command_writes_the_document_and_json_alone_on_standard_output(folder):
    options = ["--letter", "--report-date", "2026-05-20", "--json", "-"]
    ran = CliRunner().invoke(command, [str(folder), *options])
    assert ran.exit_code == 0, ran.output  # two points are not swept yet
    told = json.loads(ran.stdout)
    written = [folder / "report" / name for name in ("report.pdf", "index.html")]
    assert told["written"] == list(map(str, written))
    assert told["points"][0]["point"] == "yard"
    assert round(PdfReader(written[0]).pages[0].mediabox.height) == 792
    assert set(written[0].parent.iterdir()) == set(written)
    assert (folder / "results" / "yard.json").exists()


def test_tables_go_into_a_folder_beside_the_document_where_it_is_asked_for(folder, tmp_path):
    path = tmp_path / "sub" / "client.pdf"
    arguments = [str(folder), "--output", str(path), "--tables", "--language", "de"]
    ran = CliRunner().invoke(command, arguments)
    assert ran.exit_code == 0, ran.output
    assert f"wrote {path}" in ran.stdout
    beside = path.parent / "client-tables"
    assert {path, beside} == set(path.parent.iterdir())
    assert {beside / "results.csv", beside / "shade.csv"} <= set(beside.iterdir())
    assert '<html lang="de">' in (beside / "index.html").read_text("utf-8")
    assert "Horizontvermessung" in PdfReader(path).pages[0].extract_text()


@pytest.mark.parametrize(
    ("option", "value", "said"),
    [("--language", "xx", "none of en, de"), ("--output", "client.docx", "--output client.pdf")],
)
def test_what_cannot_be_had_is_refused_before_anything_is_worked_out(folder, option, value, said):
    ran = CliRunner().invoke(command, [str(folder), option, value])
    assert ran.exit_code != 0
    assert said in f"{ran.exception} {getattr(ran.exception, 'hint', '')}"
    assert "worked out" not in ran.output
