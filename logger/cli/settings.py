"""``horizon-logger settings``: what decides the figures of a job, and what it is set to."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

from logger.cli.options import changes_of, say, tell
from logger.cli.parameters import JOB

if TYPE_CHECKING:
    from logger.job import Job


@click.command()
@JOB
@click.argument("changes", metavar="[NAME=VALUE]...", nargs=-1)
def command(job: Job, changes: tuple[str, ...]) -> None:
    """List the settings of JOB, or set some: they count for every answer from then on.

    NAME=default takes a setting back.
    """
    from logger.errors import as_argument
    from logger.report.comparison import settings_text
    from logger.survey.recipe import set_settings

    if changes:
        job = set_settings(job, changes_of(changes))
    tell(settings_text(job.settings))
    step = "compare" if changes else "settings"
    say(f"next: horizon-logger {step} {as_argument(job.folder)}{'' if changes else ' NAME=VALUE'}")
