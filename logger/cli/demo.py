"""``horizon-logger demo``: the shipped survey, from recordings to pictures and tables."""

from __future__ import annotations

from pathlib import Path

import click

from logger.cli.options import json_option, leave_by_gates, say, write_json


@click.command()
@click.option(
    "--output",
    type=click.Path(path_type=Path, file_okay=False),
    default=Path("demo"),
    show_default=True,
    help="Folder for the job, the pictures and the tables.",
)
@json_option
def command(output: Path, json_file: str | None) -> None:
    """Work out the survey that ships with the program; no board is needed.

    Its recordings were made by the virtual board in an invented place.
    """
    import datetime as dt
    import shutil

    from logger.demo import calibrated_again, shipped_survey, uncalibrated_result
    from logger.job import read_job, result_path
    from logger.job import write_json as store
    from logger.report.answer import answer_text
    from logger.report.figures import plane_figures
    from logger.report.folder import write_point, write_report
    from logger.report.monthly import summary_table
    from logger.report.tables import as_text
    from logger.survey.points import site_year
    from logger.survey.report import Task, job_report, surveyed_points

    source = shipped_survey()
    folder = output / source.name
    shutil.copytree(source, folder, dirs_exist_ok=True)
    job = read_job(folder)
    shown = json_file != "-"
    for calibration in calibrated_again(job):
        if shown:
            click.echo(f"calibrated: {calibration.about.purpose}")
            for gate in calibration.gates:
                click.echo(f"  {'passed' if gate.passed else 'FAILED'}  {gate.gate}: {gate.why}")
    points, failed = surveyed_points(Task(folder))
    written: list[Path] = []
    for point in points:
        store(result_path(job, point.report.name), point.document)
        written += write_point(output, point.document, point.report.profile, job.site)
        if shown:
            click.echo(f"\n== {point.report.name} ==\n\n{answer_text(point.document)}")
    made = dt.datetime.now().astimezone().date()
    report = job_report(job, points, made, failed)
    written += write_report(report, output / "report.pdf")
    if json_file:
        write_json(json_file, {"points": [point.document for point in points]})
    if shown:
        rows = [(point.report.name, point.report.planes) for point in points]
        click.echo(f"\n{as_text(summary_table(rows))}\n")
        year = site_year(job)
        raw = [(p.report.name, uncalibrated_result(job, p.report.name, year)) for p in points]
        rows = [(n, tuple(map(plane_figures, r.as_dict()["planes"]))) for n, r in raw]
        table = summary_table(rows)
        click.echo("The same sweeps without compass, level and bearing calibration would say:")
        click.echo(f"{as_text(table)}\n")
        for path in written:
            click.echo(f"wrote {path}")
    say("These recordings were made by the virtual board; no such place exists.")
    leave_by_gates(gate for point in points for gate in point.gates)
