"""``horizon-logger terrain``: the far horizon from elevation data, and north from the ridge."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from logger.cli.options import give, json_option, leave_by_checks, say
from logger.cli.parameters import FILE, JOB, ExistingPoint, Number

if TYPE_CHECKING:
    from collections.abc import Iterator

    from logger.job import Job
    from logger.survey.terrain import PointTerrain


@click.command()
@JOB
@click.argument("points", type=ExistingPoint(), nargs=-1, metavar="[POINT]...")
@click.option(
    "--tiles",
    "folder",
    type=FILE,
    required=True,
    help="Folder of elevation tiles: .hgt (also .hgt.zip) or GeoTIFF in latitude and longitude.",
)
@click.option(
    "--vertical-error",
    "vertical_error_m",
    type=Number(0.1, 100.0),
    help="Standard error of the tiles' heights, metres.  [default: 9.7, which is 16 m at 90 %]",
)
@click.option("--licence", default="", help="Who holds the rights to the tiles, for the report.")
@click.option(
    "--believe",
    type=click.Choice(["terrain", "compass"]),
    help="Say which is right where the ridge contradicts the compass.",
)
@json_option
def command(
    job: Job,
    points: tuple[str, ...],
    folder: Path,
    vertical_error_m: float | None,
    licence: str,
    believe: str | None,
    json_file: str | None,
) -> None:
    """Compute what stands from 500 m to 150 km around the points of JOB, and fit sweeps to it.

    Nothing is fetched. Where a sweep shows the far ridge, turning it until it fits gives true north
    without a magnet: it is stored as a bearing, unless it contradicts the compass.
    """
    from logger.errors import as_argument
    from logger.outputs import write_in_job
    from logger.report.charts import drawn
    from logger.report.terrain_chart import terrain_chart
    from logger.survey.terrain import keep_terrain, work_out
    from logger.survey.terrain_store import terrain_path

    answer = work_out(
        job,
        folder,
        points=points,
        vertical_error_m=vertical_error_m,
        licence=licence,
        believe=believe,
    )
    keep_terrain(job, answer)
    for one in answer.points:
        picture = terrain_path(job, one.point).with_suffix(".png")
        write_in_job(job.folder, picture, drawn(terrain_chart(one), "png"))
    forms = sorted({source.form for source in answer.sources})
    give(
        json_file,
        {"points": [answer.document(one) for one in answer.points]},
        f"{len(answer.sources)} tiles read ({', '.join(forms)}); "
        f"rights: {answer.licence or 'nobody told, give --licence'}",
        f"heights good to {answer.vertical_error_m:.1f} m, 1 sigma "
        f"({answer.vertical_error_source})",
        *("\n".join(_told(one)) for one in answer.points),
    )
    say("The far horizon is a computation, not a sweep: what stands within 500 m is not in it.")
    leave_by_checks(answer.checks, f"horizon-logger compare {as_argument(job.folder)}")


def _told(one: PointTerrain) -> Iterator[str]:
    """What a point's far horizon is, and what came of each sweep."""
    import numpy as np

    from logger.places import direction

    far = one.far
    known = np.isfinite(far.elevation_deg)
    if not known.any():
        yield f"{one.point}: no tile tells anything of its far horizon"
        return
    k = int(np.nanargmax(far.elevation_deg))
    azimuth = float(far.azimuth_deg[k])
    yield (
        f"{one.point}: far horizon from {np.nanmin(far.elevation_deg):.1f} to "
        f"{far.elevation_deg[k]:.1f}°, highest at {azimuth:.0f}° ({direction(azimuth)}), "
        f"{far.distance_m[k] / 1000:.1f} km away; eye {far.eye_m:.0f} m above the sea"
    )
    if not far.whole.all():
        share, nearest = float((~far.whole).mean()), float(np.min(far.gap_m))
        yield (
            f"  over {360 * share:.0f}° of azimuth tiles are missing or void, from "
            f"{nearest / 1000:.1f} km on: higher ground may stand there"
        )
    for ridge in one.ridges:
        yield f"  {ridge.recording}: {ridge.said}"
    for why in one.unused:
        yield f"  left out: {why}"
