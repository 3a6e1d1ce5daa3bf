"""``horizon-logger assess``: solar access and loss of a horizon from a CSV file."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from logger.cli.options import (
    json_option,
    leave_by_checks,
    recipe_options,
    site_options,
    tell,
    write_json,
)

if TYPE_CHECKING:
    from logger.horizon import HorizonProfile
    from logger.survey.recipe import Overrides


class Numbers(click.ParamType):  # type: ignore[type-arg]
    """Numbers with commas between them."""

    name = "numbers"

    def __init__(self, *counts: int) -> None:
        self.counts = counts

    def convert(
        self, value: Any, param: click.Parameter | None, ctx: click.Context | None
    ) -> tuple[float, ...]:
        """Split at the commas."""
        try:
            numbers = tuple(float(part) for part in str(value).split(","))
        except ValueError:
            self.fail(f"{value!r} is no list of numbers", param, ctx)
        if len(numbers) not in self.counts:
            wanted = " or ".join(str(n) for n in self.counts)
            self.fail(f"{value!r} holds {len(numbers)} numbers, not {wanted}", param, ctx)
        return numbers


class Named(Numbers):
    """NAME, or NAME=NUMBERS."""

    name = "named"

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> Any:
        """Split at the last equals sign."""
        name, equals, numbers = str(value).rpartition("=")
        if not equals:
            if 0 in self.counts:
                return str(value), ()
            self.fail(f"{value!r} is not NAME=NUMBERS", param, ctx)
        if not name:
            self.fail(f"{value!r} has no name", param, ctx)
        return name, super().convert(numbers, param, ctx)


@click.command()
@click.argument("horizon", type=click.Path(path_type=Path))
@site_options(required=True)
@click.option("--size", "size_kwp", type=float, help="Rated power of the plane in kWp.")
@recipe_options(of_a_file=True)
@click.option(
    "--heading-error", type=float, help="Standard error in degrees that turns the whole horizon."
)
@click.option(
    "--level-error", type=float, help="Standard error in degrees that lifts the whole horizon."
)
@click.option(
    "--without",
    "felled",
    multiple=True,
    type=Named(0, 1),
    metavar="NAME[=BEHIND]",
    help="What if this obstruction were gone; elevation in degrees of what stands behind it.",
)
@click.option(
    "--cut-to",
    "lowered",
    multiple=True,
    type=Named(1),
    metavar="NAME=DEGREES",
    help="What if it were cut to this elevation.",
)
@click.option(
    "--growing",
    multiple=True,
    type=Named(2, 3),
    metavar="NAME=M_A_YEAR,YEARS[,DISTANCE]",
    help="What if it grew, in metres a year.",
)
@click.option(
    "--kind",
    "kinds",
    multiple=True,
    metavar="NAME=KIND",
    help="What if it were of this kind: a deciduous one lets light through by season.",
)
@click.option(
    "--building",
    "buildings",
    multiple=True,
    type=Named(4, 5),
    metavar="NAME=AZIMUTH,DISTANCE,HEIGHT,WIDTH[,DEPTH]",
    help="What if this stood there; metres, height above the sight point.",
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
    latitude_deg: float,
    longitude_deg: float,
    altitude_m: float,
    size_kwp: float | None,
    overrides: Overrides,
    heading_error: float | None,
    level_error: float | None,
    felled: Sequence[tuple[str, tuple[float, ...]]],
    lowered: Sequence[tuple[str, tuple[float, ...]]],
    growing: Sequence[tuple[str, tuple[float, ...]]],
    kinds: Sequence[str],
    buildings: Sequence[tuple[str, tuple[float, ...]]],
    timezone: str | None,
    least_access: float | None,
    least_resource: float | None,
    least_window: float | None,
    best_plane: bool,
    json_file: str | None,
) -> None:
    """Work out solar access and loss under HORIZON, a CSV file.

    HORIZON has the columns azimuth_deg,elevation_deg and, where known, standard_error_deg,
    measured, obstruction and distance_m.
    """
    from dataclasses import replace

    from logger.access import Rules
    from logger.horizon_csv import read_horizon_csv
    from logger.horizon_fit import spacing_check
    from logger.site import Site
    from logger.survey.recipe import recipe_at, year_of

    site = Site(latitude_deg, longitude_deg, altitude_m)
    profile = _with_errors(read_horizon_csv(horizon), heading_error, level_error)
    recipe = recipe_at(site, overrides)
    recipe = replace(
        recipe,
        planes=(replace(recipe.planes[0], size_kwp=size_kwp),),
        rules=Rules(least_access, least_resource, least_window),
        timezone=timezone or "",
    )
    known = year_of(recipe)
    changed = _changed(profile, felled, lowered, growing, kinds, buildings)
    result = known.assess(changed)
    checks = (spacing_check(profile, site.latitude_deg), *result.checks)
    document = {**result.as_dict(), "quality": [check.as_dict() for check in checks]}
    if changes := changed.steps[len(profile.steps) :]:
        document["changes"] = list(changes)
        surveyed = known.assess(profile).as_dict()["planes"]
        document["as_surveyed"] = [
            {"name": p["name"], "solar_access": p["solar_access"], "beam_access": p["beam_access"]}
            for p in surveyed
        ]
    if best_plane:
        best = known.best_under(changed)
        document["best_plane"] = {
            "tilt_deg": best.tilt_deg,
            "azimuth_deg": best.azimuth_deg,
            "annual_kwh_per_m2": best.irradiation_kwh_m2 if result.sky.is_known else None,
        }
    if json_file:
        write_json(json_file, document)
    if json_file != "-":
        from logger.report.sentences import answer_text

        told = answer_text(replace(result, checks=checks))
        tell("\n\n".join([told, *_further(document)]))
    leave_by_checks(checks)


def _with_errors(
    profile: HorizonProfile, heading_deg: float | None, level_deg: float | None
) -> HorizonProfile:
    """The file's errors, or those given instead."""
    from logger.errors import UsageError

    for value in (heading_deg, level_deg):
        if value is not None and not 0 <= value <= 180:
            raise UsageError(f"a standard error of {value:g} degrees is outside 0 to 180")
    if heading_deg is not None:
        profile = replace(profile, heading_error_deg=heading_deg)
    if level_deg is not None:
        profile = replace(profile, level_error_deg=level_deg)
    return profile


def _changed(
    profile: HorizonProfile,
    felled: Sequence[tuple[str, tuple[float, ...]]],
    lowered: Sequence[tuple[str, tuple[float, ...]]],
    growing: Sequence[tuple[str, tuple[float, ...]]],
    kinds: Sequence[str],
    buildings: Sequence[tuple[str, tuple[float, ...]]],
) -> HorizonProfile:
    """The horizon with every what-if applied, in the order of the help."""
    from logger.access import Box, added, cut, grown, of_kind, removed

    for name, numbers in felled:
        profile = removed(profile, name, *numbers)
    for name, numbers in lowered:
        profile = cut(profile, name, *numbers)
    for name, numbers in growing:
        profile = grown(profile, name, *numbers)
    for text in kinds:
        name, _, kind = text.rpartition("=")
        profile = of_kind(profile, name, kind)
    for name, numbers in buildings:
        profile = added(profile, Box(name, *numbers))
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
