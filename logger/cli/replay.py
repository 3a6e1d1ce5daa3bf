"""``horizon-logger replay``: work a recording out again, with any setting changed."""

from __future__ import annotations

import datetime as dt
from pathlib import Path

import click

from logger.cli.options import (
    json_option,
    leave_by_gates,
    plane_options,
    say,
    site_options,
    write_json,
)


@click.command()
@click.argument("recording", type=click.Path(path_type=Path))
@click.option(
    "--job", type=click.Path(path_type=Path), help="Job whose site, planes and calibrations serve."
)
@site_options(required=False)
@plane_options(required=False)
@click.option(
    "--declination",
    "declination_deg",
    type=float,
    help="Degrees, east positive; instead of the model's.",
)
@click.option(
    "--date",
    "day",
    type=click.DateTime(["%Y-%m-%d"]),
    help="Of the sweep, where the recording does not tell.",
)
@click.option(
    "--rate", "rate_hz", type=float, help="Headings a second, for a plain log of NMEA sentences."
)
@click.option(
    "--weather",
    "weather_file",
    type=click.Path(path_type=Path),
    help="Typical year, EPW or TMY3.  [default: clear sky]",
)
@click.option("--year", default=2026, show_default=True, help="Of the sun's positions.")
@click.option(
    "--samples",
    "samples_file",
    type=click.Path(path_type=Path),
    help="Write every sample as a row of CSV.",
)
@click.option(
    "--pictures",
    "pictures_folder",
    type=click.Path(path_type=Path, file_okay=False),
    help="Write charts and tables into this folder.",
)
@click.option(
    "--accept-broken-seal",
    is_flag=True,
    help="Go on with a recording that was changed, and say so in the result.",
)
@json_option
def command(
    recording: Path,
    job: Path | None,
    latitude_deg: float | None,
    longitude_deg: float | None,
    elevation_m: float | None,
    tilt_deg: float | None,
    azimuth_deg: float | None,
    declination_deg: float | None,
    day: dt.datetime | None,
    rate_hz: float | None,
    weather_file: Path | None,
    year: int,
    samples_file: Path | None,
    pictures_folder: Path | None,
    accept_broken_seal: bool,
    json_file: str | None,
) -> None:
    """Work out RECORDING: horizon, solar access and loss.

    RECORDING is a *.sweep file, or a plain log of NMEA sentences with --rate.
    """
    from logger.access import AccessSettings, Plane, SiteYear, read_weather
    from logger.files import write_atomically
    from logger.job import read_job
    from logger.orientation import declination_given
    from logger.pipeline import SurveySettings, default_plane, site_of, survey_point
    from logger.survey import load_sweep, point_result, site_year

    if (tilt_deg is None) != (azimuth_deg is None):
        raise click.UsageError("--tilt and --azimuth describe one plane: give both or neither")
    if (latitude_deg is None) != (longitude_deg is None):
        raise click.UsageError("give both --latitude and --longitude, or neither")
    planes = (
        (Plane("plane", tilt_deg, azimuth_deg),)
        if tilt_deg is not None and azimuth_deg is not None
        else ()
    )
    settings = SurveySettings(
        declination=None if declination_deg is None else declination_given(declination_deg),
        date=day.date() if day else None,
    )
    sky = AccessSettings(year=year)
    survey = read_job(job) if job else None
    sweep = load_sweep(recording, rate_hz=rate_hz, accept_broken_seal=accept_broken_seal)
    for problem in sweep.recording.problems:
        say(f"{recording}: {problem}")
    site = site_of(
        sweep.recording, survey.site if survey else None, latitude_deg, longitude_deg, elevation_m
    )
    point = sweep.recording.text("point") or recording.stem
    weather = read_weather(weather_file, site) if weather_file else None
    if survey:
        sun = site_year(survey, sky, site=site, planes=planes, weather=weather)
        result = point_result(survey, point, sun, settings, sweeps=(sweep,))
    else:
        sun = SiteYear(site, planes or (default_plane(site),), sky, weather)
        result = survey_point(point, [sweep], sun, settings)
    document = result.as_dict()
    if samples_file:
        from logger.report.samples import samples_csv

        write_atomically(samples_file, samples_csv(result.horizon.sight))
    if pictures_folder:
        from logger.report.folder import write_point

        for path in write_point(pictures_folder, document, result.horizon.profile, result.site):
            say(f"wrote {path}")
    if json_file:
        write_json(json_file, document)
    if json_file != "-":
        from logger.report.answer import answer_text

        click.echo(answer_text(document))
    leave_by_gates(result.gates)
