"""The answers of a job's points for a recipe: the one way from recordings to what is said of them.

Live sweep, compare, report, replay, batch and demo all take their answers from here, so that a
point that cannot be worked out is told alike everywhere, and a figure has one origin.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from functools import partial
from typing import Any

from logger.checks import Check
from logger.errors import InputError, LoggerError
from logger.files import plain
from logger.job import Job, point_names
from logger.processors import processors as all_processors
from logger.survey.pipeline import PointResult
from logger.survey.points import is_swept, point_result
from logger.survey.recipe import Recipe, recipe_of, year_of
from logger.survey.store import answer_key, store, stored_answer
from logger.survey.workers import in_order

WORTH_A_PROCESS = 4
"""Points that take as long as to start a process."""


@dataclass(frozen=True, eq=False)
class Answer:
    """What a point's recordings come to, or why they come to nothing."""

    point: str
    document: Mapping[str, Any] = field(default_factory=dict)  # The documented result; plain data
    result: PointResult | None = None  # None where the document was stored
    error: LoggerError | None = None  # Why there is no answer
    swept: bool = True  # Whether the point has a recording; where it has none, nothing failed
    more: Any = None  # What was asked for beside, such as pictures

    @property
    def checks(self) -> tuple[Check, ...]:
        """Of the result."""
        return tuple(Check(**check) for check in self.document.get("quality", ()))


@dataclass(frozen=True)
class Asked:
    """One point of a job, and how it is to be worked out."""

    job: Job
    recipe: Recipe
    point: str
    stored: bool = False  # Whether a stored answer will do that came from the very same


def answers(
    job: Job,
    recipe: Recipe,
    points: Sequence[str] | None = None,
    *,
    stored: bool = False,
    processes: int | None = None,
    more: Callable[[PointResult], Any] | None = None,
) -> Iterator[Answer]:
    """One answer a point, in order; all points of the job unless some are named.

    An answer by the job's own recipe is stored in the job, any other never. With `stored`, an
    answer that is stored already and came from the very same is taken as it is. `more` is asked of
    each result in the process that worked it out; it must be a function of a module.
    """
    names = point_names(job) if points is None else points
    return answers_to([Asked(job, recipe, name, stored) for name in names], processes, more)


def answers_to(
    asked: Iterable[Asked],
    processes: int | None = None,
    more: Callable[[PointResult], Any] | None = None,
) -> Iterator[Answer]:
    """`answers` over several jobs; without a number of processes as many as are worth starting."""
    if processes is None:
        asked = list(asked)
        processes = max(1, min(all_processors(), len(asked) // WORTH_A_PROCESS))
    return in_order(partial(_answer, more=more), asked, processes, _killed)


def _answer(asked: Asked, more: Callable[[PointResult], Any] | None) -> Answer:
    job, recipe, point = asked.job, asked.recipe, asked.point
    try:
        if not is_swept(job, point):
            why = InputError("no recording yet, or every one is excluded", point)
            return Answer(point, error=why, swept=False)
        key = answer_key(job, point, recipe)
        if asked.stored and (known := stored_answer(job, point, key)) is not None:
            return Answer(point, known)
        result = point_result(job, point, year_of(recipe), recipe.survey_settings())
        document = plain({**result.as_dict(), "key": key})
        if recipe == recipe_of(job):
            store(job, point, document)
        return Answer(point, document, result, more=more(result) if more else None)
    except LoggerError as error:
        return Answer(point, error=error)


def _killed(asked: Asked) -> Answer:
    why = "the process that worked on it was killed, twice: is there memory enough?"
    return Answer(asked.point, error=InputError(why, asked.point))
