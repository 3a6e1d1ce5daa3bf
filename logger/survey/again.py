"""A point of a job worked out again under changed settings, held against what is stored."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from logger.access import Plane, SiteYear, read_weather
from logger.errors import InputError
from logger.job import Job, read_json, result_path
from logger.orientation import Declination
from logger.settings import Settings
from logger.site import Site
from logger.survey.changes import Changes, changes_between
from logger.survey.pipeline import PointResult, SurveySettings, Sweep
from logger.survey.points import point_result, site_year
from logger.survey.settings import settings_with


@dataclass(frozen=True)
class Recipe:
    """How jobs are worked out; small enough to send to another process."""

    # Settings by name, as `logger.survey.settings.settings_with` takes them
    changes: tuple[tuple[str, str], ...] = ()
    declination: Declination | None = None  # Instead of the model's
    date: dt.date | None = None  # For the declination, where a recording does not tell
    planes: tuple[Plane, ...] = ()  # Instead of the job's
    weather: Path | None = None  # A typical year; None is a clear sky

    def survey(self) -> SurveySettings:
        """The settings of the way to the horizon."""
        settings = settings_with(dict(self.changes))
        return SurveySettings(self.declination, self.date, settings.orientation, settings.horizon)

    def access(self) -> Settings:
        """The settings of the calculator."""
        return settings_with(dict(self.changes)).access


@dataclass(frozen=True, eq=False)
class Again:
    """A point's new answer beside its stored one."""

    result: PointResult
    document: Mapping[str, Any]  # The documented result
    changes: Changes | None  # Against the stored result; None where none is stored
    trouble: str = ""  # Why the stored result cannot be compared with; empty where it can

    def told(self) -> Mapping[str, Any]:
        """The document, with what changed if anything did."""
        if self.changes is None or self.changes.nothing:
            return self.document
        return {**self.document, "changes": self.changes.as_dict()}


@dataclass(frozen=True)
class _Asked:
    """What a year depends on."""

    site: Site
    planes: tuple[Plane, ...]
    timezone: str
    rules: str
    recipe: Recipe


def year_of(job: Job, recipe: Recipe, site: Site | None = None) -> SiteYear:
    """Sun, light and planes of a job, made once for all jobs of one site and the same settings."""
    rules = repr(job.rules)
    asked = _Asked(site or job.site, recipe.planes or job.planes, job.timezone, rules, recipe)
    if asked not in _LAST:
        # The old one first: two at a time would double the memory of every process.
        _LAST.clear()
        weather = read_weather(recipe.weather) if recipe.weather else None
        access = recipe.access()
        _LAST[asked] = site_year(job, access, site=asked.site, planes=asked.planes, weather=weather)
    return _LAST[asked]


# One is enough: jobs come in order, and a year holds a hundred megabytes.
_LAST: dict[_Asked, SiteYear] = {}


def point_again(
    job: Job,
    point: str,
    recipe: Recipe | None = None,
    *,
    site: Site | None = None,
    sweeps: Sequence[Sweep] = (),
) -> Again:
    """Work a point of a job out again."""
    recipe = recipe or Recipe()
    year = year_of(job, recipe, site)
    result = point_result(job, point, year, recipe.survey(), sweeps=sweeps)
    document = result.as_dict()
    try:
        return Again(result, document, changes_from_stored(job, point, document))
    except InputError as error:
        return Again(result, document, None, str(error))


def changes_from_stored(job: Job, point: str, document: Mapping[str, Any]) -> Changes | None:
    """What changed against ``results/<point>.json``; None where nothing is stored."""
    path = result_path(job, point)
    if not path.exists():
        return None
    return changes_between(read_json(path), document, str(path))
