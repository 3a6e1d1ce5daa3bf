"""``horizon-logger array``: solar access over a whole roof, from the points swept."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from logger.cli.options import (
    give,
    json_option,
    leave_by_checks,
    put_out,
    recipe_options,
    say,
    say_left_out,
)
from logger.cli.parameters import FILE, JOB, PLACE, RECTANGLE, Number, Numbers

if TYPE_CHECKING:
    from logger.job import Job
    from logger.survey.recipe import Overrides


@click.command()
@JOB
@click.option("--plane", help="Name of the plane; a job with one plane needs none.")
@click.option(
    "--at",
    "at",
    multiple=True,
    type=PLACE,
    help="A place in metres from the job's origin, in place of a grid; may be given again.",
)
@click.option(
    "--step",
    "step_m",
    type=Number(min=0.05),
    help="Distance between places of the grid, metres.  [default: a little under half a metre]",
)
@click.option(
    "--size",
    type=RECTANGLE,
    help="Find the best place for a rectangle of this size, metres.",
)
@click.option(
    "--rows",
    type=Numbers("SLANT,PITCH", "1.7,3.5"),
    help="Say when one row of modules on level ground shades the next: height of a row along its "
    "slope, and distance from front to front, metres.",
)
@click.option("--csv", "csv_file", type=FILE, help="Write the places as CSV.")
@click.option("--picture", type=FILE, help="Write map and plan as a picture, PNG.")
@recipe_options()
@json_option
def command(
    job: Job,
    plane: str | None,
    at: tuple[tuple[float, float, float], ...],
    step_m: float | None,
    size: tuple[float, float] | None,
    rows: tuple[float, float] | None,
    csv_file: Path | None,
    picture: Path | None,
    overrides: Overrides,
    json_file: str | None,
) -> None:
    """Solar access of a plane of JOB all over its outline, from two or more points swept.

    What is seen from two places has a distance: from the points' horizons and positions the
    program works out what stands where, and from that the horizon of any other place on the roof.
    """
    from logger.errors import as_argument
    from logger.report.array import array_csv, array_picture, array_text
    from logger.survey.answers import answers, refuse_unswept
    from logger.survey.array import array_result, chosen_plane
    from logger.survey.recipe import recipe_of

    recipe = recipe_of(job, overrides)
    chosen_plane(recipe, plane)
    found = list(answers(job, recipe))
    results = [answer.result for answer in found if answer.result is not None]
    unread = [answer for answer in found if answer.error is not None and answer.swept]
    if not results and unread and unread[0].error:
        raise unread[0].error
    for answer in unread:
        say_left_out(answer)
    if not results:
        refuse_unswept(job, (), " --at EAST,NORTH,UP")
    answer_ = array_result(job, recipe, results, plane, at, step_m, size, rows)
    give(json_file, answer_.as_dict(), array_text(answer_))
    if csv_file:
        put_out(csv_file, array_csv(answer_))
        say(f"wrote {csv_file}")
    if picture:
        put_out(picture, array_picture(answer_))
        say(f"wrote {picture}")
    leave_by_checks(
        answer_.checks, f"horizon-logger report {as_argument(job.folder)}", unreadable=bool(unread)
    )
