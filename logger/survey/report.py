"""A job as the report takes it: every point through the pipeline, with what the job knows beside.

The one place where job folder, pipeline and report meet.
"""

from __future__ import annotations

import datetime as dt
import os
from collections import deque
from collections.abc import Callable, Mapping, Sequence
from concurrent.futures import ThreadPoolExecutor
from contextlib import ExitStack
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from logger import __version__
from logger.access import removed
from logger.calibration.words import figures_in_words
from logger.checks import Check
from logger.errors import InputError, LoggerError
from logger.files import json_text
from logger.job import Job, folder_name, point_names, read_job
from logger.processors import processors
from logger.report import style
from logger.report.document import draw_answer, draw_sky, in_order
from logger.report.figures import Share
from logger.report.inputs import (
    CalibrationReport,
    PointReport,
    ReportInput,
    SourceFile,
    WhatIf,
    assumptions_of,
    point_report,
)
from logger.structured import utc_text
from logger.survey.calibrations import stored_calibrations
from logger.survey.helper import Helper, ask_here
from logger.survey.pipeline import SurveySettings
from logger.survey.points import point_result
from logger.survey.sun_side import SunSide
from logger.survey.sun_side import Task as Task

PHOTO_ENDINGS = (".jpg", ".jpeg", ".png", ".webp", ".tif", ".tiff")

LEAST_WORTH_REMOVING = 0.005
"""Share of the year that an obstruction must take for its removal to be tried out."""


@dataclass(frozen=True, eq=False)
class Surveyed:
    """A point's answer and its part of the report."""

    document: Mapping[str, Any]  # The documented result
    stored: str  # The same as its file says it
    checks: tuple[Check, ...]
    started: tuple[dt.datetime, ...]  # When its recordings were started, as far as they tell
    report: PointReport  # Its pictures drawn
    what_ifs: tuple[WhatIf, ...]


def surveyed_points(
    task: Task,
    progress: Callable[[str], None] | None = None,
    processes: int | None = None,
    helper: Helper | None = None,
) -> tuple[list[Surveyed], dict[str, str]]:
    """Every point of a job, and why a point has no answer.

    Processes beside this one share the points out whole; where there is one point only, one of
    them works out what needs the sun.
    """
    job = read_job(task.folder)
    names = point_names(job)
    processes = processes or processors()
    answers: dict[str, Surveyed | str] = {}
    told = progress or (lambda name: None)
    with ExitStack() as stack:
        helpers = [] if helper is None else [helper]
        more = min(processes - 1, max(len(names) - 1, 1)) - len(helpers)
        helpers += [stack.enter_context(Helper()) for _ in range(more)]
        if helpers and len(names) > 1:
            answers = _share_out(task, names, helpers, told)
        else:
            one = helpers[0] if helpers else None
            if one is not None:
                # What cannot be read is told when the point asks for it.
                first = stack.enter_context(ThreadPoolExecutor(1))
                first.submit(SunSide(task, job.site, one.ask).prepare)
            for name in names:
                answers[name] = _answer(task, name, one)
                told(name)
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


def _share_out(
    task: Task, names: Sequence[str], helpers: Sequence[Helper], told: Callable[[str], None]
) -> dict[str, Surveyed | str]:
    """Each helper, and this process beside them, takes a point whenever it is done with one.

    What-ifs come last: they are short, and fill the time until the last point is done.
    """
    points, without_what_ifs = deque(names), deque[str]()
    answers: dict[str, Surveyed | str] = {}

    def work(ask: Callable[..., Any]) -> None:
        while (name := _next(points)) is not None:
            answers[name] = found = ask(_answer, task, name, None, False)
            if isinstance(found, Surveyed):
                without_what_ifs.append(name)
            told(name)
        while (name := _next(without_what_ifs)) is not None:
            found = answers[name]
            assert isinstance(found, Surveyed)
            bare = replace(found.report, pictures=())
            answers[name] = replace(found, what_ifs=ask(_what_ifs, task, bare))

    with ThreadPoolExecutor(len(helpers)) as threads:
        others = [threads.submit(work, one.ask) for one in helpers]
        try:
            work(ask_here)
        finally:
            points.clear()
            without_what_ifs.clear()
        for other in others:
            other.result()
    return answers


def _next(names: deque[str]) -> str | None:
    """The next name; None where another was faster."""
    try:
        return names.popleft()
    except IndexError:
        return None


def _answer(
    task: Task, name: str, helper: Helper | None = None, try_out: bool = True
) -> Surveyed | str:
    try:
        job = read_job(task.folder)
        sun = SunSide(task, job.site, helper.ask if helper else None, style.load)
        return surveyed_point(job, sun, name, try_out=try_out)
    except LoggerError as error:
        return str(error)


def _what_ifs(task: Task, point: PointReport) -> tuple[WhatIf, ...]:
    return what_ifs(point, SunSide(task, read_job(task.folder).site))


def surveyed_point(
    job: Job,
    sun: SunSide,
    name: str,
    settings: SurveySettings | None = None,
    *,
    try_out: bool = True,
) -> Surveyed:
    """One point through the pipeline, with its pictures and the greatest obstruction gone."""
    result = point_result(job, name, sun, settings)
    profile = result.horizon.profile
    with sun.beside() as aside:
        # Each picture is drawn as soon as what it shows is known.
        asked = aside.submit(sun.pictures, profile)
        document = result.as_dict()
        report = point_report(
            document, profile, sights=result.horizon.sight, photos=photos_of(job, name)
        )
        drawn = draw_answer(report, sun.site)
        sky = asked.result()
        tried_out = aside.submit(what_ifs, report, sun) if try_out else None
        report = replace(report, shade=sky.shade, tilts=sky.tilts)
        drawn = in_order((*drawn, *draw_sky(report, sky.paths)))
        report = replace(report, pictures=drawn, sights=())
    started = [sweep.recording.started for sweep in result.sweeps]
    return Surveyed(
        document,
        json_text(document),
        result.checks,
        tuple(s for s in started if s is not None),
        report,
        tried_out.result() if tried_out else (),
    )


def what_ifs(point: PointReport, sun: SunSide) -> tuple[WhatIf, ...]:
    """What each plane would have without the obstruction that takes most from the first one."""
    names = {o.name for o in point.profile.obstructions}
    candidates = [o for o in point.planes[0].by_obstruction if o.name in names]
    worst = max(candidates, key=lambda o: o.year, default=None)
    if worst is None or not worst.year >= LEAST_WORTH_REMOVING:
        return ()
    after = sun.solar_access(removed(point.profile, worst.name))
    return tuple(
        WhatIf(
            f"without {worst.name}",
            point.name,
            before.name,
            before.solar_access.year,
            Share(changed.year.value, changed.year.low, changed.year.high),
        )
        for before, changed in zip(point.planes, after, strict=True)
    )


def photos_of(job: Job, point: str) -> tuple[Path, ...]:
    """A point's photos, ``photos/<point>/``, in order of their names.

    A link that leads out of the folder is no photo of the job's, and what is no file is none.
    """
    folder = job.folder / "photos" / folder_name(point)
    if not folder.is_dir():
        return ()
    inside = folder.resolve()
    return tuple(
        sorted(
            p
            for p in folder.iterdir()
            if p.suffix.lower() in PHOTO_ENDINGS and p.is_file() and inside in p.resolve().parents
        )
    )


def job_report(
    job: Job,
    points: Sequence[Surveyed],
    made: dt.date,
    failed: Mapping[str, str] | None = None,
) -> ReportInput:
    """What the report shows of a job."""
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
        missing={n: why.replace(f"{job.folder}{os.sep}", "") for n, why in (failed or {}).items()},
        program=f"horizon-logger {__version__}",
    )


def calibrations_of(job: Job) -> tuple[CalibrationReport, ...]:
    """The job's stored calibrations: the latest of each purpose."""
    latest: dict[str, CalibrationReport] = {}
    for stored in stored_calibrations(job):
        about = stored.about
        latest[about.purpose] = CalibrationReport(
            purpose=about.purpose,
            date=utc_text(about.made),
            figures=tuple(figures_in_words(stored.figures)),
            checks=stored.checks,
            file=SourceFile(about.recording, about.sha256),
        )
    return tuple(latest.values())
