"""``horizon-logger report``: the client's document of a job, with every picture and table of it."""

from __future__ import annotations

import datetime as dt
from dataclasses import replace
from pathlib import Path

import click

from logger.cli.options import json_option, leave_by_checks, say, write_json
from logger.errors import UsageError


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
    "--date",
    "day",
    type=click.DateTime(["%Y-%m-%d"]),
    help="On the document.  [default: today]",
)
@click.option(
    "--weather",
    "weather_file",
    type=click.Path(path_type=Path),
    help="Typical year, EPW or TMY3.  [default: clear sky]",
)
@click.option("--year", default=2026, show_default=True, help="Of the sun's positions.")
@json_option
def command(
    job_folder: Path,
    output: Path | None,
    a4: bool,
    letter: bool,
    document_only: bool,
    day: dt.datetime | None,
    weather_file: Path | None,
    year: int,
    json_file: str | None,
) -> None:
    """Work out every point of JOB and write the report.

    Beside the document go the folders pictures (SVG and PNG), tables (CSV) and horizons, and
    results.csv and points.geojson. Each point's result is stored in the job.
    """
    from logger.survey.helper import first_helper

    if a4 and letter:
        raise click.UsageError("--a4 and --letter are two papers: give one")
    if output is not None and output.suffix.lower() != ".pdf":
        raise UsageError(
            f"the document is a PDF, and its name ends in {output.suffix or 'nothing'}",
            str(output),
            hint=f"--output {output.with_suffix('.pdf')}",
        )

    # Before all else: what it loads takes longer than to load and do the rest.
    with first_helper() as helper:
        from logger.survey.report import Task, job_report, surveyed_points

        points, failed = surveyed_points(
            Task(job_folder, year, weather_file),
            progress=lambda name: say(f"worked out {name}"),
            helper=helper,
        )
    from logger.files import write_atomically
    from logger.job import read_job, result_path
    from logger.report.folder import write_report

    for name, why in failed.items():
        say(f"left out - {name}: {why}")
    job = read_job(job_folder)
    documents = [point.document for point in points]
    for point in points:
        write_atomically(result_path(job, point.report.name), point.stored)
    made = day.date() if day else dt.datetime.now().astimezone().date()
    report = job_report(job, points, made, failed)
    path = output or job_folder / "report" / "report.pdf"
    beside = None if document_only else path.parent
    written = write_report(report, path, paper="letter" if letter else "a4", beside=beside)
    if json_file:
        write_json(
            json_file,
            {"written": [str(p) for p in written], "left_out": failed, "points": documents},
        )
    if json_file != "-":
        click.echo(f"wrote {written[0]}")
        if beside is not None:
            click.echo(f"      and {len(written) - 1} pictures, tables and exports beside it")
    checks = (
        replace(check, why=f"{point.report.name}: {check.why}")
        for point in points
        for check in point.checks
    )
    leave_by_checks(checks, left_out=bool(failed))
