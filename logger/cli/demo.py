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
    import shutil

    from logger.demo import shipped_survey
    from logger.job import point_names, read_job, result_path
    from logger.job import write_json as store
    from logger.report.answer import answer_text
    from logger.report.figures import plane_figures
    from logger.report.folder import write_point
    from logger.report.monthly import summary_table
    from logger.report.tables import as_text
    from logger.survey import point_result, site_year

    source = shipped_survey()
    folder = output / source.name
    shutil.copytree(source, folder, dirs_exist_ok=True)
    job = read_job(folder)
    year = site_year(job)
    results = []
    written: list[Path] = []
    for name in point_names(job):
        result = point_result(job, name, year)
        document = result.as_dict()
        results.append(result)
        store(result_path(job, name), document)
        written += write_point(output, document, result.horizon.profile, job.site)
        if json_file != "-":
            click.echo(f"\n== {name} ==\n\n{answer_text(document)}")
    documents = [r.as_dict() for r in results]
    if json_file:
        write_json(json_file, {"points": documents})
    if json_file != "-":
        rows = [
            (str(d["point"]), [plane_figures(plane) for plane in d["planes"]]) for d in documents
        ]
        click.echo(f"\n{as_text(summary_table(rows))}\n")
        for path in written:
            click.echo(f"wrote {path}")
    say("These recordings were made by the virtual board; no such place exists.")
    leave_by_gates(gate for result in results for gate in result.gates)
