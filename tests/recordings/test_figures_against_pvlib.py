"""Every figure of the shipped survey, reckoned again with pvlib alone, minute by minute of a year.

Under a cloudless year by pvlib's own model, for which both sides have the same light: what is held
is where the sun stands, what hides it, what reaches the plane, and every number that is told.
"""

from __future__ import annotations

import calendar
import csv
import io
import json
from dataclasses import replace
from pathlib import Path

import numpy as np
import pandas as pd
import pvlib
import pytest

from logger.access import Plane, SiteYear, Weather
from logger.access.weather_files import read_weather
from logger.files import plain
from logger.job import point_names, read_job
from logger.report import files, survey_csv
from logger.report.sentences import answer_text
from logger.settings import Settings
from logger.survey.demo import shipped_survey
from logger.survey.points import point_result
from logger.survey.recipe import recipe_of

JOB = read_job(shipped_survey())
RECIPE = recipe_of(JOB)
MONTHS = (*calendar.month_abbr[1:], "year")
DISC_DEG = 0.2665  # radius of the sun's disc
SAME = 0.001  # a tenth of a point


@pytest.fixture(scope="module")
def sky() -> dict[str, np.ndarray]:
    """Month of local mean solar time, sun and clear-sky light, every minute of the year."""
    times = pd.date_range("2026-01-01", "2026-12-31 23:59", freq="min", tz="UTC")
    place = pvlib.location.Location(
        JOB.site.latitude_deg, JOB.site.longitude_deg, altitude=JOB.site.altitude_m
    )
    sun = place.get_solarposition(times)
    light = place.get_clearsky(times, model="ineichen", solar_position=sun)
    local = times + pd.Timedelta(hours=JOB.site.longitude_deg / 15)
    columns = {name: light[name].to_numpy() for name in ("ghi", "dni", "dhi")}
    return columns | {
        "month": local.month.to_numpy() - 1,
        "zenith": sun["apparent_zenith"].to_numpy(),
        "azimuth": sun["azimuth"].to_numpy(),
        "extra": pvlib.irradiance.get_extra_radiation(times).to_numpy(),
    }


@pytest.fixture(scope="module")
def points(sky) -> list:
    """The survey's points under that sky, their trees taken as solid."""
    weather = Weather(sky["ghi"], sky["dni"], sky["dhi"], 1)
    year = SiteYear(JOB.site, RECIPE.planes, Settings(draws=0), weather)

    def under_it(name: str):
        found = point_result(JOB, name, RECIPE)
        profile = found.horizon.profile.with_obstructions([])
        horizon = replace(found.horizon, profile=profile)
        return replace(found, horizon=horizon, access=year.assess(profile))

    return [under_it(name) for name in point_names(JOB)]


def disc_above(degrees: np.ndarray) -> np.ndarray:
    """Share of a disc above a line so far below its middle: the area of a circle's segment."""
    half_angle = np.arccos(-np.clip(degrees / DISC_DEG, -1, 1))
    return (half_angle - np.sin(half_angle) * np.cos(half_angle)) / np.pi


def view_of_sky(plane, profile) -> float:
    """Sky view factor of a plane over a skyline: the sky summed in cells of a quarter degree."""
    azimuth, elevation = np.arange(0.125, 360, 0.25), np.arange(0.125, 90, 0.25)
    a, e = np.radians(azimuth)[:, None], np.radians(elevation)
    tilt, facing = np.radians(plane.tilt_deg), np.radians(plane.azimuth_deg)
    cosine = np.sin(e) * np.cos(tilt) + np.cos(e) * np.sin(tilt) * np.cos(a - facing)
    seen = elevation > np.maximum(profile.elevation_at(azimuth), 0.0)[:, None]
    cell = np.cos(e) * np.radians(0.25) ** 2
    return float((np.maximum(cosine, 0) * cell * seen).sum() / np.pi)


def by_pvlib(sky, plane, profile) -> dict[str, np.ndarray]:
    """Solar and beam access, months and year, and the plane's open irradiation. [kWh/m2]"""
    angles = plane.tilt_deg, plane.azimuth_deg
    sun = sky["zenith"], sky["azimuth"]
    beam = sky["dni"] * np.maximum(pvlib.irradiance.aoi_projection(*angles, *sun), 0)
    parts = pvlib.irradiance.haydavies(
        *angles, sky["dhi"], sky["dni"], sky["extra"], *sun, return_components=True
    )
    ground = pvlib.irradiance.get_ground_diffuse(plane.tilt_deg, sky["ghi"], albedo=0.2)
    height = 90 - sky["zenith"]
    skyline = np.maximum(profile.elevation_at(sky["azimuth"]), 0.0)
    level, seen = disc_above(height), disc_above(height - skyline)
    share = view_of_sky(plane, profile) / ((1 + np.cos(np.radians(plane.tilt_deg))) / 2)

    def months(watts: np.ndarray) -> np.ndarray:
        sums = np.bincount(sky["month"], np.nan_to_num(watts), minlength=12)
        return np.append(sums, sums.sum()) / 60_000

    # Before 0.15 their names were without poa_.
    circumsolar, isotropic = (
        parts[name] if (name := f"poa_{kind}") in parts else parts[kind]
        for kind in ("circumsolar", "isotropic")
    )
    sunward = beam + circumsolar
    whole = months(sunward * level + isotropic + ground)
    return {
        "solar_access": months(sunward * seen + isotropic * share + ground) / whole,
        "beam_access": months(beam * seen) / months(beam * level),
        "kwh": whole,
    }


@pytest.fixture(scope="module")
def expected(sky, points) -> dict[tuple[str, str], dict[str, np.ndarray]]:
    """By point and plane."""
    return {
        (point.name, p.plane.name): by_pvlib(sky, p.plane, point.horizon.profile)
        for point in points
        for p in point.access.planes
    }


def told_by_json(points) -> dict:
    found = {}
    for point in points:
        for plane in json.loads(json.dumps(plain(point.as_dict())))["planes"]:
            for kind in ("solar_access", "beam_access"):
                shares = [*plane[kind]["monthly"], plane[kind]["annual"]]
                found[point.name, plane["name"], kind] = [share["value"] for share in shares]
    return found


def told_by_csv(points) -> dict:
    found: dict = {}
    for row in csv.DictReader(io.StringIO(survey_csv.results_csv(points))):
        for kind in ("solar_access", "beam_access"):
            told = found.setdefault((row["point"], row["plane"], kind), {})
            told[row["month"]] = float(row[kind])
    return {key: [told[month] for month in MONTHS] for key, told in found.items()}


def told_on_the_terminal(points) -> dict:
    found = {}
    for point in points:
        text = answer_text(point)
        for p in point.access.planes:
            table = text[text.index(f"{p.plane.name}: tilt") :].split("\n\n")[0]
            rows = {line.split()[0]: line.split()[1:] for line in table.splitlines() if line}
            for kind, column in (("solar_access", 0), ("beam_access", 3)):
                shares = [float(rows[month][column]) / 100 for month in MONTHS]
                found[point.name, p.plane.name, kind] = shares
    return found


@pytest.mark.parametrize("told", [told_by_json, told_by_csv, told_on_the_terminal])
def test_every_access_that_is_told_is_what_pvlib_gives(points, expected, told) -> None:
    found = told(points)
    assert len(found) == 3 * 2 * 2
    for (point, plane, kind), shares in found.items():
        away = np.abs(np.array(shares) - expected[point, plane][kind])
        # On a terminal it is rounded to a tenth of a point besides.
        assert away.max() < SAME + 0.0005 * (told is told_on_the_terminal), (point, plane, kind)


def test_the_map_tells_the_year_that_pvlib_gives(points, expected) -> None:
    places = {point.name: (14.51, 46.05) for point in points}
    for feature in json.loads(files.points_geojson(points, places))["features"]:
        told = feature["properties"]
        for plane in told["planes"]:
            year = expected[told["name"], plane["name"]]["solar_access"][12]
            assert plane["solar_access"] == pytest.approx(year, abs=SAME)
            assert feature["geometry"]["coordinates"] == [14.51, 46.05]


def test_what_is_offered_and_lost_is_what_pvlib_gives(points, expected) -> None:
    rows = csv.DictReader(io.StringIO(survey_csv.results_csv(points)))
    lost = {(r["point"], r["plane"], r["month"]): float(r["loss_kwh_per_m2"]) for r in rows}
    for point in points:
        for p in point.access.planes:
            of = expected[point.name, p.plane.name]
            assert p.unshaded_kwh_m2 == pytest.approx(of["kwh"][:12], rel=0.002)
            for k, month in enumerate(MONTHS):
                loss = of["kwh"][k] * (1 - of["solar_access"][k])
                found = lost[point.name, p.plane.name, month]
                assert found == pytest.approx(loss, abs=SAME * of["kwh"][k] + 0.05)


def test_a_year_in_north_carolina_is_as_sunny_as_is_published() -> None:
    """kWh/m2 of one place and plane from outside: a plane that faces south, tilted by its latitude.

    NREL's national solar photovoltaics data of high resolution (satellite model of Perez and others
    2002, averages of 1998 to 2005) gives North Carolina 4.37 to 5.15 kWh/m2 a day, 4.88 on average;
    the typical year is Greensboro's, in the middle of it, as pvlib ships it.
    """
    weather = read_weather(Path(pvlib.__file__).parent / "data" / "723170TYA.CSV")
    plane = Plane("south", weather.place.latitude_deg, 180.0)
    year = SiteYear(weather.place, [plane], Settings(draws=0), weather)
    a_day = year.planes[0].monthly_kwh_m2.sum() / 365
    assert 4.37 < a_day < 5.15
    assert a_day == pytest.approx(4.88, rel=0.05)
