"""``horizon-logger agreement``: how well several sweeps of one point agree."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from logger.cli.options import give, json_option, put_out, recipe_options, say
from logger.cli.parameters import FILE_TO_WRITE, JOB, POINT

if TYPE_CHECKING:
    from logger.job import Job
    from logger.survey.recipe import Overrides


@click.command()
@JOB
@POINT
@click.option(
    "--reference",
    type=FILE_TO_WRITE,
    metavar="HORIZON.csv",
    help="The true horizon, such as a theodolite's: every observer is held against it.",
)
@click.option(
    "--set-tracing",
    is_flag=True,
    help="Let the job's intervals rest on the tracing bias found here.",
)
@click.option(
    "--picture",
    "output",
    type=FILE_TO_WRITE,
    metavar="FILE",
    help="Draw all horizons and their differences, as .png, .svg or .pdf.",
)
@recipe_options()
@json_option
def command(
    job: Job,
    point: str,
    reference: Path | None,
    set_tracing: bool,
    output: Path | None,
    overrides: Overrides,
    json_file: str | None,
) -> None:
    """Hold the sweeps of POINT against each other, each worked out alone, by observer.

    For each the turn (heading), the lift (level and tracing) and the shape left over; together the
    standard deviations of one observer again and of another observer, by ISO 5725-2. A sweep
    without --observer counts as an observer of its own. Who stands apart is named and stays in.
    """
    from logger.agreement import observers_of
    from logger.errors import UsageError, as_argument
    from logger.horizon_csv import read_horizon_csv
    from logger.report.charts import drawn
    from logger.report.observers import observers_chart, observers_text
    from logger.settings import Settings
    from logger.survey import observers
    from logger.survey.answers import UNREADABLE
    from logger.survey.recipe import recipe_of

    kind = output.suffix.lower().lstrip(".") if output else ""
    if output and kind not in ("png", "svg", "pdf"):
        raise UsageError("a picture is .png, .svg or .pdf", str(output))
    truth = read_horizon_csv(reference) if reference else None
    apart = observers.swept_apart(observers.places_of(job, point), recipe_of(job, overrides))
    for one in apart:
        if one.error is not None:
            say(f"left out - {one.error}")
    traced = [one.traced for one in apart if one.traced]
    observers.enough_of(traced, point, truth is not None)
    found = observers_of(traced, truth, Settings().tracing_bias_deg)
    against = reference.name if reference else ""
    if set_tracing:
        if found.tracing is None:
            raise UsageError("one observer alone shows no tracing bias", point, "--reference")
        observers.set_tracing(job, point, found.tracing, against or "each other")
        say(f"{job.folder}: tracing_bias_deg = {found.tracing.to_use_deg:.3f}")
    if output:
        middle = job.site.equatorward_azimuth_deg
        put_out(output, drawn(observers_chart(found, middle), kind))
    document = observers.as_document(found, point, against)
    give(json_file, document, observers_text(found, point, against))
    step = "compare" if set_tracing else "agreement"
    more = "" if set_tracing else f" {as_argument(point)} --set-tracing"
    say(f"next: horizon-logger {step} {as_argument(job.folder)}{more}")
    if len(traced) < len(apart):
        click.get_current_context().exit(UNREADABLE)
