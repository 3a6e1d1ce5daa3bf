"""``horizon-logger demo``: the shipped survey, from recordings to pictures and tables."""

from __future__ import annotations

from pathlib import Path

import click

from logger.cli.options import json_option, leave_by_checks, say, write_json
from logger.cli.options import tell as printed
from logger.errors import InputError


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
    import textwrap

    from logger.files import write_atomically
    from logger.job import read_job, result_path
    from logger.report.figures import plane_figures
    from logger.report.folder import write_point, write_report
    from logger.report.story import assumptions_once, point_story, what_calibration_changes
    from logger.report.tables import as_text
    from logger.survey.demo import calibrated_again, shipped_survey, uncalibrated_result
    from logger.survey.points import site_year
    from logger.survey.report import Task, job_report, surveyed_points

    source = shipped_survey()
    folder = output / source.name
    try:
        shutil.copytree(source, folder, dirs_exist_ok=True)
    except (OSError, shutil.Error) as error:
        raise InputError(f"cannot be written: {_first_reason(error)}", str(folder)) from error
    job = read_job(folder)
    tell = printed if json_file != "-" else lambda _: None
    for calibration in calibrated_again(job):
        passed = [check.check for check in calibration.checks if check.passed]
        tell(f"calibrated {calibration.about.purpose}: {', '.join(passed)}")
        for check in calibration.checks:
            if not check.passed:
                tell(f"  FAILED {check.check}: {check.why}")
    points, failed = surveyed_points(Task(folder))
    written: dict[str, list[Path]] = {}
    for point in points:
        write_atomically(result_path(job, point.report.name), point.stored)
        written[point.report.name] = write_point(
            output, point.document, point.report.profile, job.site
        )
        tell(f"\n{point_story(point.report.name, point.document)}")
    made = dt.datetime.now().astimezone().date()
    report = job_report(job, points, made, failed)
    (report_file,) = write_report(report, output / "report.pdf")
    if json_file:
        write_json(json_file, {"points": [point.document for point in points]})
    if json_file != "-":
        year = site_year(job)
        compared = []
        for point in points:
            name = point.report.name
            bare = uncalibrated_result(job, name, year).as_dict()["planes"]
            compared.append((name, point.report.planes, [plane_figures(p) for p in bare]))
        tell(f"\n{as_text(what_calibration_changes(compared))}")
        tell(assumptions_once([point.document for point in points]))
        tell(f"\nwrote in {output}: {report_file.name}, the document for the client, and of")
        for name, paths in written.items():
            names = ", ".join(path.name for path in paths)
            wrapped = textwrap.wrap(f"{name}: {names}", 76, break_on_hyphens=False)
            tell(textwrap.indent("\n  ".join(wrapped), "  "))
    say("These recordings were made by the virtual board; no such place exists.")
    leave_by_checks(check for point in points for check in point.checks)


def _first_reason(error: OSError) -> str:
    """Why; where many files failed alike, why the first one did."""
    several = error.args[0] if error.args else None
    if isinstance(several, list):
        return str(several[0][-1])
    return error.strerror or str(error)
