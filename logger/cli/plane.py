"""``horizon-logger plane``: tilt and azimuth of a surface from the board laid on it."""

from __future__ import annotations

from typing import Any

import click

from logger.cli.asking import Surveyor
from logger.cli.calibrate import job_with, recording_from, source_options
from logger.cli.options import leave_by_checks, say, tell, write_json


@click.command()
@source_options
@click.argument("name")
@click.option(
    "--eaves",
    is_flag=True,
    help="On steel: the last hold of the recording is a sight along the eaves or ridge, taken "
    "where the compass works; it gives the azimuth.",
)
@click.option("--size", "size_kwp", type=click.FloatRange(min=0.0, min_open=True), help="In kWp.")
def command(name: str, eaves: bool, size_kwp: float | None, **given: Any) -> None:
    """Measure a roof or module surface: lay the board on it, its sight up the slope.

    The plane NAME is stored in JOB with its uncertainty.
    """
    from logger.checks import NORMAL_95
    from logger.errors import as_argument
    from logger.recording import load_stream
    from logger.survey.calibrations import measure_plane, store_plane

    job = job_with(given)
    surveyor = Surveyor(job.folder, given["page"])
    path = recording_from(job, "plane", "plane", given, surveyor)
    recording, stream = load_stream(path, accept_broken_seal=given["accept_broken_seal"])
    for problem in recording.problems:
        say(f"{path.name}: {problem}")
    fix, checks = measure_plane(job, recording, stream, along_eaves=eaves)
    store_plane(job, name, fix, recording, size_kwp)
    document = {
        "name": name,
        "tilt_deg": fix.tilt_deg,
        "azimuth_deg": fix.azimuth_deg,
        "tilt_error_deg": fix.tilt_error_deg,
        "azimuth_error_deg": fix.azimuth_error_deg,
        "figures": fix.figures,
        "quality": [check.as_dict() for check in checks],
    }
    if given["json_file"]:
        write_json(given["json_file"], document)
    words = (
        f"{name}: tilt {fix.tilt_deg:.1f}° ± {NORMAL_95 * fix.tilt_error_deg:.1f}°, "
        f"azimuth {fix.azimuth_deg:.1f}° ± {NORMAL_95 * fix.azimuth_error_deg:.1f}° (95 %)"
    )
    surveyor.note(words)
    if given["json_file"] != "-":
        tell(words)
    leave_by_checks(checks, f"horizon-logger sweep {as_argument(given['job'])} POINT")
