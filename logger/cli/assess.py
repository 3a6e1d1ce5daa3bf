"""``horizon-logger assess``: solar access and loss of a horizon from a CSV file."""

from __future__ import annotations

from pathlib import Path

import click

from logger.cli.options import json_option, plane_options, site_options, write_json


@click.command()
@click.argument("horizon", type=click.Path(path_type=Path))
@site_options(required=True)
@plane_options(required=True)
@click.option(
    "--weather",
    "weather_file",
    type=click.Path(path_type=Path),
    help="Typical year, EPW or TMY3.  [default: clear sky]",
)
@click.option("--year", default=2026, show_default=True, help="Of the sun's positions.")
@click.option(
    "--model",
    type=click.Choice(["all components", "beam-only"]),
    default="all components",
    show_default=True,
    help="What a skyline blocks: all light, or the beam alone as some papers have it.",
)
@json_option
def command(
    horizon: Path,
    latitude_deg: float,
    longitude_deg: float,
    elevation_m: float,
    tilt_deg: float,
    azimuth_deg: float,
    weather_file: Path | None,
    year: int,
    model: str,
    json_file: str | None,
) -> None:
    """Work out solar access and loss under HORIZON, a CSV file.

    HORIZON has the columns azimuth_deg,elevation_deg and, where known, standard_error_deg,
    measured, obstruction and distance_m.
    """
    from logger.access import AccessSettings, Plane, assess, read_weather
    from logger.horizon_csv import read_horizon_csv
    from logger.site import Site

    site = Site(latitude_deg, longitude_deg, elevation_m)
    profile = read_horizon_csv(horizon)
    result = assess(
        profile,
        site,
        [Plane("plane", tilt_deg, azimuth_deg)],
        AccessSettings(year=year, model=model),
        None if weather_file is None else read_weather(weather_file, site),
    )
    document = result.as_dict()
    if json_file:
        write_json(json_file, document)
    if json_file != "-":
        from logger.report.answer import answer_text

        click.echo(answer_text(document))
