"""``horizon-logger settings``: what decides the figures of a job, and what it is set to."""

from __future__ import annotations

from pathlib import Path

import click

from logger.cli.options import changes_of, say, tell
from logger.cli.parameters import JOB


@click.command()
@JOB
@click.argument("changes", metavar="[NAME=VALUE]...", nargs=-1)
def command(job: Path, changes: tuple[str, ...]) -> None:
    """List the settings of JOB, or set some: they count for every answer from then on.

    NAME=default takes a setting back.
    """
    from logger.errors import as_argument
    from logger.job import read_job
    from logger.report.comparison import settings_text
    from logger.survey.recipe import set_settings

    survey = read_job(job)
    if changes:
        survey = set_settings(survey, changes_of(changes))
    tell(settings_text(survey.settings))
    step = "compare" if changes else "settings"
    say(f"next: horizon-logger {step} {as_argument(job)}{'' if changes else ' NAME=VALUE'}")
