"""``horizon-logger report``: the client's document of a job, and its tables beside it."""

from __future__ import annotations

import datetime as dt
import shlex
import sys
from dataclasses import replace
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING

import click

from logger.cli.options import (
    give,
    json_option,
    leave_by_answers,
    put_out,
    recipe_options,
    say,
    tell,
)
from logger.cli.parameters import DAY, FILE_TO_WRITE, JOB, JobFolder
from logger.errors import UsageError

if TYPE_CHECKING:
    from logger.job import Job
    from logger.report.content import Report
    from logger.survey.answers import Answer
    from logger.survey.recipe import Overrides


@click.command()
@JOB
@click.option(
    "--output",
    metavar="FILE.pdf",
    type=FILE_TO_WRITE,
    help="The document.  [default: JOB/report/report.pdf]",
)
@click.option("--tables", is_flag=True, help="Write a folder of tables and pictures beside it.")
@click.option(
    "--language",
    default="en",
    show_default=True,
    help="Language of the document: en, or de (German).",
)
@click.option("--letter", is_flag=True, help="Paper of 8.5 by 11 inches instead of A4.")
@click.option(
    "--report-date",
    "day",
    type=DAY,
    help="Date on the document.  [default: today]",
)
@click.option(
    "--earlier",
    metavar="JOB",
    type=JobFolder(),
    help="An earlier job with the same points: the report says what changed since.",
)
@click.option(
    "--blank",
    is_flag=True,
    help="No report: the sheet of plain azimuth and elevation, to draw a horizon on by hand.",
)
@recipe_options()
@json_option
def command(
    job: Job,
    output: Path | None,
    tables: bool,
    language: str,
    letter: bool,
    day: dt.datetime | None,
    earlier: Job | None,
    blank: bool,
    overrides: Overrides,
    json_file: str | None,
) -> None:
    """Work out every point of JOB and write the report.

    With --tables a folder goes beside it, named after the document: every table as CSV, horizons,
    pictures and the points on a map. Each point's answer is stored in the job, unless something is
    overridden.
    """
    from logger.report.browser_page import browser_page
    from logger.report.charts import drawn
    from logger.report.document import write_document
    from logger.report.files import write_tables
    from logger.report.language import Words
    from logger.report.sky_chart import blank_sheet
    from logger.survey.answers import left_out

    words = Words(language)  # an unknown one is refused before anything is worked out
    if output is not None and output.suffix.lower() != ".pdf":
        raise UsageError(
            f"the document is a PDF, and its name ends in {output.suffix or 'nothing'}",
            str(output),
            hint=f"--output {output.with_suffix('.pdf')}",
        )
    if blank:
        sheet = drawn(blank_sheet(job.site.equatorward_azimuth_deg, words), "pdf")
        tell(f"wrote {_written(job.folder, output, 'blank.pdf', sheet)}")
        return
    report, found = _worked_out(job, overrides, language, day, earlier)
    made = write_document(report, "letter" if letter else "a4", language)
    if made.remark:
        say(made.remark)
    path = _written(job.folder, output, "report.pdf", made.pdf)
    beside = path.with_name(f"{path.stem}-tables")
    in_tables = write_tables(report, beside) if tables else []
    in_browser = []
    if output is None or tables:
        where = beside / "index.html" if output else None
        in_browser = [_written(job.folder, where, "index.html", browser_page(report, language))]
    files = [str(file) for file in (path, *in_browser, *in_tables)]
    changed = {"changed": [one.as_dict() for one in report.changed]} if earlier else {}
    told = [f"wrote {path}"]
    told += [f"      and {page}, the same for a browser, offline" for page in in_browser]
    told += [f"      and {len(in_tables)} tables and pictures in {beside}"] if tables else []
    points = [answer.document for answer in found if answer.document]
    document = {"written": files, "left_out": left_out(found), "points": points, **changed}
    give(json_file, document, *told)
    leave_by_answers(found, f"look through {path} before you hand it on")


def _worked_out(
    job: Job, overrides: Overrides, language: str, day: dt.datetime | None, earlier: Job | None
) -> tuple[Report, list[Answer]]:
    """The report of every point, each named as it is ready, and the answers it is made of."""
    from logger.report.content import report_of, with_beside
    from logger.survey.answers import answers
    from logger.survey.growth import changed_since
    from logger.survey.recipe import recipe_of

    recipe, found = recipe_of(job, overrides), []
    for answer in answers(job, recipe, finish=partial(with_beside, job, language)):
        found.append(answer)
        if answer.error is None:
            say(f"worked out {answer.point}")
    made = day.date() if day else dt.datetime.now().astimezone().date()
    report = report_of(job, recipe, found, made, _repeated(job.folder, made, day is None))
    if earlier is not None:
        changed = tuple(changed_since(earlier, report.points))
        report = replace(report, changed=changed)
    return report, found


def _written(folder: Path, output: Path | None, name: str, content: str | bytes) -> Path:
    """Write where the option says, else into the job's own folder for reports."""
    from logger.outputs import write_in_job

    path = output or folder / "report" / name
    if output:
        put_out(path, content)
    else:
        write_in_job(folder, path, content)
    return path


def _repeated(folder: Path, made: dt.date, undated: bool) -> str:
    """The command that makes this report again, wherever the job's folder lies then."""
    typed = sys.argv[1:] if "report" in sys.argv[1:2] else ["report", folder.name]
    given = [folder.name if word == str(folder) else word for word in typed]
    dated = ["--report-date", made.isoformat()] if undated else []
    return shlex.join(["horizon-logger", *given, *dated])
