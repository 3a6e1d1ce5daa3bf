"""``horizon-logger declination``: magnetic declination, dip and strength of a place and day."""

from __future__ import annotations

import datetime as dt
from pathlib import Path

import click

from logger.cli.options import give, json_option, leave_by_checks, site_options
from logger.cli.parameters import DAY, FILE


@click.command()
@site_options(required=True)
@click.option("--date", "day", type=DAY, help="Day, YYYY-MM-DD.  [default: today]")
@click.option(
    "--model",
    "model_file",
    metavar="FILE",
    type=FILE,
    help="Coefficient file of a newer World Magnetic Model.  [default: the one built in]",
)
@json_option
def command(
    latitude_deg: float,
    longitude_deg: float,
    altitude_m: float,
    day: dt.datetime | None,
    model_file: Path | None,
    json_file: str | None,
) -> None:
    """Magnetic declination at a place, by the World Magnetic Model.

    True azimuth = magnetic azimuth + declination, east positive.
    """
    from logger.checks import NORMAL_95, Check
    from logger.errors import UsageError
    from logger.geomagnetism import FURTHEST_YEARS, geomagnetic_field, read_magnetic_model
    from logger.orientation.declination import model_years_check
    from logger.site import Site

    if not -1000 <= altitude_m <= 100_000:
        raise UsageError(f"altitude {altitude_m:g} is outside -1000 to 100000 m")
    date = (day or dt.datetime.now(dt.UTC)).date()
    model = read_magnetic_model(model_file) if model_file else None
    # The model reaches far higher than any site: its height goes beside the site, not in it.
    field = geomagnetic_field(Site(latitude_deg, longitude_deg), date, model, altitude_m / 1000)
    if field.years_beyond > FURTHEST_YEARS:
        raise UsageError(
            f"no magnetic model says anything of {date}, {field.years_beyond:.0f} years outside "
            f"{field.model}'s own",
            hint="a date of this decade",
        )
    figures = ("declination_deg", "inclination_deg", "field_ut", "standard_error_deg", "model")
    side = "east" if field.declination_deg >= 0 else "west"
    give(
        json_file,
        {name: getattr(field, name) for name in figures} | {"date": date.isoformat()},
        f"declination {abs(field.declination_deg):.2f}° {side} "
        f"(± {NORMAL_95 * field.standard_error_deg:.2f}°, 95 %)\n"
        f"dip {field.inclination_deg:.2f}°, strength {field.field_ut:.2f} µT\n"
        f"{field.model}, {date.isoformat()}",
    )
    unreliable = field.compass_unreliable
    why = unreliable or "the horizontal field is strong enough"
    strength = Check("compass usable here", not unreliable, field.horizontal_ut, 6.0, "µT", why)
    leave_by_checks([model_years_check(field, f"{field.model} for {date}"), strength])
