"""``horizon-logger compare``: the points of a job side by side."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

from logger.cli.options import give, json_option, leave_by_answers, recipe_options
from logger.cli.parameters import JOB

if TYPE_CHECKING:
    from logger.job import Job
    from logger.survey.recipe import Overrides


@click.command()
@JOB
@recipe_options()
@json_option
def command(job: Job, overrides: Overrides, json_file: str | None) -> None:
    """Compare the points of JOB: which is best, by how much, and whether that is significant.

    All stand under one sky, with one set of planes and settings, named above the tables. A stored
    answer is taken only if it came from the very same recordings, calibrations, job and settings.
    """
    from logger.errors import as_argument
    from logger.report.comparison import comparison_text
    from logger.survey.answers import answers, left_out, refuse_unswept
    from logger.survey.compare import compare
    from logger.survey.recipe import recipe_of

    recipe = recipe_of(job, overrides)
    found = list(answers(job, recipe, stored=True))
    refuse_unswept(job, found)
    documents = [answer.document for answer in found if answer.document]
    if documents:
        comparison = compare(recipe, documents)
        document = {**comparison.as_dict(), "left_out": left_out(found)}
        give(json_file, document, comparison_text(comparison))
    leave_by_answers(found, f"horizon-logger report {as_argument(job.folder)}")
