"""``horizon-logger class``: what a class that swept one point measured, and how well."""

from __future__ import annotations

from pathlib import Path

import click

from logger.cli.options import EXIT_CHECK_FAILED, give, json_option, put_out, say
from logger.cli.parameters import FILE_TO_WRITE, FOLDER


@click.command()
@click.argument("folder", type=FOLDER)
@click.option(
    "--reference",
    type=FILE_TO_WRITE,
    metavar="HORIZON.csv",
    help="The true horizon; without it all are held against what they say together.",
)
@click.option(
    "--output",
    type=FILE_TO_WRITE,
    metavar="FILE.pdf",
    help="The page for the wall.  [default: FOLDER/class.pdf]",
)
@json_option
def command(
    folder: Path, reference: Path | None, output: Path | None, json_file: str | None
) -> None:
    """Hold the sweeps of a class against each other: one page for the wall, a line a student.

    FOLDER holds a job a student, or is one job with a point or an --observer a student; all swept
    one point, and are judged under the first job's sky, planes and settings. What to do better
    stands in the order of its effect on the year's solar access. A recording handed in twice is
    named and counts once.
    """
    from logger.errors import UsageError, as_argument
    from logger.horizon_csv import read_horizon_csv
    from logger.report.wall import lesson_text, wall_page
    from logger.survey.answers import UNREADABLE
    from logger.survey.classroom import lesson_of

    if output is not None and output.suffix.lower() != ".pdf":
        raise UsageError("the page is a PDF", str(output), f"--output {output.with_suffix('.pdf')}")
    lesson = lesson_of(folder, read_horizon_csv(reference) if reference else None)
    page = wall_page(lesson)
    if page.remark:
        say(page.remark)
    path = output or folder / "class.pdf"
    put_out(path, page.pdf)
    give(json_file, lesson.as_dict(), lesson_text(lesson))
    for told in (*lesson.left_out, *lesson.twice, *lesson.remarks):
        say(told)
    say(f"next: hang up {as_argument(path)}")
    if lesson.left_out:
        click.get_current_context().exit(UNREADABLE)
    if lesson.twice or lesson.remarks:
        click.get_current_context().exit(EXIT_CHECK_FAILED)
