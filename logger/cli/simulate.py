"""The `simulate` command: a virtual board on a pseudo-terminal or a TCP port."""

from __future__ import annotations

import datetime as dt
import itertools
from collections.abc import Iterator
from typing import TYPE_CHECKING, Any

import click

from logger.cli.options import overwrite_option, put_out
from logger.cli.parameters import FILE_TO_WRITE, FOLDER, Address, Number, Numbers

if TYPE_CHECKING:
    from logger.simulation import Scene
    from logger.simulation.serve import MakeTask

_SCENES = (
    "ridge, open-meadow, street, street-with-mast, forest-edge, steel-roof, courtyard, facade, or "
    "of one roof west-eave and east-ridge"
)


@click.command()
@click.option("--pty", is_flag=True, help="Listen on a pseudo-terminal (Linux, macOS).")
@click.option(
    "--tcp",
    type=Address(),
    metavar="ADDRESS:PORT",
    help="Listen on TCP; port 0 takes a free one. [default]",
)
@click.option(
    "--scene",
    "scenes",
    multiple=True,
    metavar="NAME",
    help=f"Skyline: {_SCENES}. Given again, the next sweep has the next one. [default: ridge]",
)
@click.option("--seed", default=0, show_default=True, help="Of scene, operator and board.")
@click.option(
    "--do",
    "tasks",
    default="sweep",
    show_default=True,
    metavar="TASKS",
    help="What the operator does, one a connection, with commas between: compass, level, bearing "
    "(on a target), sun (bearing by the shadow), plane, swing (a target every 45 degrees), sweep, "
    "corners, points (every scene in turn, the trigger opening and closing each). Further "
    "connections meet the last one again.",
)
@click.option("--day", is_flag=True, help="Short for --do compass,level,bearing,sweep,sweep.")
@click.option(
    "--hand", type=click.Choice(["calm", "brisk"]), default="calm", show_default=True,
    help="How the operator moves.",
)  # fmt: skip
@click.option(
    "--sector", "sectors", multiple=True, type=Numbers("FROM,TO", "120,260"),
    help="Sweep only this part, clockwise, in degrees; may be given again.",
)  # fmt: skip
@click.option(
    "--target", type=Numbers("AZIMUTH,ELEVATION", "63,1.2"),
    help="Sight a closing target in this direction before and after each sweep.",
)  # fmt: skip
@click.option(
    "--opening-trigger", is_flag=True, help="Press the trigger also at the start of a sweep."
)
@click.option("--iron/--no-iron", default=True, show_default=True,
              help="Hard and soft iron on the board, and an accelerometer offset.")  # fmt: skip
@click.option(
    "--streams", default="AMG", show_default=True,
    help="What the board sends: some of the letters A (its own attitude), M (field and force), "
    "G (angular rate).",
)  # fmt: skip
@click.option(
    "--rate", "rate_hz", default=50, show_default=True, help="Measuring instants a second."
)
@click.option("--latitude", default=46.05, show_default=True, help="Degrees, north positive.")
@click.option("--longitude", default=14.51, show_default=True, help="Degrees, east positive.")
@click.option("--altitude", default=310.0, show_default=True, help="Metres.")
@click.option(
    "--speed",
    type=Number(min=0.0),
    default=1.0,
    show_default=True,
    help="Times real time; 0 sends unpaced. With any but 1 the board's clock does not go as the "
    "host's, and the host is right to call its time in doubt; the answer keeps the board's time.",
)
@click.option("--once", is_flag=True, help="End after the last task.")
@click.option(
    "--truth", type=FILE_TO_WRITE, metavar="FILE.csv",
    help="Write the true skyline of the first scene as a horizon CSV.",
)  # fmt: skip
@click.option(
    "--observers", type=click.IntRange(1, 200), metavar="N",
    help="No port: N virtual observers sweep one point, some with known faults, into --output.",
)  # fmt: skip
@click.option(
    "--output", type=FOLDER, metavar="FOLDER",
    help="With --observers: a new folder for a job each, faults.csv and truth.csv.",
)  # fmt: skip
@overwrite_option
def command(**options: Any) -> None:
    """Serve a virtual board: an invented skyline, a person who sweeps it, a cheap sensor.

    The first line on standard output is what to give to --port. Each connection finds the
    operator at the start of the next task; every task ends with the trigger key. Ctrl-C ends.
    """
    from logger.simulation.serve import PtyLink, TcpLink, serve

    if (options["observers"] is None) != (options["output"] is None):
        raise click.UsageError("--observers and --output go together")
    if options["observers"]:
        _write_class(options)
        return
    if options["pty"] and options["tcp"]:
        raise click.UsageError("--pty and --tcp exclude each other")
    scenes, tasks = _tasks(options)
    if options["truth"] is not None:
        put_out(options["truth"], scenes[0].as_csv())
    link = PtyLink() if options["pty"] else TcpLink(*(options["tcp"] or ()))
    try:
        click.echo(f"a virtual board listens on {link.address}; Ctrl-C ends it", err=True)
        click.echo(link.address)
        serve(link, tasks, options["speed"] or None, lambda text: click.echo(text, err=True))
    except KeyboardInterrupt:
        click.echo("ended", err=True)
    finally:
        link.close()


def _write_class(options: dict[str, Any]) -> None:
    from logger.cli.options import say
    from logger.cli.virtual_observers import write_class
    from logger.errors import UsageError, as_argument
    from logger.simulation import scene_named

    folder, seed = options["output"], options["seed"]
    if folder.is_dir() and any(folder.iterdir()):
        raise UsageError("holds something already", str(folder), "name a new folder")
    scene = scene_named((options["scenes"] or ("street",))[0], seed)
    write_class(folder, options["observers"], scene, seed, say)
    say(f"next: horizon-logger class {as_argument(folder)}")


def _tasks(options: dict[str, Any]) -> tuple[tuple[Scene, ...], Iterator[MakeTask]]:
    """The scenes, and each task of the day; without --once the last one again and again."""
    from dataclasses import replace

    from logger.simulation import BoardSettings, Operator, Sensor, Task, day_task, scene_named
    from logger.simulation.tasks import A_DAY, purpose_of
    from logger.site import Site

    names = list(A_DAY) if options["day"] else [n.strip() for n in options["tasks"].split(",")]
    for name in names:
        purpose_of(name)
    seed = options["seed"]
    scenes = tuple(scene_named(name, seed) for name in options["scenes"] or ("ridge",))

    operator = Operator.brisk() if options["hand"] == "brisk" else Operator.calm()
    if options["sectors"]:
        # Clockwise: 350,20 runs through north.
        sectors = tuple((a, b if b > a else b + 360.0) for a, b in options["sectors"])
        operator = replace(operator, sectors=sectors)
    target = options["target"]
    if target and not options["sectors"]:
        # Beginning and ending beside the target, no way across the sky is recorded.
        operator = replace(operator, sectors=((target[0], target[0] + 364.0),))
    at_target = {"target": target} if target else {}
    sensor = Sensor(individual=seed)
    day = Task(
        "sweep",
        scenes=scenes,
        operator=replace(
            operator, closing_target=target, opening_trigger=options["opening_trigger"]
        ),
        sensor=sensor if options["iron"] else sensor.without_iron(),
        site=Site(options["latitude"], options["longitude"], options["altitude"]),
        settings=BoardSettings(
            options["streams"].upper(),
            options["rate_hz"],
            serial_number=f"V{seed:03d}",
            link_baud=115200 if options["pty"] else None,
        ),
        seed=seed,
        more={"level": {**at_target, "pairs": 3}, "bearing": at_target},
    )

    def maker(number: int) -> MakeTask:
        *before, name = [names[min(k, len(names) - 1)] for k in range(number + 1)]
        sweeps = sum(purpose_of(one) == "sweep" for one in before)
        return lambda: day_task(day, name, number, dt.datetime.now(dt.UTC), sweeps)

    return scenes, map(maker, range(len(names)) if options["once"] else itertools.count())
