"""A job as the report takes it: every point through the pipeline, with what the job knows beside.

The one place where job folder, pipeline and report meet.
"""

from __future__ import annotations

import datetime as dt
import os
from collections.abc import Callable, Mapping, Sequence
from concurrent.futures import Future, ProcessPoolExecutor
from contextlib import ExitStack
from dataclasses import dataclass, replace
from functools import lru_cache
from multiprocessing import get_context
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

from logger import __version__
from logger.access import AccessSettings, SiteYear, read_weather, removed
from logger.errors import InputError, LoggerError
from logger.job import Job, calibration_results, folder_name, point_names, read_job
from logger.pipeline import SurveySettings
from logger.quality import Gate
from logger.report.document import draw_point
from logger.report.figures import plane_figures
from logger.report.inputs import (
    CalibrationReport,
    PointReport,
    ReportInput,
    SourceFile,
    WhatIf,
    assumptions_of,
    point_report,
)
from logger.shade import shade_map
from logger.sun_paths import SunPaths, sun_paths
from logger.survey.points import point_result, site_year

PHOTO_ENDINGS = (".jpg", ".jpeg", ".png", ".webp", ".tif", ".tiff")

LEAST_WORTH_REMOVING = 0.005
"""Share of the year that an obstruction must take for its removal to be tried out."""


@dataclass(frozen=True, eq=False)
class Surveyed:
    """A point's answer and its part of the report.

    Parameters
    ----------
    document : mapping
        The documented result.
    gates : tuple of Gate
    started : tuple of datetime
        When its recordings were started, as far as they tell.
    report : PointReport
        Its pictures drawn.
    what_ifs : tuple of WhatIf
    """

    document: Mapping[str, Any]
    gates: tuple[Gate, ...]
    started: tuple[dt.datetime, ...]
    report: PointReport
    what_ifs: tuple[WhatIf, ...]


@dataclass(frozen=True)
class Task:
    """What it takes to work a job out; small enough to send to another process.

    Parameters
    ----------
    folder : Path
        The job's.
    year : int
        Of the sun's positions. [years]
    weather : Path or None
        A typical year; None is a clear sky.
    """

    folder: Path
    year: int = 2026
    weather: Path | None = None


@lru_cache(maxsize=2)
def prepared(task: Task) -> tuple[Job, SiteYear]:
    """A job, and the sun and light that all of its points share.

    Parameters
    ----------
    task : Task

    Raises
    ------
    InputError
        The job or the weather cannot be read.
    """
    job = read_job(task.folder)
    weather = read_weather(task.weather) if task.weather else None
    return job, site_year(job, AccessSettings(year=task.year), weather=weather)


LEAST_POINTS_TO_SHARE = 4
"""Points from which a second process pays for its start."""


def surveyed_points(
    task: Task, progress: Callable[[str], None] | None = None, processes: int | None = None
) -> tuple[list[Surveyed], dict[str, str]]:
    """Every point of a job, and why a point has no answer.

    Parameters
    ----------
    task : Task
    progress : callable, optional
        Told each point's name when it is done.
    processes : int, optional
        How many work at the same time; without it as many as there are processors, and only one
        for a few points.

    Raises
    ------
    InputError
        The job cannot be read, or not one point has an answer.
    """
    names = point_names(read_job(task.folder))
    if processes is None:
        enough = len(names) >= LEAST_POINTS_TO_SHARE
        processes = min(os.cpu_count() or 1, len(names)) if enough else 1
    answers: dict[str, Surveyed | str] = {}

    def take(name: str, answer: Surveyed | str) -> None:
        answers[name] = answer
        if progress is not None:
            progress(name)

    with ExitStack() as stack:
        elsewhere: dict[str, Future[Surveyed | str]] = {}
        if processes > 1:
            # This process is one of them, so that one import of the libraries less is waited for.
            pool = ProcessPoolExecutor(processes - 1, mp_context=get_context("spawn"))
            stack.callback(pool.shutdown, cancel_futures=True)
            elsewhere = {name: pool.submit(_answer, task, name) for name in names}
        # The others begin at the front: from the back this one takes what none has begun.
        for name in reversed(names) if elsewhere else names:
            if not elsewhere or elsewhere[name].cancel():
                take(name, _answer(task, name))
        for name in names:
            if name not in answers:
                take(name, elsewhere[name].result())
    found: list[Surveyed] = []
    failed: dict[str, str] = {}
    for name in names:
        answer = answers[name]
        if isinstance(answer, str):
            failed[name] = answer
        else:
            found.append(answer)
    if not found:
        why = "; ".join(failed.values()) or "it has no points"
        raise InputError(f"there is nothing to report: {why}", str(task.folder))
    return found, failed


def _answer(task: Task, name: str) -> Surveyed | str:
    try:
        return surveyed_point(*prepared(task), name)
    except LoggerError as error:
        return str(error)


def surveyed_point(
    job: Job, year: SiteYear, name: str, settings: SurveySettings | None = None
) -> Surveyed:
    """One point through the pipeline, with its shade, its map and the greatest obstruction gone.

    Parameters
    ----------
    job : Job
    year : SiteYear
    name : str
    settings : SurveySettings, optional

    Raises
    ------
    InputError, UsageError
        A recording cannot be used, or there is none.
    """
    result = point_result(job, name, year, settings)
    profile = result.horizon.profile
    document = result.as_dict()
    report = point_report(
        document,
        profile,
        sights=result.horizon.sight,
        shade=shade_map(profile, year.sun),
        tilts=year.map_under(profile),
        photos=photos_of(job, name),
    )
    paths = paths_of(job, year.settings.year)
    report = replace(report, pictures=draw_point(report, paths), sights=())
    started = [sweep.recording.started for sweep in result.sweeps]
    return Surveyed(
        document,
        result.gates,
        tuple(s for s in started if s is not None),
        report,
        what_ifs(report, year),
    )


def paths_of(job: Job, year: int) -> SunPaths:
    """The sun's paths at a job's site, with hours of the clock where it names a time zone.

    Parameters
    ----------
    job : Job
    year : int
        [years]
    """
    offset_h = standard_offset_h(job.timezone, year) if job.timezone else None
    return sun_paths(job.site, year, offset_h)


def what_ifs(point: PointReport, year: SiteYear) -> tuple[WhatIf, ...]:
    """What each plane would have without the obstruction that takes most from the first one.

    Parameters
    ----------
    point : PointReport
    year : SiteYear
    """
    names = {o.name for o in point.profile.obstructions}
    candidates = [o for o in point.planes[0].by_obstruction if o.name in names]
    worst = max(candidates, key=lambda o: o.year, default=None)
    if worst is None or not worst.year >= LEAST_WORTH_REMOVING:
        return ()
    after = year.assess(removed(point.profile, worst.name)).as_dict()["planes"]
    return tuple(
        WhatIf(
            f"without {worst.name}",
            point.name,
            before.name,
            before.solar_access.year,
            plane_figures(changed).solar_access.year,
        )
        for before, changed in zip(point.planes, after, strict=True)
    )


def photos_of(job: Job, point: str) -> tuple[Path, ...]:
    """A point's photos, ``photos/<point>/``, in order of their names.

    Parameters
    ----------
    job : Job
    point : str
    """
    folder = job.folder / "photos" / folder_name(point)
    if not folder.is_dir():
        return ()
    return tuple(sorted(p for p in folder.iterdir() if p.suffix.lower() in PHOTO_ENDINGS))


def job_report(
    job: Job,
    points: Sequence[Surveyed],
    made: dt.date,
    failed: Mapping[str, str] | None = None,
) -> ReportInput:
    """What the report shows of a job.

    Parameters
    ----------
    job : Job
    points : sequence of Surveyed
    made : datetime.date
        Of the report.
    failed : mapping of str to str
        Points without an answer, and why.
    """
    started = [moment for p in points for moment in p.started]
    return ReportInput(
        title=job.name,
        site=job.site,
        points=tuple(p.report for p in points),
        made=made,
        surveyed=min(started).date() if started else None,
        people=dict(job.people),
        calibrations=calibrations_of(job),
        what_ifs=tuple(w for p in points for w in p.what_ifs),
        assumptions=assumptions_of(points[0].document),
        missing=dict(failed or {}),
        program=f"horizon-logger {__version__}",
    )


def standard_offset_h(timezone: str, year: int) -> float:
    """A zone's offset from UTC without summer time: the lesser of January's and July's. [h]

    Parameters
    ----------
    timezone : str
        IANA name.
    year : int
    """
    zone = ZoneInfo(timezone)
    offsets = [dt.datetime(year, month, 1, tzinfo=zone).utcoffset() for month in (1, 7)]
    return min(o.total_seconds() for o in offsets if o is not None) / 3600


def calibrations_of(job: Job) -> tuple[CalibrationReport, ...]:
    """The job's stored calibrations: the latest of each purpose.

    Parameters
    ----------
    job : Job
    """
    latest: dict[str, CalibrationReport] = {}
    for path, stored in calibration_results(job):
        purpose = str(stored.get("purpose") or path.stem.partition("-")[2] or "unknown")
        latest[purpose] = CalibrationReport(
            purpose=purpose,
            date=str(stored.get("made") or path.stem.partition("-")[0]),
            figures=tuple(_figures(stored.get("figures") or {})),
            gates=tuple(Gate(**g) for g in stored.get("quality") or ()),
            file=_source(stored.get("recording")),
        )
    return tuple(latest.values())


_UNITS = {
    "_deg_s": "°/s",
    "_deg": "°",
    "_ut": "µT",
    "_mg": "mg",
    "_g": "g",
    "_s": "s",
    "_h": "h",
    "_m": "m",
    "_c": "°C",
}


def _figures(figures: Mapping[str, Any], lead: str = "") -> list[tuple[str, str]]:
    """Names and values in words with units; what is long is left to the file."""
    rows: list[tuple[str, str]] = []
    for key, value in figures.items():
        ending = next((e for e in _UNITS if key.endswith(e)), "")
        label = f"{lead}{key.removesuffix(ending).replace('_', ' ')}"
        if isinstance(value, Mapping):
            rows += _figures(value, f"{label}: ")
        elif isinstance(value, (bool, str)):
            rows.append((label, "yes" if value is True else "no" if value is False else value))
        elif isinstance(value, (int, float)):
            unit = _UNITS.get(ending, "")
            space = "" if unit.startswith("°") or not unit else " "
            rows.append((label, f"{value:.4g}{space}{unit}"))
    return rows


def _source(recording: Any) -> SourceFile | None:
    if not isinstance(recording, Mapping) or "file" not in recording:
        return None
    return SourceFile(str(recording["file"]), str(recording.get("sha256") or ""))
