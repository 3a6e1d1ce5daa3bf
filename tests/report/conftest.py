"""A surveyed point made once, and reports of points that differ from it as a test asks."""

from __future__ import annotations

import datetime as dt
import shutil
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from logger.access import AccessResult, Plane, SiteYear
from logger.checks import Check
from logger.horizon import HorizonProfile, Obstruction
from logger.job import read_job
from logger.report.content import Beside, Report, beside_of
from logger.settings import Settings
from logger.site import Site
from logger.survey.array import arrays_of
from logger.survey.demo import ROOF as ROOF_JOB
from logger.survey.demo import shipped_survey
from logger.survey.points import point_result
from logger.survey.recipe import Recipe, recipe_of
from logger.survey.result import PointResult

SITE = Site(46.05, 14.51, 310.0)
ROOF, WALL = Plane("roof", 35.0, 180.0), Plane("east wall", 90.0, 95.0)
FEW = Settings(draws=40)


def profile_of(south_deg: float = 15.0, gap: bool = False) -> HorizonProfile:
    """A barn in the south, higher or lower, a lime tree beside it, and perhaps a gap there."""
    azimuth = np.arange(0.0, 360.0, 1.0)
    elevation = np.where((azimuth >= 150) & (azimuth < 200), south_deg, 2.0)
    elevation = np.where((azimuth >= 200) & (azimuth < 220), 0.9 * south_deg, elevation)
    if gap:
        elevation = np.where((azimuth > 150) & (azimuth < 220), np.nan, elevation)
    names = (Obstruction("=barn", 150, 200, "building", 12.5), Obstruction("lime", 200, 220))
    return HorizonProfile(azimuth, elevation, np.full(360, 0.4), obstructions=names)


@pytest.fixture(scope="session")
def year() -> SiteYear:
    return SiteYear(SITE, [ROOF, WALL], FEW)


@pytest.fixture(scope="session")
def access_of(year) -> Callable[..., AccessResult]:
    def of(south_deg: float = 15.0, gap: bool = False) -> AccessResult:
        return year.assess(profile_of(south_deg, gap))

    return of


@pytest.fixture(scope="session")
def job_folder(tmp_path_factory) -> Path:
    """The shipped survey, its yard alone swept."""
    folder = tmp_path_factory.mktemp("jobs") / "alders"
    shutil.copytree(shipped_survey(), folder)
    for point in ("meadow", "walled garden"):
        shutil.rmtree(folder / "sweeps" / point)
    return folder


@pytest.fixture(scope="session")
def recipe(job_folder) -> Recipe:
    return replace(recipe_of(read_job(job_folder)), settings=FEW)


@pytest.fixture(scope="session")
def surveyed(job_folder, recipe) -> tuple[PointResult, Beside]:
    job = read_job(job_folder)
    result = point_result(job, "yard", recipe)
    return result, beside_of(job, result)


@pytest.fixture(scope="session")
def point_of(surveyed, access_of) -> Callable[..., PointResult]:
    def of(name: str, south_deg: float = 15.0, gap: bool = False, **more: Any) -> PointResult:
        horizon = replace(surveyed[0].horizon, profile=profile_of(south_deg, gap))
        access = access_of(south_deg, gap)
        return replace(surveyed[0], name=name, horizon=horizon, access=access, **more)

    return of


@pytest.fixture(scope="session")
def report_of(job_folder, recipe, surveyed) -> Callable[..., Report]:
    def of(*points: PointResult, people: dict[str, str] | None = None, **more: Any) -> Report:
        found = points or (surveyed[0],)
        job = replace(read_job(job_folder), people=people or {})
        beside = {point.name: surveyed[1] for point in found}
        report = Report(job, recipe, found, beside, dt.date(2026, 5, 20))
        return replace(report, **more)

    return of


@pytest.fixture(scope="session")
def roof() -> Report:
    """The shipped roof: an array with an outline, positions in the recordings alone."""
    job = read_job(shipped_survey(ROOF_JOB))
    recipe = replace(recipe_of(job), settings=FEW)
    points = tuple(point_result(job, name, recipe) for name in ("west eave", "east ridge"))
    beside = {point.name: beside_of(job, point) for point in points}
    arrays = arrays_of(job, recipe, points)
    return Report(job, recipe, points, beside, dt.date(2026, 5, 20), arrays=arrays)


FAILED = Check("passes agree", False, 1.4, 0.8, "deg", "sweep 280 to 300° again")
PASSED = Check("heading error", True, 0.5, 2.0, "deg", "well within")
NEAR = Check("samples used", True, 0.81, 0.8, "", "just enough")
