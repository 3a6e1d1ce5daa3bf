"""``horizon-logger new``: make a job folder."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING

import click

from logger.cli.options import say, site_options, tell
from logger.cli.parameters import JOB_FOLDER, Numbers
from logger.errors import as_argument

if TYPE_CHECKING:
    from logger.job import Job


@click.command()
@JOB_FOLDER
@site_options(required=True)
@click.option("--name", default="", help="Of the site.  [default: the folder's name]")
@click.option("--timezone", default="", help="IANA name, such as Europe/Lisbon, for clock times.")
@click.option(
    "--plane",
    "planes",
    multiple=True,
    type=Numbers("NAME=TILT,AZIMUTH", "roof=35,170"),
    help="A plane of the array; may be given any number of times.",
)
@click.option("--surveyor", default="", help="Who surveys, for the report.")
@click.option("--client", default="", help="For whom, for the report.")
def command(
    job: Path,
    latitude_deg: float,
    longitude_deg: float,
    altitude_m: float,
    name: str,
    timezone: str,
    planes: tuple[tuple[str, tuple[float, float]], ...],
    surveyor: str,
    client: str,
) -> None:
    """Make a folder JOB for the survey of one site."""
    from logger.access import Plane
    from logger.job import create_job
    from logger.places import doubt
    from logger.site import Site

    people = {k: v for k, v in (("surveyor", surveyor), ("client", client)) if v}
    site = Site(latitude_deg, longitude_deg, altitude_m)
    made = create_job(
        job,
        site,
        name=name,
        timezone=timezone,
        planes=tuple(Plane(plane, *angles) for plane, angles in planes),
        people=people,
    )
    tell(f"made {job / 'job.toml'}")
    tell("\n".join(_told(made)))
    if why := doubt(site, timezone):
        say(f"doubt: {why} Put it right under [site] in job.toml.")
    say(f"next: horizon-logger calibrate compass {as_argument(job)} --port URL")


def _told(job: Job) -> Iterator[str]:
    """What follows from the place: hemisphere, declination, and where the plane faces."""
    from logger.geomagnetism import geomagnetic_field
    from logger.orientation import model_years_check
    from logger.places import direction, place_words
    from logger.survey.recipe import default_plane

    site, today = job.site, dt.datetime.now(dt.UTC).date()
    half = "on the equator" if site.latitude_deg == 0 else (
        f"{'northern' if site.latitude_deg > 0 else 'southern'} hemisphere")  # fmt: skip
    yield f"place: {place_words(site)}, {site.altitude_m:g} m above the sea, {half}"
    field = geomagnetic_field(site, today)
    side = "east" if field.declination_deg >= 0 else "west"
    yield f"declination: {abs(field.declination_deg):.1f}° {side} ({field.model}, {today})"
    if field.years_beyond:
        yield model_years_check(field, f"{field.model} for {today}").why
    for plane in job.planes or (default_plane(site),):
        tilt = f"tilt {plane.tilt_deg:g}°, facing {direction(plane.azimuth_deg)}"
        what = plane.name if job.planes else "no plane is given, so one stands in with"
        yield f"plane: {what}{',' if job.planes else ''} {tilt} ({plane.azimuth_deg:g}°)"
