"""``horizon-logger edit``: changes made in the office, each with who, when and why."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar

import click

from logger.cli.options import say
from logger.horizon import OBSTRUCTION_KINDS

if TYPE_CHECKING:
    from logger.job import EditEntry, Job, JobObstruction

F = TypeVar("F", bound=Callable[..., Any])

AZIMUTH = click.FloatRange(0.0, 360.0)
ELEVATION = click.FloatRange(-90.0, 90.0)

FROM_AZIMUTH = click.option(
    "--from", "from_azimuth_deg", type=AZIMUTH, required=True, help="Azimuth, degrees."
)
TO_AZIMUTH = click.option(
    "--to", "to_azimuth_deg", type=AZIMUTH, required=True, help="Azimuth, clockwise from --from."
)


def _reasoned(function: F) -> F:
    """JOB, POINT, --why and --who."""
    for decorate in (
        click.option("--who", default="", help="[default: the job's surveyor]"),
        click.option("--why", required=True, help="One sentence; it is shown in the report."),
        click.argument("point"),
        click.argument("job", type=click.Path(path_type=Path)),
    ):
        function = decorate(function)
    return function


@click.group(subcommand_metavar="CHANGE JOB POINT [OPTIONS]")
def command() -> None:
    """Change a point of a job without touching its recordings.

    Each change is an entry in job.toml that says who made it, when and why, and stands in the
    report. It counts from the next points, replay or report on; undo takes the last one back.
    """


@command.command("drop-span")
@_reasoned
@click.option("--recording", required=True, help="File name of the sweep.")
@click.option("--from", "from_s", type=float, required=True, help="Seconds from its start.")
@click.option("--to", "to_s", type=float, required=True, help="Seconds from its start.")
def drop_span(job: Path, point: str, why: str, who: str, **what: Any) -> None:
    """Leave a time span of a recording out."""
    if not 0 <= what["from_s"] < what["to_s"]:
        raise click.UsageError("--from must be at least 0 and less than --to")
    _enter(job, point, who, why, "drop span", what)


@command.command("leave-out")
@_reasoned
@click.option("--recording", required=True, help="File name of the sweep.")
def leave_out(job: Path, point: str, why: str, who: str, **what: Any) -> None:
    """Leave a whole recording out."""
    _enter(job, point, who, why, "leave out", what)


@command.command("take-in")
@_reasoned
@click.option("--recording", required=True, help="File name of a sweep of another point.")
def take_in(job: Path, point: str, why: str, who: str, **what: Any) -> None:
    """Merge a recording that was made under another point's name."""
    _enter(job, point, who, why, "take in", what)


@command.command("override-sector")
@_reasoned
@FROM_AZIMUTH
@TO_AZIMUTH
@click.option("--elevation", type=ELEVATION, required=True, help="At --from, degrees.")
@click.option("--to-elevation", type=ELEVATION, help="At --to.  [default: as at --from]")
@click.option(
    "--error",
    "standard_error_deg",
    type=click.FloatRange(0.0, 90.0),
    default=1.0,
    show_default=True,
    help="1 sigma, degrees.",
)
def override_sector(
    job: Path,
    point: str,
    why: str,
    who: str,
    elevation: float,
    to_elevation: float | None,
    **what: Any,
) -> None:
    """Set the skyline of a sector, straight from one end to the other."""
    what["from_elevation_deg"] = elevation
    what["to_elevation_deg"] = elevation if to_elevation is None else to_elevation
    _enter(job, point, who, why, "override sector", what)


@command.command("import-horizon")
@_reasoned
@click.option("--horizon", "source", required=True, help="CSV file inside the job folder.")
@click.option(
    "--from", "from_azimuth_deg", type=AZIMUTH, default=0.0, show_default=True, help="Azimuth."
)
@click.option(
    "--to", "to_azimuth_deg", type=AZIMUTH, default=360.0, show_default=True, help="Azimuth."
)
@click.option("--only-unmeasured", is_flag=True, help="Leave alone what was measured.")
def import_horizon(job: Path, point: str, why: str, who: str, **what: Any) -> None:
    """Take a sector, or all, from a horizon CSV."""
    from logger.horizon_csv import read_horizon_csv
    from logger.job import file_of, read_job

    read_horizon_csv(file_of(read_job(job), what["source"]))
    _enter(job, point, who, why, "import horizon", what)


@command.command("name-sector")
@click.argument("job", type=click.Path(path_type=Path))
@click.argument("point")
@click.option("--name", required=True, help="Of what stands there.")
@click.option("--kind", type=click.Choice(OBSTRUCTION_KINDS), default="other", show_default=True)
@FROM_AZIMUTH
@TO_AZIMUTH
@click.option(
    "--distance", "distance_m", type=click.FloatRange(min=0, min_open=True), help="Metres."
)
def name_sector(job: Path, point: str, **what: Any) -> None:
    """Name a part of the skyline afterwards, such as one that was marked without a label."""
    from logger.job import add_obstruction, read_job

    name = _known_point(read_job(job), point)
    named = add_obstruction(job, {"point": name, **what}).obstructions[-1]
    click.echo(_sector_words(named))
    _say_next(job)


@command.command("list")
@click.argument("job", type=click.Path(path_type=Path))
def list_changes(job: Path) -> None:
    """Print the changes made so far, and what is named of the skyline."""
    from logger.job import read_job

    survey = read_job(job)
    for entry in survey.edits:
        click.echo(f"{entry.point}: {_change_words(entry)}")
    for sector in survey.obstructions:
        click.echo(_sector_words(sector))
    if not (survey.edits or survey.obstructions):
        click.echo("no changes")


@command.command("undo")
@click.argument("job", type=click.Path(path_type=Path))
def undo(job: Path) -> None:
    """Take the last change back, whoever made it; sectors that were named stay.

    Its entry is taken out of job.toml. Any other is taken out by hand.
    """
    from logger.job import remove_last_edit

    entry = remove_last_edit(job)
    click.echo(f"taken back - {entry.point}: {_change_words(entry)}")
    _say_next(job)


def _change_words(entry: EditEntry) -> str:
    """A change in words; one that makes no sense says why."""
    from logger.errors import InputError
    from logger.horizon_fit import edit_from_dict

    try:
        return str(edit_from_dict(entry.change(), f"edit of {entry.when}"))
    except InputError as error:
        return f"{error} (try: {error.hint})"


def _sector_words(sector: JobObstruction) -> str:
    """A named part of the skyline: from where, which azimuths, what, and how far."""
    parts = [f"{sector.point or 'every point'}:"]
    if sector.from_azimuth_deg is not None and sector.to_azimuth_deg is not None:
        parts.append(f"{sector.from_azimuth_deg:g} to {sector.to_azimuth_deg:g}°")
    parts.append(f"named {sector.name}, {sector.kind}")
    if sector.distance_m is not None:
        parts.append(f"at {sector.distance_m:g} m")
    return " ".join(parts)


def _known_point(survey: Job, point: str) -> str:
    from logger.errors import UsageError
    from logger.job import folder_name, point_names

    name, names = folder_name(point), point_names(survey)
    if name not in names:
        has = f"it has {', '.join(names)}" if names else "it has none yet"
        raise UsageError(f"the job has no point {name!r}", hint=has)
    return name


def _say_next(job: Path) -> None:
    from logger.errors import as_argument

    say(f"next, to see what it comes to: horizon-logger points {as_argument(job)}")


def _enter(job: Path, point: str, who: str, why: str, kind: str, what: dict[str, Any]) -> None:
    import datetime as dt

    from logger.errors import InputError, UsageError
    from logger.horizon_fit import edit_from_dict
    from logger.job import (
        EditEntry,
        add_edit,
        moment_text,
        read_job,
        recording_elsewhere,
    )
    from logger.survey.points import load_sweep, recording_of

    survey = read_job(job)
    name = _known_point(survey, point)
    if kind == "take in":
        recording_elsewhere(survey, what["recording"])
    elif "recording" in what:
        path = recording_of(survey, name, what["recording"])
        if "from_s" in what:
            length_s = float(load_sweep(path).stream.samples.t_s.max(initial=0.0))
            if what["from_s"] >= length_s:
                raise UsageError(
                    f"{path.name} is {length_s:.1f} s long: nothing of it lies after "
                    f"{what['from_s']:g} s"
                )
    who = who or survey.people.get("surveyor", "")
    if not who.strip() or not why.strip():
        raise UsageError("a change needs a name and a reason", hint="give --who and --why")
    now = moment_text(dt.datetime.now(dt.UTC))
    entry = EditEntry(kind, name, who, now, why, what)
    try:
        change = edit_from_dict(entry.change())
    except InputError as error:
        raise UsageError(error.what) from error  # it is not in the file yet
    add_edit(job, entry)
    click.echo(f"{name}: {change}")
    _say_next(job)
