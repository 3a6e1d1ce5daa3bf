"""Whether weather is sound, and the weather of the site."""

from __future__ import annotations

import numpy as np

from logger.access.light import Light
from logger.access.weather import Weather
from logger.arrays import Bools, Floats, Ints
from logger.checks import Check
from logger.site import Site, distance_km
from logger.sun import SunYear

FAR_KM = 50.0
"""Weather from further away is not the site's (common practice, no source). [km]"""
HIGHER_M = 300.0
"""Nor is weather from so much higher or lower: air, cloud and fog are others (common practice, no
source). [m]"""

COMPLETE = 0.98
"""Share of the sun's time that must have irradiance (common practice, no source)."""
DARK = 0.02
"""Share of the beam that may fall into hours without sun here (common practice, no source)."""
STEP_MIN = 20.0
"""How far the light's day may run from the sun's: typical years whose hours are right stay
within 5, and with a wrong time zone or hour they are 25 and more away (measured; see
docs/access.md). [min]"""
CLEARNESS = (0.25, 0.80)
"""Of the year, irradiation over that outside the air: what a place on Earth can have (common
practice, no source)."""
BALANCE = 0.10
"""By how much beam and diffuse may differ from global in the year (common practice, no source)."""

BEAM = 0.05
"""Share of the year's global irradiation that is beam, at least, however dull the place (common
practice, no source): a file made from global irradiation alone has none."""


CLEAR_DAYS = 1.2
"""Of a cloudless day's light, what the brightest day in twenty may have: in typical years of
fourteen places 0.86 to 1.17 (measured; see docs/access.md)."""


def weather_checks(
    weather: Weather, sun: SunYear, light: Light, cloudless: Light
) -> tuple[Check, ...]:
    """Hold weather, as it was spread over the site's minutes, against the site's sun."""
    row, _ = weather.rows_at(sun.minute)
    checks = [*_of_its_rows(weather, row), *_of_its_light(sun, light, row >= 0)]
    checks.append(_of_clear_days(sun, light, cloudless, row >= 0))
    if weather.place is not None:
        checks += _of_the_place(weather.place, sun.site)
    return tuple(checks)


def _of_its_rows(weather: Weather, row: Ints) -> list[Check]:
    held = float(np.mean(row >= 0))
    up = np.bincount(row[row >= 0], minlength=len(weather.dni_wm2)) > 0
    beam = np.nan_to_num(weather.dni_wm2)
    dark = float(beam[~up].sum() / max(beam.sum(), 1e-9))
    return [
        _check(
            "weather complete",
            held >= COMPLETE,
            100 * held,
            100 * COMPLETE,
            "%",
            f"{100 * held:.1f} % of the sun's time has irradiance",
            "take a file without gaps",
        ),
        _check(
            "weather's beam by day",
            dark <= DARK,
            100 * dark,
            100 * DARK,
            "%",
            f"{100 * dark:.1f} % of the weather's beam falls into hours without sun at this site",
            "see whether its times, its time zone and its place fit",
        ),
    ]


def _of_its_light(sun: SunYear, light: Light, known: Bools) -> list[Check]:
    height, ghi = sun.vectors[2], light.ghi_wm2
    outside = np.where(known, light.extraterrestrial_wm2 * height, 0.0)
    minutes_from_noon = (sun.solar_hour - 12.0) * 60.0
    apart = _mean(minutes_from_noon, ghi) - _mean(minutes_from_noon, outside)
    clearness = float(ghi.sum() / max(outside.sum(), 1e-9))
    beam = float((light.dni_wm2 * height).sum() / max(ghi.sum(), 1e-9))
    parts = beam + float(light.dhi_wm2.sum() / max(ghi.sum(), 1e-9)) - 1.0
    low, high = CLEARNESS
    return [
        _check(
            "weather in step with the sun",
            abs(apart) <= STEP_MIN,
            apart,
            STEP_MIN,
            "min",
            f"the light's day runs {abs(apart):.0f} min {'after' if apart > 0 else 'before'} the "
            "sun's",
            "see whether its hours, their order and its time zone fit",
        ),
        _check(
            "weather's year possible",
            low <= clearness <= high,
            100 * clearness,
            100 * (high if clearness > high else low),
            "%",
            f"over the year {100 * clearness:.1f} % of the light outside the air arrives",
            f"it must be {100 * low:.0f} to {100 * high:.0f} %: see whether irradiance is in W/m²",
        ),
        _check(
            "weather's parts add up",
            abs(parts) <= BALANCE,
            100 * abs(parts),
            100 * BALANCE,
            "%",
            f"beam and diffuse are {100 * abs(parts):.1f} % {'more' if parts > 0 else 'less'} than "
            "global irradiation over the year",
            "see whether its columns are those of one place and in W/m²",
        ),
        _check(
            "weather has a beam",
            beam >= BEAM,
            100 * beam,
            100 * BEAM,
            "%",
            f"over the year {100 * beam:.1f} % of global irradiation is beam",
            "see whether its columns of beam and diffuse hold what they are called",
        ),
    ]


def _of_clear_days(sun: SunYear, light: Light, cloudless: Light, known: Bools) -> Check:
    _, day = np.unique(sun.minute // (24 * 60), return_inverse=True)
    could = np.bincount(day, cloudless.ghi_wm2 * known)
    long = could > could.max() / 3  # a winter day of the north says little
    share = float(np.percentile(np.bincount(day, light.ghi_wm2)[long] / could[long], 95))
    return _check(
        "weather's clear days possible",
        share <= CLEAR_DAYS,
        100 * share,
        100 * CLEAR_DAYS,
        "%",
        f"the brightest day in twenty has {100 * share:.0f} % of a cloudless day's light",
        "see whether irradiance is in W/m² and the mean of its hour",
    )


def _mean(values: Floats, weight: Floats) -> float:
    return float((values * weight).sum() / max(float(weight.sum()), 1e-9))


def _of_the_place(place: Site, site: Site) -> list[Check]:
    far_km = distance_km(place, site)
    higher_m = place.altitude_m - site.altitude_m
    words = "higher" if higher_m > 0 else "lower"
    return [
        _check(
            "weather from near the site",
            far_km <= FAR_KM,
            far_km,
            FAR_KM,
            "km",
            f"the weather's place is {far_km:.0f} km from the site",
            "take a nearer file, or see that the places are right",
        ),
        _check(
            "weather from the site's height",
            abs(higher_m) <= HIGHER_M,
            abs(higher_m),
            HIGHER_M,
            "m",
            f"the weather's place, at {place.altitude_m:.0f} m, is {abs(higher_m):.0f} m {words} "
            "than the site",
            "take another file, or give the right --altitude",
        ),
    ]


def _check(
    name: str, passed: bool, value: float, limit: float, unit: str, found: str, remedy: str
) -> Check:
    return Check(
        name, passed, round(value, 1), limit, unit, found + ("" if passed else f"; {remedy}")
    )
