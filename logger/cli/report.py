"""``horizon-logger report``: the client's document of a job, with every picture and table of it."""

from __future__ import annotations

import datetime as dt
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING

import click

from logger.cli.options import json_option, leave_by_answers, recipe_options, say, write_json
from logger.errors import UsageError

if TYPE_CHECKING:
    from logger.survey.recipe import Overrides


@click.command()
@click.argument("job_folder", metavar="JOB", type=click.Path(path_type=Path, file_okay=False))
@click.option(
    "--output",
    type=click.Path(path_type=Path, dir_okay=False),
    help="The document.  [default: JOB/report/report.pdf]",
)
@click.option("--a4", is_flag=True, help="Paper of 210 by 297 mm.  [default]")
@click.option("--letter", is_flag=True, help="Paper of 8.5 by 11 inches.")
@click.option(
    "--document-only", is_flag=True, help="No pictures, tables and exports beside the document."
)
@click.option(
    "--report-date",
    "day",
    type=click.DateTime(["%Y-%m-%d"]),
    help="On the document.  [default: today]",
)
@recipe_options()
@json_option
def command(
    job_folder: Path,
    output: Path | None,
    a4: bool,
    letter: bool,
    document_only: bool,
    day: dt.datetime | None,
    overrides: Overrides,
    json_file: str | None,
) -> None:
    """Work out every point of JOB and write the report.

    Beside the document go the folders pictures (SVG and PNG), tables (CSV) and horizons, and
    results.csv and points.geojson. Each point's result is stored in the job, unless something is
    overridden.
    """
    from logger.job import read_job
    from logger.report.folder import write_report
    from logger.survey.answers import answers
    from logger.survey.recipe import recipe_of
    from logger.survey.report import job_report, with_report

    if a4 and letter:
        raise click.UsageError("--a4 and --letter are two papers: give one")
    if output is not None and output.suffix.lower() != ".pdf":
        raise UsageError(
            f"the document is a PDF, and its name ends in {output.suffix or 'nothing'}",
            str(output),
            hint=f"--output {output.with_suffix('.pdf')}",
        )
    job = read_job(job_folder)
    found = []
    for answer in answers(job, recipe_of(job, overrides), finish=partial(with_report, job)):
        found.append(answer)
        if answer.error is None:
            say(f"worked out {answer.point}")
    made = day.date() if day else dt.datetime.now().astimezone().date()
    path = output or job_folder / "report" / "report.pdf"
    beside = None if document_only else path.parent
    report = job_report(job, found, made)
    written = write_report(report, path, paper="letter" if letter else "a4", beside=beside)
    if json_file:
        documents = [answer.document for answer in found if answer.document]
        missing = {answer.point: str(answer.error) for answer in found if answer.error}
        files = [str(file) for file in written]
        write_json(json_file, {"written": files, "left_out": missing, "points": documents})
    if json_file != "-":
        click.echo(f"wrote {written[0]}")
        if beside is not None:
            click.echo(f"      and {len(written) - 1} pictures, tables and exports beside it")
    leave_by_answers(found)
