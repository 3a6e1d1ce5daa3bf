"""``horizon-logger edit``: what is put right in the office; no recording is touched."""

from __future__ import annotations

import functools
from collections.abc import Callable
from typing import TYPE_CHECKING, Any

import click

from logger.cli.options import say, tell, together
from logger.cli.parameters import JOB, JOB_FOLDER, PLACE, POINT, RECTANGLE, Number
from logger.errors import UsageError, as_argument
from logger.horizon import OBSTRUCTION_KINDS

if TYPE_CHECKING:
    from pathlib import Path

    from logger.job import Job

AZIMUTH = Number(0.0, 360.0)
ELEVATION = Number(-90.0, 90.0)
ABOVE_0 = Number(min=0.0, min_open=True)

NAME = click.argument("name")
REASONED = together(
    click.option("--why", required=True, help="One sentence; it stands in the report."),
    click.option("--who", default="", help="Who decided it.  [default: the job's surveyor]"),
)
RECORDING = click.option("--recording", metavar="FILE", help="File name of the sweep.")
KIND = click.Choice(OBSTRUCTION_KINDS)
DISTANCE = click.option("--distance", "distance_m", type=ABOVE_0, help="From the point, metres.")


def _sector(required: bool) -> Callable[[Any], Any]:
    """--from-azimuth and --to-azimuth, as the pictures show them."""
    return together(
        click.option("--from-azimuth", "from_azimuth_deg", type=AZIMUTH, required=required,
                     help="One end, as the pictures show it, degrees."),
        click.option("--to-azimuth", "to_azimuth_deg", type=AZIMUTH, required=required,
                     help="Its other end, clockwise, degrees."),
    )  # fmt: skip


@click.group(subcommand_metavar="CHANGE JOB [POINT] [OPTIONS]")
def command() -> None:
    """Put a job right without touching its recordings.

    What changes a result is an entry in job.toml that says who made it, when and why, and stands
    in the report. It counts from the next command on; undo takes the last one back.
    """


def change(name: str, *options: Callable[[Any], Any]) -> Callable[[Callable[..., str]], Any]:
    """A command that changes the job: its function takes the job and gives what is to be told.

    A reason is one, and the job's surveyor gives it unless told.
    """

    def decorate(function: Callable[..., str]) -> Any:
        @functools.wraps(function)
        def run(job: Job, **given: Any) -> None:
            if "why" in given:
                given["who"] = given["who"].strip() or job.people.get("surveyor", "").strip()
                given["why"] = given["why"].strip()
                if not (given["who"] and given["why"]):
                    hint = "give --who and --why"
                    raise UsageError("an edit needs a name and a reason", hint=hint)
            tell(function(job, **given))
            _say_next(job.folder, given.get("plane"))

        return command.command(name)(together(JOB, *options)(run))

    return decorate


@change(
    "set-sector",
    POINT,
    _sector(required=True),
    click.option("--elevation", type=ELEVATION, required=True, help="At --from-azimuth, degrees."),
    click.option("--to-elevation", type=ELEVATION, help="At --to-azimuth.  [default: --elevation]"),
    click.option("--error", "standard_error_deg", type=Number(0.0, 90.0), default=1.0,
                 show_default=True, help="How sure that is, 1 sigma, degrees."),
    REASONED,
)  # fmt: skip
def set_sector(job: Job, elevation: float, to_elevation: float | None, **given: Any) -> str:
    """Set the horizon of a sector, straight from one end to the other."""
    to_elevation = elevation if to_elevation is None else to_elevation
    given |= {"from_elevation_deg": elevation, "to_elevation_deg": to_elevation}
    return _entered(job, "set-sector", **given)


@change(
    "exclude-span",
    POINT,
    RECORDING,
    _sector(required=False),
    click.option("--from-second", "from_s", type=Number(min=0.0),
                 help="Seconds from the start of the recording."),
    click.option("--to-second", "to_s", type=ABOVE_0, help="Seconds from its start."),
    REASONED,
)  # fmt: skip
def exclude_span(job: Job, **given: Any) -> str:
    """Exclude a span of azimuth, or of seconds, from one recording.

    Without --recording a span of azimuth is excluded from every recording of the point.
    """
    return _entered(job, "exclude-span", **given)


@change("exclude-sweep", POINT, RECORDING, REASONED)
def exclude_sweep(job: Job, **given: Any) -> str:
    """Exclude a whole recording; a point left without any is no point any more."""
    return _entered(job, "exclude-sweep", **given)


def _entered(job: Job, kind: str, point: str, **what: Any) -> str:
    from logger.job import enter_edit

    return f"{point}: {enter_edit(job, kind, point, **what)}"


@change("remove-point", POINT, REASONED)
def remove(job: Job, **given: Any) -> str:
    """Exclude all recordings of a point, which is then no point until it is swept again."""
    return _entered(job, "remove-point", **given)


@change("rename-point", POINT, NAME, REASONED)
def rename(job: Job, point: str, name: str, **reason: str) -> str:
    """Call a point NAME from now on, in job.toml and in the names of its folders."""
    from logger.job import rename_point

    edit = rename_point(job, point, name, **reason)
    return f"{edit.point}: {edit}"


@change(
    "name-sector",
    POINT,
    click.option("--name", required=True, help="Name of what stands there."),
    click.option("--kind", type=KIND, default="other", show_default=True),
    _sector(required=True),
    DISTANCE,
)
def name_sector(job: Job, point: str, **what: Any) -> str:
    """Name what stands in a sector, such as what was pressed without a name."""
    from logger.job import name_sector

    return str(name_sector(job.folder, point, **what))


@change(
    "set-obstruction",
    NAME,
    click.option("--kind", type=KIND),
    DISTANCE,
    click.option("--removable/--fixed", default=None, help="Whether it could be cut or moved."),
)
def set_obstruction(job: Job, name: str, **what: Any) -> str:
    """Tell more of an obstruction that a sweep or the job has named NAME."""
    from logger.job import obstruction_names, plain_name, set_named
    from logger.structured import one_of

    known = {key: value for key, value in what.items() if value is not None}
    if not known:
        raise UsageError("nothing is told of it", hint="--kind, --distance, --removable or --fixed")
    name = one_of(plain_name(name), obstruction_names(job), "no sweep or entry names an "
                   "obstruction", "name it first: horizon-logger edit name-sector")  # fmt: skip
    found = set_named(job.folder, "obstructions", {"name": name, **known}).obstructions
    return "\n".join(str(one) for one in found if one.name == name)


@change(
    "set-position",
    POINT,
    click.option("--at", "at_m", type=PLACE,
                 help="Metres from the job's origin, such as 3.2,-0.5,0."),
    click.option("--from", "from_point", metavar="POINT",
                 help="In place of --at: the point that tape and compass are held from."),
    click.option("--distance", "tape_m", type=ABOVE_0, help="By tape from that point, metres."),
    click.option("--bearing", "bearing_deg", type=AZIMUTH,
                 help="From that point by hand compass, before declination, degrees."),
    click.option("--rise", "rise_m", type=Number(), default=0.0,
                 help="How far it is above that point, metres.  [default: 0]"),
    click.option("--at-error", "error_m", type=ABOVE_0, default=0.3, show_default=True,
                 help="How sure --at or --distance is, 1 sigma, metres: tape 0.05, paces 0.3."),
)  # fmt: skip
def set_position(
    job: Job,
    point: str,
    at_m: tuple[float, ...] | None,
    from_point: str | None,
    tape_m: float | None,
    bearing_deg: float | None,
    rise_m: float,
    error_m: float,
) -> str:
    """Say where a point is: from the job's origin, or by tape and compass from another point."""
    from logger.job import existing_point, set_named
    from logger.survey.positions import position_from

    if (at_m is None) == (from_point is None):
        hint = "--at EAST,NORTH,UP, or --from POINT --distance M --bearing DEGREES"
        raise UsageError("a position is told in one way", hint=hint)
    if at_m is not None and (tape_m is not None or bearing_deg is not None or rise_m):
        raise UsageError("--distance, --bearing and --rise go with --from")
    if from_point is not None:
        if tape_m is None or bearing_deg is None:
            raise UsageError(
                "--from goes with a distance and a bearing", hint="--distance, --bearing"
            )
        base = existing_point(job, from_point)
        at_m, error_m = position_from(job, base, tape_m, bearing_deg, rise_m, error_m)
    assert at_m is not None
    known, (east, north, up) = job.point(point), at_m
    values = {"east_m": east, "north_m": north, "up_m": up, "position_error_m": error_m}
    set_named(job.folder, "points", {"name": known.name, **values})
    if known.east_m is not None:
        say(f"it was at {known.east_m:g},{known.north_m:g},{known.up_m or 0.0:g}")
    return f"{known.name}: at {east:g},{north:g},{up:g} m ± {error_m:g}"


@change(
    "set-outline",
    click.argument("plane"),
    click.option("--corner", "corners", type=PLACE, multiple=True, required=True,
                 help="Metres from the job's origin; one for each corner, in order."),
    click.option("--size", type=RECTANGLE,
                 help="Metres across and up the slope from the one corner given, the lower left as "
                 "you look up the slope."),
)  # fmt: skip
def set_outline(
    job: Job,
    plane: str,
    corners: tuple[tuple[float, ...], ...],
    size: tuple[float, float] | None,
) -> str:
    """Say what outline PLANE has: its corners, or one corner and a size."""
    from logger.job import plain_name, set_named
    from logger.parallax import outline_of, rectangle
    from logger.structured import one_of

    planes = {one.name: one for one in job.planes}
    name = one_of(plain_name(plane), planes, "the job has no plane",
                   "measure it first: horizon-logger plane JOB NAME")  # fmt: skip
    if size is not None:
        if len(corners) != 1:
            raise UsageError("--size goes with one corner", hint="the lower left one")
        corners = rectangle(corners[0], *size, planes[name])
    area = outline_of(planes[name], corners).area_m2
    # As arrays of arrays: TOML has no tuples.
    outline = [list(corner) for corner in corners]
    set_named(job.folder, "planes", {"name": name, "outline": outline})
    return f"{name}: {len(corners)} corners, {area:.1f} m²"


@change("set-planes", POINT, click.argument("planes", metavar="[PLANE]...", nargs=-1))
def set_planes(job: Job, point: str, planes: tuple[str, ...]) -> str:
    """Say which planes a point stands for; none named means every plane of the job."""
    from logger.job import plain_name, set_named

    wanted = [plain_name(plane) for plane in planes]
    set_named(job.folder, "points", {"name": point, "planes": wanted or None})
    was = ", ".join(job.point(point).planes) or "every plane"
    return f"{point}: {', '.join(wanted) or 'every plane'}, was {was}"


@command.command("list")
@JOB
def list_changes(job: Job) -> None:
    """Print the changes made so far, and what is named of the horizon."""
    told = [f"{edit.point}: {edit}" for edit in job.edits]
    tell("\n".join([*told, *map(str, job.obstructions)]) or "no changes")


@command.command("undo")
@JOB_FOLDER
def undo_last(job: Path) -> None:
    """Take the last change back, whoever made it: an entry with a reason, or a name given.

    What set-position, set-planes and set-obstruction set is set again by the same command.
    """
    from logger.job import undo

    tell(f"taken back - {undo(job)}")
    _say_next(job)


def _say_next(folder: Path, plane: str | None = None) -> None:
    job = as_argument(folder)
    step = f"array {job} --plane {as_argument(plane)}" if plane else f"compare {job}"
    say(f"next: horizon-logger {step}")
