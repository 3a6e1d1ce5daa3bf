"""``horizon-logger declination``: magnetic declination, dip and strength of a place and day."""

from __future__ import annotations

import datetime as dt

import click

from logger.cli.options import json_option, leave_by_checks, site_options, tell, write_json


@click.command()
@site_options(required=True)
@click.option(
    "--date",
    "day",
    type=click.DateTime(["%Y-%m-%d"]),
    help="Day, YYYY-MM-DD.  [default: today]",
)
@json_option
def command(
    latitude_deg: float,
    longitude_deg: float,
    altitude_m: float,
    day: dt.datetime | None,
    json_file: str | None,
) -> None:
    """Magnetic declination at a place, by the World Magnetic Model.

    True azimuth = magnetic azimuth + declination, east positive.
    """
    from logger.checks import NORMAL_95, Check
    from logger.errors import UsageError
    from logger.geomagnetism import decimal_year, field_at_year
    from logger.site import Site

    if not -1000 <= altitude_m <= 100_000:
        raise UsageError(f"elevation {altitude_m:g} is outside -1000 to 100000 m")
    date = (day or dt.datetime.now(dt.UTC)).date()
    # The model reaches far higher than any site: its height goes beside the site, not in it.
    field = field_at_year(
        Site(latitude_deg, longitude_deg), decimal_year(date), date, altitude_m / 1000
    )
    if json_file:
        write_json(
            json_file,
            {
                "declination_deg": field.declination_deg,
                "inclination_deg": field.inclination_deg,
                "field_ut": field.field_ut,
                "standard_error_deg": field.standard_error_deg,
                "model": field.model,
                "date": date.isoformat(),
            },
        )
    if json_file != "-":
        side = "east" if field.declination_deg >= 0 else "west"
        tell(
            f"declination {abs(field.declination_deg):.2f}° {side} "
            f"(± {NORMAL_95 * field.standard_error_deg:.2f}°, 95 %)\n"
            f"dip {field.inclination_deg:.2f}°, strength {field.field_ut:.2f} µT\n"
            f"{field.model}, {date.isoformat()}"
        )
    leave_by_checks(
        [
            Check(
                "compass usable here",
                not field.compass_unreliable,
                field.horizontal_ut,
                6.0,
                "µT",
                field.compass_unreliable or "the horizontal field is strong enough",
            )
        ]
    )
