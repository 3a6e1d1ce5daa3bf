"""``horizon-logger new``: make a job folder."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from logger.cli.options import say, site_options
from logger.errors import as_argument

if TYPE_CHECKING:
    from logger.access import Plane


@click.command()
@click.argument("job", type=click.Path(path_type=Path))
@site_options(required=True)
@click.option("--name", default="", help="Of the site.  [default: the folder's name]")
@click.option("--timezone", default="", help="IANA name, such as Europe/Lisbon, for clock times.")
@click.option(
    "--plane",
    "planes",
    multiple=True,
    metavar="NAME=TILT,AZIMUTH",
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
    planes: tuple[str, ...],
    surveyor: str,
    client: str,
) -> None:
    """Make a folder JOB for the survey of one site."""
    from logger.job import create_job
    from logger.site import Site

    people = {k: v for k, v in (("surveyor", surveyor), ("client", client)) if v}
    made = create_job(
        job,
        Site(latitude_deg, longitude_deg, altitude_m),
        name=name,
        timezone=timezone,
        planes=tuple(parsed_plane(text) for text in planes),
        people=people,
    )
    click.echo(f"made {job / 'job.toml'}")
    where = as_argument(job)
    say(f"next, with the board connected: horizon-logger calibrate compass {where} --port URL")
    say(f"or be led through all of it on a terminal: horizon-logger sweep {where} POINT --port URL")
    if not made.planes:
        from logger.survey.pipeline import default_plane

        plane = default_plane(made.site)
        say(
            f"the job has no plane: points are judged by one of {plane.tilt_deg:g}° tilt facing "
            f"{plane.azimuth_deg:g}°; add yours to job.toml"
        )


def parsed_plane(text: str) -> Plane:
    """A plane from NAME=TILT,AZIMUTH."""
    from logger.access import Plane

    name, _, numbers = text.partition("=")
    tilt, _, azimuth = numbers.partition(",")
    try:
        return Plane(name.strip(), float(tilt), float(azimuth))
    except ValueError as error:
        raise click.BadParameter(
            f"{text!r} is not NAME=TILT,AZIMUTH, such as roof=35,170", param_hint="--plane"
        ) from error
