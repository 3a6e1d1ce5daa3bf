"""``horizon-logger edit``: what is put right in the office; no recording is touched."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar

import click

from logger.cli.options import PLACE, RECTANGLE, say, tell
from logger.errors import UsageError, as_argument
from logger.horizon import OBSTRUCTION_KINDS

if TYPE_CHECKING:
    from logger.job import Job

F = TypeVar("F", bound=Callable[..., Any])

AZIMUTH = click.FloatRange(0.0, 360.0)
ELEVATION = click.FloatRange(-90.0, 90.0)
ABOVE_0 = click.FloatRange(min=0.0, min_open=True)

JOB = click.argument("folder", metavar="JOB", type=click.Path(path_type=Path))
POINT = click.argument("point")
WHY = click.option("--why", required=True, help="One sentence; it stands in the report.")
WHO = click.option("--who", default="", help="Who decided it.  [default: the job's surveyor]")
RECORDING = click.option("--recording", metavar="FILE", help="File name of the sweep.")
KIND = click.Choice(OBSTRUCTION_KINDS)
DISTANCE = click.option("--distance", "distance_m", type=ABOVE_0, help="From the point, metres.")


def _sector(required: bool) -> Callable[[F], F]:
    """--from-azimuth and --to-azimuth, as the pictures show them."""
    to = click.option("--to-azimuth", "to_azimuth_deg", type=AZIMUTH, required=required,
                      help="Its other end, clockwise, degrees.")  # fmt: skip
    begin = click.option("--from-azimuth", "from_azimuth_deg", type=AZIMUTH, required=required,
                         help="One end, as the pictures show it, degrees.")  # fmt: skip
    return lambda function: begin(to(function))


@click.group(subcommand_metavar="CHANGE JOB [POINT] [OPTIONS]")
def command() -> None:
    """Put a job right without touching its recordings.

    What changes a result is an entry in job.toml that says who made it, when and why, and stands
    in the report. It counts from the next command on; undo takes the last one back.
    """


@command.command("set-sector")
@JOB
@POINT
@_sector(required=True)
@click.option("--elevation", type=ELEVATION, required=True, help="At --from-azimuth, degrees.")
@click.option("--to-elevation", type=ELEVATION, help="At --to-azimuth.  [default: --elevation]")
@click.option("--error", "standard_error_deg", type=click.FloatRange(0.0, 90.0), default=1.0,
              show_default=True, help="How sure that is, 1 sigma, degrees.")  # fmt: skip
@WHY
@WHO
def set_sector(elevation: float, to_elevation: float | None, **given: Any) -> None:
    """Set the horizon of a sector, straight from one end to the other."""
    to_elevation = elevation if to_elevation is None else to_elevation
    _enter("set-sector", from_elevation_deg=elevation, to_elevation_deg=to_elevation, **given)


@command.command("exclude-span")
@JOB
@POINT
@RECORDING
@_sector(required=False)
@click.option("--from-second", "from_s", type=click.FloatRange(min=0.0),
              help="Seconds from the start of the recording.")  # fmt: skip
@click.option("--to-second", "to_s", type=ABOVE_0, help="Seconds from its start.")
@WHY
@WHO
def exclude_span(**given: Any) -> None:
    """Exclude a span of azimuth, or of seconds, from one recording.

    Without --recording a span of azimuth is excluded from every recording of the point.
    """
    _enter("exclude-span", **given)


@command.command("exclude-sweep")
@JOB
@POINT
@RECORDING
@WHY
@WHO
def exclude_sweep(**given: Any) -> None:
    """Exclude a whole recording; a point left without any is no point any more."""
    _enter("exclude-sweep", **given)


@command.command("remove-point")
@JOB
@POINT
@WHY
@WHO
def remove(folder: Path, point: str, why: str, who: str) -> None:
    """Exclude all recordings of a point, which is then no point until it is swept again."""
    from logger.job import existing_point, read_job, remove_point

    survey = read_job(folder)
    point = existing_point(survey, point)
    tell(f"{point}: {remove_point(survey, point, *_reasoned(survey, who, why))}")
    _say_next(folder)


@command.command("rename-point")
@JOB
@POINT
@click.argument("name")
@WHY
@WHO
def rename(folder: Path, point: str, name: str, why: str, who: str) -> None:
    """Call a point NAME from now on, in job.toml and in the names of its folders."""
    from logger.job import existing_point, read_job, rename_point

    survey = read_job(folder)
    point = existing_point(survey, point)
    edit = rename_point(survey, point, name, *_reasoned(survey, who, why))
    tell(f"{edit.point}: {edit}")
    _say_next(folder)


@command.command("name-sector")
@JOB
@POINT
@click.option("--name", required=True, help="Name of what stands there.")
@click.option("--kind", type=KIND, default="other", show_default=True)
@_sector(required=True)
@DISTANCE
def name_sector(folder: Path, point: str, **what: Any) -> None:
    """Name what stands in a sector, such as what was pressed without a name."""
    from logger.job import existing_point, name_sector, read_job

    tell(str(name_sector(folder, existing_point(read_job(folder), point), **what)))
    _say_next(folder)


@command.command("set-obstruction")
@JOB
@click.argument("name")
@click.option("--kind", type=KIND)
@DISTANCE
@click.option("--removable/--fixed", default=None, help="Whether it could be cut or moved.")
def set_obstruction(folder: Path, name: str, **what: Any) -> None:
    """Tell more of an obstruction that a sweep or the job has named NAME."""
    from logger.job import obstruction_names, plain_name, read_job, set_named
    from logger.structured import nearest

    known = {key: value for key, value in what.items() if value is not None}
    if not known:
        raise UsageError("nothing is told of it", hint="--kind, --distance, --removable or --fixed")
    name, names = plain_name(name), obstruction_names(read_job(folder))
    if name not in names:
        hint = nearest(name, names) or "name it first: horizon-logger edit name-sector"
        raise UsageError(f"no sweep or entry names an obstruction {name!r}", hint=hint)
    for one in set_named(folder, "obstructions", {"name": name, **known}).obstructions:
        if one.name == name:
            tell(str(one))
    _say_next(folder)


@command.command("set-position")
@JOB
@POINT
@click.option("--at", "at_m", metavar="EAST,NORTH,UP", type=PLACE, required=True,
              help="Metres from the job's origin, such as 3.2,-0.5,0.")  # fmt: skip
@click.option("--at-error", "position_error_m", type=ABOVE_0, default=0.3, show_default=True,
              help="How sure that is, 1 sigma, metres: tape 0.05, paces 0.3.")  # fmt: skip
def set_position(
    folder: Path, point: str, at_m: tuple[float, float, float], position_error_m: float
) -> None:
    """Say where a point is."""
    from logger.job import existing_point, read_job, set_named

    survey, (east, north, up) = read_job(folder), at_m
    known = survey.point(existing_point(survey, point))
    values = {"east_m": east, "north_m": north, "up_m": up, "position_error_m": position_error_m}
    set_named(folder, "points", {"name": known.name, **values})
    tell(f"{known.name}: at {east:g},{north:g},{up:g} m ± {position_error_m:g}")
    if known.east_m is not None:
        say(f"it was at {known.east_m:g},{known.north_m:g},{known.up_m or 0.0:g}")
    _say_next(folder)


@command.command("set-outline")
@JOB
@click.argument("plane")
@click.option("--corner", "corners", metavar="EAST,NORTH,UP", type=PLACE, multiple=True,
              required=True,
              help="Metres from the job's origin; one for each corner, in order.")  # fmt: skip
@click.option("--size", metavar="WIDTH,HEIGHT", type=RECTANGLE,
              help="Metres across and up the slope from the one corner given, the lower left as "
              "you look up the slope.")  # fmt: skip
def set_outline(
    folder: Path,
    plane: str,
    corners: tuple[tuple[float, float, float], ...],
    size: tuple[float, float] | None,
) -> None:
    """Say what outline PLANE has: its corners, or one corner and a size."""
    from logger.job import plain_name, read_job, set_named
    from logger.parallax import outline_of, rectangle
    from logger.structured import nearest

    survey, name = read_job(folder), plain_name(plane)
    known = next((one for one in survey.planes if one.name == name), None)
    if known is None:
        names = [one.name for one in survey.planes]
        hint = nearest(name, names) or "measure it first: horizon-logger plane JOB NAME"
        raise UsageError(f"the job has no plane {name!r}", hint=hint)
    outline: tuple[tuple[float, ...], ...] = corners
    if size is not None:
        if len(outline) != 1:
            raise UsageError("--size goes with one corner", hint="the lower left one")
        width, height = size
        if not (width > 0 and height > 0):
            raise UsageError(f"--size {width:g},{height:g} is not above 0", hint="--size 8,5")
        outline = rectangle(outline[0], width, height, known)
    area = outline_of(known, outline).area_m2
    # As arrays of arrays: TOML has no tuples.
    set_named(folder, "planes", {"name": name, "outline": [list(corner) for corner in outline]})
    tell(f"{name}: {len(outline)} corners, {area:.1f} m²")
    say(f"next: horizon-logger array {as_argument(folder)} --plane {as_argument(name)}")


@command.command("set-planes")
@JOB
@POINT
@click.argument("planes", metavar="[PLANE]...", nargs=-1)
def set_planes(folder: Path, point: str, planes: tuple[str, ...]) -> None:
    """Say which planes a point stands for; none named means every plane of the job."""
    from logger.job import existing_point, plain_name, read_job, set_named

    survey = read_job(folder)
    name, wanted = existing_point(survey, point), [plain_name(plane) for plane in planes]
    set_named(folder, "points", {"name": name, "planes": wanted or None})
    was = ", ".join(survey.point(name).planes) or "every plane"
    tell(f"{name}: {', '.join(wanted) or 'every plane'}, was {was}")
    _say_next(folder)


@command.command("list")
@JOB
def list_changes(folder: Path) -> None:
    """Print the changes made so far, and what is named of the horizon."""
    from logger.job import read_job

    survey = read_job(folder)
    for edit in survey.edits:
        tell(f"{edit.point}: {edit}")
    for obstruction in survey.obstructions:
        tell(str(obstruction))
    if not (survey.edits or survey.obstructions):
        tell("no changes")


@command.command("undo")
@JOB
def undo_last(folder: Path) -> None:
    """Take the last change back, whoever made it: an entry with a reason, or a name given.

    What set-position, set-planes and set-obstruction set is set again by the same command.
    """
    from logger.job import undo

    tell(f"taken back - {undo(folder)}")
    _say_next(folder)


def _reasoned(survey: Job, who: str, why: str) -> tuple[str, str]:
    who = who.strip() or survey.people.get("surveyor", "").strip()
    if not who or not why.strip():
        raise UsageError("an edit needs a name and a reason", hint="give --who and --why")
    return who, why.strip()


def _enter(kind: str, folder: Path, point: str, why: str, who: str, **what: Any) -> None:
    from logger.job import enter_edit, existing_point, read_job

    survey = read_job(folder)
    point = existing_point(survey, point)
    edit = enter_edit(survey, kind, point, *_reasoned(survey, who, why), **what)
    tell(f"{point}: {edit}")
    _say_next(folder)


def _say_next(folder: Path) -> None:
    say(f"next: horizon-logger compare {as_argument(folder)}")
