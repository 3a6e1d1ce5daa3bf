"""``horizon-logger settings``: what decides the figures of a job, and what it is set to."""

from __future__ import annotations

from pathlib import Path

import click

from logger.cli.options import say, tell


@click.command()
@click.argument("job", type=click.Path(path_type=Path))
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
    for text in changes:
        if "=" not in text:
            raise click.BadParameter(f"{text!r} is not NAME=VALUE", param_hint="NAME=VALUE")
    if changes:
        pairs = (text.partition("=") for text in changes)
        survey = set_settings(survey, {name.strip(): value.strip() for name, _, value in pairs})
    tell(settings_text(survey.settings))
    step = "compare" if changes else "settings"
    say(f"next: horizon-logger {step} {as_argument(job)}{'' if changes else ' NAME=VALUE'}")
