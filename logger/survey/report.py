"""A job as the report takes it: every point through the pipeline, with what the job knows beside.

The one place where job folder, pipeline and report meet.
"""

from __future__ import annotations

import datetime as dt
import os
from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from zoneinfo import ZoneInfo

from logger import __version__
from logger.access import SiteYear, removed
from logger.access.shade import shade_map
from logger.calibration.words import figures_in_words
from logger.errors import InputError
from logger.job import Job, point_folder
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
from logger.sun_paths import SunPaths, sun_paths
from logger.survey.answers import Answer
from logger.survey.calibrations import stored_calibrations
from logger.survey.recipe import Recipe, year_of

PHOTO_ENDINGS = (".jpg", ".jpeg", ".png", ".webp", ".tif", ".tiff")

LEAST_WORTH_REMOVING = 0.005
"""Share of the year that an obstruction must take for its removal to be tried out."""


@dataclass(frozen=True, eq=False)
class Surveyed:
    """A point's part of the report."""

    report: PointReport  # Its pictures drawn
    what_ifs: tuple[WhatIf, ...]


def with_report(job: Job, answer: Answer) -> Answer:
    """The answer with its part of the report, drawn where it was worked out."""
    result = answer.result
    assert result is not None
    year, profile = year_of(result.recipe), result.horizon.profile
    bare = point_report(
        answer.document,
        profile,
        sights=result.horizon.sight,
        shade=shade_map(profile, year.sun),
        tilts=year.map_under(profile),
        photos=photos_of(job, answer.point),
    )
    paths = paths_of(result.recipe)
    pictures = in_order((*draw_answer(bare, result.site), *draw_sky(bare, paths)))
    report = replace(bare, pictures=pictures, sights=())
    return replace(answer, more=Surveyed(report, what_ifs(bare, year)))


def paths_of(recipe: Recipe) -> SunPaths:
    """The sun's paths of a recipe, with hours of the clock where it has a time zone."""
    year = recipe.settings.year
    offset_h = standard_offset_h(recipe.timezone, year) if recipe.timezone else None
    return sun_paths(recipe.site, year, offset_h)


def standard_offset_h(timezone: str, year: int) -> float:
    """A zone's offset from UTC without summer time: the lesser of January's and July's. [h]"""
    zone = ZoneInfo(timezone)
    offsets = [dt.datetime(year, month, 1, tzinfo=zone).utcoffset() for month in (1, 7)]
    return min(o.total_seconds() for o in offsets if o is not None) / 3600


def what_ifs(point: PointReport, year: SiteYear) -> tuple[WhatIf, ...]:
    """What each plane would have without the obstruction that takes most from the first one."""
    names = {o.name for o in point.profile.obstructions}
    candidates = [o for o in point.planes[0].by_obstruction if o.name in names]
    worst = max(candidates, key=lambda o: o.year, default=None)
    if worst is None or not worst.year >= LEAST_WORTH_REMOVING:
        return ()
    after = year.solar_access(removed(point.profile, worst.name))
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
    folder = point_folder(job.folder, "photos", point)
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


def job_report(job: Job, found: Sequence[Answer], made: dt.date) -> ReportInput:
    """What the report shows of a job's answers, which `with_report` has been through."""
    told = [answer for answer in found if answer.result is not None]
    missing = {answer.point: str(answer.error) for answer in found if answer.error}
    if not told:
        why = "; ".join(str(answer.error) for answer in found) or "it has no points"
        raise InputError(f"there is nothing to report: {why}", str(job.folder))
    started = [
        sweep.recording.started
        for answer in told
        for sweep in (answer.result.sweeps if answer.result else ())
        if sweep.recording.started
    ]
    return ReportInput(
        title=job.name,
        site=job.site,
        points=tuple(answer.more.report for answer in told),
        made=made,
        surveyed=min(started).date() if started else None,
        people=dict(job.people),
        calibrations=calibrations_of(job),
        what_ifs=tuple(w for answer in told for w in answer.more.what_ifs),
        assumptions=assumptions_of(told[0].document),
        missing={n: why.replace(f"{job.folder}{os.sep}", "") for n, why in missing.items()},
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
