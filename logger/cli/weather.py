"""``horizon-logger weather``: the sky that a job's figures rest on."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from logger.cli.options import leave_by_checks, say, tell
from logger.cli.parameters import FILE, JOB

if TYPE_CHECKING:
    from logger.access import Weather
    from logger.job import Job


@click.command()
@JOB
@click.argument("file", type=FILE, required=False)
@click.option(
    "--fetch",
    is_flag=True,
    help="Ask PVGIS for a typical year of the site; where it has none, NASA POWER for ten years.",
)
@click.option(
    "--monthly",
    metavar="M1,...,M12|FILE",
    help="Twelve daily means of global horizontal irradiation in kWh/m², January first.",
)
def command(job: Job, file: Path | None, fetch: bool, monthly: str | None) -> None:
    """Take weather into JOB: every answer rests on it from then on.

    FILE is a typical year: EPW, TMY3, TMY2, the CSV of PVGIS or of NSRDB. Nothing is fetched but
    by --fetch, which says what it asks of whom and sends no more than the site to 0.01 degrees.
    """
    from logger.access.weather_files import LARGEST_FILE
    from logger.errors import UsageError
    from logger.files import read_within
    from logger.survey.recipe import set_weather

    if [file is not None, fetch, monthly is not None].count(True) != 1:
        raise UsageError("give one of FILE, --fetch and --monthly")
    if fetch:
        weather = _fetched(job)
    elif monthly is not None:
        weather = _monthly(job, monthly)
    else:
        assert file is not None
        content = read_within(file, LARGEST_FILE, "weather file")
        weather = set_weather(job, file.name, content)
    _tell(job, weather)


def _fetched(job: Job) -> Weather:
    import datetime as dt

    from logger.survey.recipe import set_weather
    from logger.survey.weather_services import typical_year

    now = dt.datetime.now(dt.UTC).replace(microsecond=0)
    asking, content = typical_year(job.site, now.date(), say)
    about = {"address": asking.address, "fetched": now, "licence": asking.licence}
    weather = set_weather(job, asking.file, content, **about)
    say(f"licence: {asking.licence}")
    return weather


def _monthly(job: Job, text: str) -> Weather:
    from logger.access.weather_files import monthly_file
    from logger.errors import UsageError
    from logger.files import read_within
    from logger.survey.recipe import set_weather

    if Path(text).is_file():
        text = read_within(Path(text), 1 << 16, "monthly means").decode("utf-8", "replace")
    try:
        means = [float(part) for part in text.replace(",", " ").replace(";", " ").split()]
    except ValueError as error:
        raise UsageError(
            f"monthly means: {error}", hint="twelve numbers in kWh/m² a day, January first"
        ) from error
    content = monthly_file(job.site, means)
    return set_weather(job, "monthly-means.csv", content.encode())


def _tell(job: Job, weather: Weather) -> None:
    """What the sky is now, and whether it is the site's."""
    from logger.access import SiteYear
    from logger.errors import as_argument
    from logger.settings import Settings

    tell(f"Sky: {weather.sky}, SHA-256 {weather.sha256[:16]}…")
    for note in weather.notes:
        tell(note)
    say(f"next: horizon-logger compare {as_argument(job.folder)}")
    leave_by_checks(SiteYear(job.site, (), Settings(draws=0), weather).checks)
