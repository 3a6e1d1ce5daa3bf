"""What a report is made of: a job's answers, and for each what is drawn and tried out beside it."""

from __future__ import annotations

import datetime as dt
import os
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING

from logger.access import carried
from logger.access.shade import ShadeMap, shade_map
from logger.errors import InputError
from logger.job import Job
from logger.report.charts import WIDTH_MM, drawn, months_chart, shade_chart
from logger.report.language import Words
from logger.report.photos import photos_of
from logger.report.sky_chart import sun_path_chart
from logger.report.tables import shortened
from logger.sun_paths import sun_paths
from logger.survey.answers import Answer
from logger.survey.array import ArrayResult, arrays_of
from logger.survey.gains import Gain, gain_at
from logger.survey.growth import Changed
from logger.survey.recipe import Recipe, year_of
from logger.survey.result import PointResult

if TYPE_CHECKING:
    from matplotlib.figure import Figure

LONGEST_NAME = 32
"""Letters of a name in a table."""

BESIDE_PHOTOS_MM = 112.0
"""Width of the picture of shade where photos stand beside it. [mm]"""


@dataclass(frozen=True, eq=False)
class Beside:
    """What the report shows of a point beside its answer."""

    pictures: Mapping[str, bytes]  # SVG by what they show
    shade: ShadeMap
    gain: Gain | None  # The change that gains most; None where none is worth it


@dataclass(frozen=True, eq=False)
class Report:
    """Everything a report shows."""

    job: Job
    recipe: Recipe
    points: tuple[PointResult, ...]
    beside: Mapping[str, Beside]  # By name of the point
    made: dt.date  # The same input gives the same file
    left_out: Mapping[str, str] = field(default_factory=dict)  # Points without an answer, and why
    not_swept: tuple[str, ...] = ()  # Points of the job without a recording: no fault
    command: str = ""  # What makes the report again
    changed: tuple[Changed, ...] = ()  # Since an earlier job, where one is named
    arrays: tuple[ArrayResult, ...] = ()  # Of planes with an outline, from points at known places

    @property
    def surveyed(self) -> tuple[dt.date, ...]:
        """Days on which the recordings were started, as far as they tell."""
        started = (s.recording.started for point in self.points for s in point.sweeps)
        return tuple(sorted({moment.date() for moment in started if moment is not None}))

    @property
    def short_names(self) -> dict[str, str]:
        """The points' names, short enough for a table; the whole name stands on a point's page."""
        names = [point.name for point in self.points]
        return dict(zip(names, shortened(names, LONGEST_NAME), strict=True))


def with_beside(job: Job, language: str, answer: Answer) -> Answer:
    """An answer with what the report shows beside it, made where it was worked out."""
    assert answer.result is not None
    return replace(answer, more=beside_of(job, answer.result, language))


def report_of(
    job: Job, recipe: Recipe, found: Sequence[Answer], made: dt.date, command: str = ""
) -> Report:
    """The report of a job's answers, each `with_beside`."""
    points = tuple(answer.result for answer in found if answer.result is not None)
    left_out = {
        answer.point: str(answer.error).replace(f"{job.folder}{os.sep}", "")
        for answer in found
        if answer.error is not None
    }
    if not points:
        why = "; ".join(dict.fromkeys(left_out.values())) or "it has no points"
        raise InputError(f"there is nothing to report: {why}", str(job.folder))
    not_swept = tuple(answer.point for answer in found if not answer.swept)
    return Report(
        job,
        recipe,
        points,
        {answer.point: answer.more for answer in found if answer.result is not None},
        made,
        {name: why for name, why in left_out.items() if name not in not_swept},
        not_swept,
        command,
        arrays=arrays_of(job, recipe, points),
    )


def beside_of(job: Job, result: PointResult, language: str = "en") -> Beside:
    """A point's pictures, and the change that gains most."""
    shade, w = shade_of(result), Words(language)
    wide = BESIDE_PHOTOS_MM if photos_of(job, result.name) else WIDTH_MM
    figures = figures_of(result, shade, w, wide)
    svgs = {name: drawn(figure) for name, figure in figures.items()}
    return Beside(svgs, shade, gain_at(job, result))


def shade_of(result: PointResult) -> ShadeMap:
    """How much of the sun's time is blocked at a point, by month and hour."""
    return shade_map(carried(result.horizon.profile), year_of(result.recipe).sun, result.site)


def figures_of(
    result: PointResult, shade: ShadeMap, w: Words, shade_mm: float = WIDTH_MM
) -> dict[str, Figure]:
    """A point's pictures by what they show."""
    planes, paths = result.access.planes, sun_paths(result.site, result.access.settings.year)
    return {
        "sun-paths": sun_path_chart(paths, carried(result.horizon.profile), w),
        "shade": shade_chart(shade, w, shade_mm),
        "months": months_chart(planes, w, 24.0 if len(planes) > 2 else 30.0),
    }
