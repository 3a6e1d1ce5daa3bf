"""What a job's points need the sun for: access, shade, the map of tilts, the sun's paths.

All of it rests on pvlib and on nothing of boards and recordings, so that a `Helper` can work it out
while this process reads the recordings.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Sequence
from concurrent.futures import Executor, Future, ThreadPoolExecutor
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path
from threading import Thread
from typing import Any, TypeVar
from zoneinfo import ZoneInfo

from logger.access import (
    AccessResult,
    Bounded,
    Plane,
    PlaneMap,
    SiteYear,
    Surroundings,
    Weather,
    read_weather,
)
from logger.access.shade import ShadeMap, shade_map
from logger.horizon import HorizonProfile
from logger.job import Job, read_job
from logger.settings import Settings
from logger.site import Site
from logger.sun_paths import SunPaths, sun_paths
from logger.survey.helper import ask_here

T = TypeVar("T")


@dataclass(frozen=True)
class Task:
    """What it takes to work a job out; small enough to send to another process."""

    folder: Path  # The job's
    year: int = 2026  # Of the sun's positions. [years]
    weather: Path | None = None  # A typical year; None is a clear sky

    @property
    def settings(self) -> Settings:
        """What is set before the job's own time zone and rules."""
        return Settings(year=self.year)


@lru_cache(maxsize=2)
def prepared(task: Task) -> tuple[Job, SiteYear]:
    """A job, and the sun and light that all of its points share."""
    job = read_job(task.folder)
    weather = read_weather(task.weather) if task.weather else None
    return job, site_year(job, task.settings, weather=weather)


def site_year(
    job: Job,
    settings: Settings | None = None,
    *,
    site: Site | None = None,
    planes: Sequence[Plane] = (),
    weather: Weather | None = None,
) -> SiteYear:
    """Sun, light and planes of a job, for all of its points."""
    site = site or job.site
    planes = tuple(planes) or job.planes
    if not planes:
        from logger.survey.pipeline import default_plane

        planes = (default_plane(site),)
    return SiteYear(site, planes, settings, weather, rules=job.rules, timezone=job.timezone or None)


def paths_of(job: Job, year: int) -> SunPaths:
    """The sun's paths at a job's site, with hours of the clock where it names a time zone."""
    offset_h = standard_offset_h(job.timezone, year) if job.timezone else None
    return sun_paths(job.site, year, offset_h)


def standard_offset_h(timezone: str, year: int) -> float:
    """A zone's offset from UTC without summer time: the lesser of January's and July's. [h]"""
    zone = ZoneInfo(timezone)
    offsets = [dt.datetime(year, month, 1, tzinfo=zone).utcoffset() for month in (1, 7)]
    return min(o.total_seconds() for o in offsets if o is not None) / 3600


@dataclass(frozen=True, eq=False)
class SkyPictures:
    """What the charts of a point show of the sun."""

    shade: ShadeMap
    tilts: PlaneMap  # Under the point's horizon
    paths: SunPaths


class AtOnce(Executor):
    """Does what it is given before anything else is done."""

    def submit(self, fn: Callable[..., T], /, *args: Any, **kwargs: Any) -> Future[T]:
        """See `concurrent.futures.Executor.submit`."""
        done: Future[T] = Future()
        try:
            done.set_result(fn(*args, **kwargs))
        except Exception as error:  # told when the result is asked for
            done.set_exception(error)
        return done


class SunSide:
    """The sun's side of a task, worked out by a helper or, without one, by this process."""

    def __init__(
        self,
        task: Task,
        site: Site,
        ask: Callable[..., Any] | None = None,
        meanwhile: Callable[[], None] | None = None,
    ) -> None:
        self.site = site
        self.settings = task.settings
        self._task = task
        self._ask: Any = ask or ask_here
        self._meanwhile = meanwhile if ask else None

    def beside(self) -> Executor:
        """What asks it while this process goes on.

        Without a helper nothing goes on: two threads of one process only hinder each other.
        """
        return AtOnce() if self._ask is ask_here else ThreadPoolExecutor(1)

    def prepare(self) -> None:
        """Have it made ready what all points share."""
        self._ask(_prepare, self._task)

    def assess(self, horizon: HorizonProfile | Surroundings) -> AccessResult:
        """See `SiteYear.assess`."""
        if self._meanwhile is not None:
            Thread(target=self._meanwhile, daemon=True).start()
        access: AccessResult = self._ask(_assess, self._task, horizon)
        return access

    def solar_access(self, horizon: HorizonProfile | Surroundings) -> tuple[Bounded, ...]:
        """See `SiteYear.solar_access`."""
        found: tuple[Bounded, ...] = self._ask(_solar_access, self._task, horizon)
        return found

    def pictures(self, horizon: HorizonProfile) -> SkyPictures:
        """What the charts show under a horizon."""
        found: SkyPictures = self._ask(_pictures, self._task, horizon)
        return found


def _prepare(task: Task) -> None:
    prepared(task)


def _assess(task: Task, horizon: HorizonProfile | Surroundings) -> AccessResult:
    return prepared(task)[1].assess(horizon)


def _solar_access(task: Task, horizon: HorizonProfile | Surroundings) -> tuple[Bounded, ...]:
    return prepared(task)[1].solar_access(horizon)


def _pictures(task: Task, horizon: HorizonProfile) -> SkyPictures:
    job, year = prepared(task)
    shade, tilts = shade_map(horizon, year.sun), year.map_under(horizon)
    return SkyPictures(shade, tilts, paths_of(job, task.year))
