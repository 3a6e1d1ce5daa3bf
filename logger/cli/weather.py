"""``horizon-logger weather``: the sky that a job's figures rest on."""

from __future__ import annotations

from pathlib import Path

import click

from logger.cli.options import say, tell


@click.command()
@click.argument("job", type=click.Path(path_type=Path))
@click.argument("file", type=click.Path(path_type=Path))
def command(job: Path, file: Path) -> None:
    """Take a typical year, EPW or TMY3, into JOB: every answer rests on it from then on."""
    from logger.errors import as_argument
    from logger.job import read_job
    from logger.survey.recipe import set_weather

    weather = set_weather(read_job(job), file)
    tell(f"{weather.file}, SHA-256 {weather.sha256[:16]}…")
    say(f"next: horizon-logger compare {as_argument(job)}")
