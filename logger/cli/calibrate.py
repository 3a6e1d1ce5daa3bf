"""``horizon-logger calibrate``: compass, level and bearing of the board, before each job."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import Any

import click

from logger.cli.asking import Surveyor
from logger.cli.board import calibrated, calibration_recorded, port_options
from logger.cli.options import (
    changes_of,
    check_line,
    give,
    json_option,
    leave_by_checks,
    set_option,
    together,
)
from logger.cli.parameters import FILE, JOB, Number, Numbers

NEXT = {
    "compass": "horizon-logger calibrate level {job}",
    "level": "horizon-logger calibrate bearing {job} --sun",
    "bearing": "horizon-logger sweep {job} POINT",
}


@click.group()
def command() -> None:
    """Calibrate the board, on the ground, before going up."""


source_options = together(
    JOB,
    port_options,
    set_option,
    click.option("--recording", type=FILE, help="A recording made before, instead of a port."),
    click.option(
        "--holder",
        default="",
        help="What the board is mounted in; another holder needs another calibration.",
    ),
    click.option(
        "--accept-broken-seal",
        is_flag=True,
        help="Go on with a recording that was changed.",
    ),
    json_option,
)


@command.command()
@source_options
@click.option(
    "--bearings",
    type=Numbers("DEGREES,...", "12,85.5,170"),
    default=(),
    help="For a board that sends attitude only: true bearings of the targets, in the order that "
    "they are sighted; at least 8 without a gap above 60 degrees.",
)
def compass(bearings: tuple[float, ...], **given: Any) -> None:
    """Tumble the board over all its sides: hard and soft iron, accelerometer, gyro.

    A board that sends attitude only is swung over targets of known bearing instead.
    """
    _calibrate("swing" if bearings else "compass", given, bearings_deg=bearings)


@command.command()
@source_options
@click.option(
    "--target-is-near",
    is_flag=True,
    help="The target serves for the level only: seen from the points its bearing differs.",
)
def level(target_is_near: bool, **given: Any) -> None:
    """Sight one target upright and with the board rolled over; then an edge there and back."""
    _calibrate("level", given, target_is_near=target_is_near)


@command.command()
@source_options
@click.option("--sun", is_flag=True, help="Sight along a shadow, away from the sun.")
@click.option(
    "--target",
    "target_deg",
    type=Number(0.0, 360.0),
    help="True bearing of a target, degrees.",
)
@click.option(
    "--clock-doubt",
    "clock_doubt_s",
    type=Number(min=0.0),
    default=2.0,
    show_default=True,
    help="How far the computer's clock may be off, seconds; for --sun.",
)
def bearing(sun: bool, target_deg: float | None, clock_doubt_s: float, **given: Any) -> None:
    """Sight a target of known bearing, or along the sun's shadow, three times.

    Never look at the sun: the sight is taken along the shadow of an upright edge, away from it.
    """
    if sun == (target_deg is not None):
        raise click.UsageError("give either --sun or --target DEGREES")
    given["clock_doubt_s"] = clock_doubt_s
    how = "sun" if sun else "target"
    _calibrate(how, given, target_deg=target_deg, clock_doubt_s=clock_doubt_s)


def _calibrate(how: str, given: dict[str, Any], **wanted: Any) -> None:
    from logger.errors import as_argument
    from logger.live.guide import WAYS
    from logger.survey.calibrations import Wanted

    purpose = WAYS[how].purpose
    surveyor, path = recorded(how, given)
    wanted_now = Wanted(purpose, given["holder"], **wanted)
    stored = calibrated(surveyor.job, path, wanted_now, given["accept_broken_seal"])
    lines = [check_line(check) for check in stored.checks]
    surveyor.note("\n".join(lines))
    give(given["json_file"], stored.as_dict(), *lines)
    leave_by_checks(stored.checks, NEXT[purpose].format(job=as_argument(surveyor.job.folder)))


def recorded(how: str, given: dict[str, Any]) -> tuple[Surveyor, Path]:
    """Who surveys, under what ``--set`` gives; and the recording that is named, or taken now."""
    from logger.settings import changed

    job, path = given["job"], given["recording"]
    job = replace(job, settings=changed(job.settings, changes_of(given["settings"])))
    surveyor = Surveyor(job, given["url"], given["baud"], given["page"])
    if path is not None and (surveyor.url, surveyor.baud) != (None, None):
        raise click.UsageError("give either --port URL or --recording FILE")
    return surveyor, path or calibration_recorded(surveyor, how, given)
