"""What was once left out of the figures, on the shipped yard: what is printed now, and the truth.

python benchmarks/left_out.py      (typical years that pvlib ships; about a minute)
"""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pvlib

from logger.access import AccessResult, Interval, Plane, SiteYear, Weather, read_weather
from logger.access.light import clear_sky
from logger.access.weather import MINUTES_A_YEAR
from logger.horizon import HorizonProfile
from logger.job import read_job
from logger.settings import Settings
from logger.site import Site
from logger.sun import sun_year
from logger.survey.demo import shipped_survey
from logger.survey.points import point_result
from logger.survey.recipe import recipe_of

EXACT = Settings(draws=0)
SHIPPED = ("723170TYA.CSV", "12839.tm2", "703165TY.csv")


def clear_year(site: Site, turbidity: float) -> Weather:
    """A cloudless year of one turbidity, minute by minute of UTC."""
    sun = sun_year(site, 2026)
    (light,) = clear_sky(sun, turbidity)
    new_year = np.datetime64("2026-01-01", "m").astype(int)
    columns = np.zeros((3, MINUTES_A_YEAR))
    lit = light.ghi_wm2, light.dni_wm2, light.dhi_wm2
    columns[:, (sun.minute - new_year) % MINUTES_A_YEAR] = lit
    return Weather(*columns, step_min=1, source="clear")


def told(what: str, found: Interval, truth: float) -> None:
    """One row."""
    inside = "inside" if found.low <= truth <= found.high else "OUTSIDE"
    print(f"{what:58s} {100 * found.value:5.1f} ({100 * found.low:.1f} to {100 * found.high:.1f})"
          f"   truth {100 * truth:5.1f}  {inside}", flush=True)  # fmt: skip


def year(result: AccessResult, month: int = 12) -> Interval:
    """A month's or the year's access with its whole interval."""
    share = result.planes[0].solar_access
    return Interval(*(float(x[month]) for x in (share.value, share.low, share.high)))


def main() -> None:
    """All rows."""
    job = read_job(shipped_survey())
    profile = point_result(job, "yard", recipe_of(job)).horizon.profile
    solid = profile.with_obstructions([])
    planes = [Plane("south", 35.0, 180.0)]
    for name in SHIPPED:
        weather = read_weather(Path(pvlib.__file__).parent / "data" / name)
        site = weather.place
        unknown = SiteYear(site, planes).assess(profile)
        known = SiteYear(site, planes, EXACT, weather).assess(profile)
        told(f"no weather, {name}: year", year(unknown), year(known).value)
        told("  December", year(unknown, 11), year(known, 11).value)
        told("  total solar resource fraction", *(
            f(r.planes[0].total_solar_resource_fraction)
            for r, f in ((unknown, lambda x: x), (known, lambda x: x.value))
        ))  # fmt: skip
    unknown = SiteYear(job.site, planes).assess(solid)
    for turbidity in (2.0, 5.0):
        clear = SiteYear(job.site, planes, EXACT, clear_year(job.site, turbidity)).assess(solid)
        told(f"no weather, in truth clear with turbidity {turbidity:g}", year(unknown),
             year(clear).value)  # fmt: skip
    drawn = SiteYear(job.site, planes)
    leafy, hard = drawn.assess(profile), drawn.assess(solid)
    for month, name in ((11, "December"), (12, "year")):
        print(f"lime trees solid, {name}: {100 * year(hard, month).value:.1f}; by season "
              f"{100 * year(leafy, month).value:.1f}")  # fmt: skip
    raised(job.site, planes, solid)


def raised(site: Site, planes: list[Plane], profile: HorizonProfile) -> None:
    """A module 3 m above the sight, distances not known."""
    weather = clear_year(site, 3.0)
    drawn, exact = (SiteYear(site, planes, s, weather) for s in (Settings(), EXACT))
    above = replace(profile, rise_m=-3.0)
    found = drawn.assess(above)
    for metres in (10.0, 15.0):
        there = replace(above, distance_m=np.full(len(above), metres))
        truth = exact.assess(there).planes[0].solar_access.annual
        told(f"module 3 m above the sight, in truth all {metres:g} m away", year(found), truth)


if __name__ == "__main__":
    main()
