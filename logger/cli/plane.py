"""``horizon-logger plane``: tilt and azimuth of a surface from the board laid on it."""

from __future__ import annotations

from typing import Any

import click

from logger.cli.board import read
from logger.cli.calibrate import recorded, source_options
from logger.cli.options import give, leave_by_checks
from logger.cli.parameters import Number


@click.command()
@source_options
@click.argument("name")
@click.option(
    "--eaves",
    is_flag=True,
    help="On steel: the last hold of the recording is a sight along the eaves or ridge, taken "
    "where the compass works; it gives the azimuth.",
)
@click.option("--size", "size_kwp", type=Number(min=0.0, min_open=True), help="In kWp.")
def command(name: str, eaves: bool, size_kwp: float | None, **given: Any) -> None:
    """Measure a roof or module surface: lay the board on it, its sight up the slope.

    The plane NAME is stored in JOB with its uncertainty.
    """
    from logger.checks import NORMAL_95
    from logger.errors import as_argument
    from logger.survey.calibrations import measure_plane, store_plane

    surveyor, path = recorded("plane", given)
    job = surveyor.job
    recording, stream = read(path, given["accept_broken_seal"])
    fix, checks = measure_plane(job, recording, stream, along_eaves=eaves)
    store_plane(job, name, fix, recording, size_kwp)
    document = {"name": name, **vars(fix), "quality": list(checks)}
    del document["checks"]
    words = (
        f"{name}: tilt {fix.tilt_deg:.1f}° ± {NORMAL_95 * fix.tilt_error_deg:.1f}°, "
        f"azimuth {fix.azimuth_deg:.1f}° ± {NORMAL_95 * fix.azimuth_error_deg:.1f}° (95 %)"
    )
    surveyor.note(words)
    give(given["json_file"], document, words)
    leave_by_checks(checks, f"horizon-logger sweep {as_argument(job.folder)} POINT")
