"""``horizon-logger assess``: solar access and loss of a horizon from a CSV file."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from logger.cli.options import give, json_option, leave_by_checks, recipe_options, site_options
from logger.cli.parameters import FILE, Number, Numbers

if TYPE_CHECKING:
    from logger.horizon import HorizonProfile
    from logger.survey.recipe import Overrides


def what_if(flag: str, metavar: str, example: str, meaning: str) -> Callable[[Any], Any]:
    """An option of what may be changed on the horizon; it may be given again."""
    return click.option(flag, multiple=True, type=Numbers(metavar, example), help=meaning)


def _kinds(*given: Any) -> list[tuple[str, tuple[str]]]:
    return [(name, (kind,)) for name, _, kind in (text.rpartition("=") for text in given[-1])]


@click.command()
@click.argument("horizon", type=FILE)
@site_options(required=True)
@click.option("--size", "size_kwp", type=float, help="Rated power of the plane in kWp.")
@recipe_options(of_a_file=True)
@click.option(
    "--heading-error",
    "heading_error_deg",
    type=Number(0.0, 180.0),
    help="Standard error in degrees that turns the whole horizon.",
)
@click.option(
    "--level-error",
    "level_error_deg",
    type=Number(0.0, 180.0),
    help="Standard error in degrees that lifts the whole horizon.",
)
@what_if(
    "--without",
    "NAME[=BEHIND]",
    "lime tree=8",
    "What if this obstruction were gone; elevation in degrees of what stands behind it.",
)
@what_if("--cut-to", "NAME=DEGREES", "lime tree=12", "What if it were cut to this elevation.")
@what_if(
    "--growing",
    "NAME=M_A_YEAR,YEARS[,DISTANCE]",
    "lime tree=0.3,10",
    "What if it grew, in metres a year.",
)
@click.option(
    "--kind",
    multiple=True,
    metavar="NAME=KIND",
    callback=_kinds,
    help="What if it were of this kind: a deciduous one lets light through by season.",
)
@what_if(
    "--building",
    "NAME=AZIMUTH,DISTANCE,HEIGHT,WIDTH[,DEPTH]",
    "shed=200,8,3,10",
    "What if this stood there; metres, height above the sight point.",
)
@click.option("--timezone", metavar="NAME", help="Of clock times, such as Europe/Ljubljana.")
@click.option("--least-access", type=float, help="Solar access asked for, 0 to 1.")
@click.option(
    "--least-resource", type=float, help="Total solar resource fraction asked for, 0 to 1."
)
@click.option(
    "--least-window", type=float, help="Clear share of the window asked for in the worst month."
)
@click.option("--best-plane", is_flag=True, help="Also find the best fixed plane here.")
@json_option
def command(
    horizon: Path,
    overrides: Overrides,
    timezone: str | None,
    best_plane: bool,
    json_file: str | None,
    **given: Any,
) -> None:
    """Work out solar access and loss under HORIZON, a CSV file.

    HORIZON has the columns azimuth_deg,elevation_deg and, where known, standard_error_deg,
    measured, obstruction and distance_m.
    """
    from logger.access import Rules
    from logger.files import plain
    from logger.horizon_csv import read_horizon_csv
    from logger.report.sentences import answer_text
    from logger.site import Site
    from logger.sun_range import spacing_check
    from logger.survey.recipe import recipe_at, year_of

    def told(*names: str) -> dict[str, Any]:
        return {name: given[name] for name in names if given[name] is not None}

    site = Site(**told("latitude_deg", "longitude_deg", "altitude_m"))
    errors = told("heading_error_deg", "level_error_deg")
    profile = replace(read_horizon_csv(horizon), **errors)
    recipe = recipe_at(site, overrides)
    recipe = replace(
        recipe,
        planes=(replace(recipe.planes[0], size_kwp=given["size_kwp"]),),
        rules=Rules(*(given[f"least_{what}"] for what in ("access", "resource", "window"))),
        timezone=timezone or "",
    )
    known = year_of(recipe)
    changed = _changed(profile, given)
    result = known.assess(changed)
    checks = (spacing_check(profile, site.latitude_deg), *result.checks)
    document = plain({**result.as_dict(), "quality": checks})
    if changes := changed.steps[len(profile.steps) :]:
        document["changes"] = list(changes)
        surveyed = plain(known.assess(profile).as_dict())["planes"]
        document["as_surveyed"] = [
            {name: plane[name] for name in ("name", "solar_access", "beam_access")}
            for plane in surveyed
        ]
    if best_plane:
        best = plain(known.best_under(changed))
        document["best_plane"] = best if result.sky.is_known else best | {"annual_kwh_per_m2": None}
    text = answer_text(replace(result, checks=checks))
    give(json_file, document, "\n\n".join([text, *_further(document)]))
    leave_by_checks(checks)


def _changed(profile: HorizonProfile, given: dict[str, Any]) -> HorizonProfile:
    """The horizon with every what-if applied, in the order of the help."""
    from logger.access import Box, added, cut, grown, of_kind, removed

    for option, change in (
        ("without", removed),
        ("cut_to", cut),
        ("growing", grown),
        ("kind", of_kind),
        ("building", lambda profile, *box: added(profile, Box(*box))),
    ):
        for name, what in given[option]:
            profile = change(profile, name, *what)
    return profile


def _further(document: dict[str, Any]) -> list[str]:
    """Lines on what was asked beyond access: rules, electricity, best plane, before and after."""
    lines = [f"what if: {change}" for change in document.get("changes", ())]
    for plane in document["planes"]:
        energy = plane.get("energy")
        if energy:
            lines.append(
                f"{energy['size_kwp']:g} kWp: {energy['annual_kwh']:.0f} kWh a year, "
                f"{energy['specific_yield_kwh_per_kwp']:.0f} kWh/kWp, "
                f"{plane['loss']['annual_kwh']:.0f} kWh lost to shade "
                f"({energy['assumptions']['note']})"
            )
        lines += [
            f"{rule['rule']} at least {100 * rule['limit']:g} %: {rule['verdict']} "
            f"({_interval(rule)})"
            for rule in plane.get("rules") or ()
        ]
    for plane in document.get("as_surveyed") or ():
        lines.append(f"as surveyed: solar access {_interval(plane['solar_access']['annual'])}")
    best = document.get("best_plane")
    if best:
        lines.append(
            f"best fixed plane under this horizon: tilt {best['tilt_deg']:.0f}°, "
            f"azimuth {best['azimuth_deg']:.0f}°"
            + (f", {light:.0f} kWh/m² a year" if (light := best["annual_kwh_per_m2"]) else "")
        )
    return ["\n".join(lines)] if lines else []


def _interval(share: dict[str, Any]) -> str:
    if share["value"] is None:
        return "–"
    return f"{100 * share['value']:.1f} %, {100 * share['low']:.1f} to {100 * share['high']:.1f} %"
