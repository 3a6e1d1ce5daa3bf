"""The answers of a job's points for a recipe: the one way from recordings to what is said of them.

Live sweep, compare, report, replay, batch and demo all take their answers from here, so that a
point that cannot be worked out is told alike everywhere, and a figure has one origin.
"""

from __future__ import annotations

from collections.abc import Callable, Generator, Iterable, Mapping, Sequence
from dataclasses import dataclass, field, fields
from functools import partial
from pathlib import Path
from typing import Any

from logger.checks import Check
from logger.errors import InputError, LoggerError, UsageError, as_argument
from logger.files import file_sha256, plain
from logger.geomagnetism import built_in_model
from logger.job import JOB_FILE, Job, kept_recordings, point_names, read_job
from logger.settings import written
from logger.survey.points import point_result, recording_result
from logger.survey.recipe import Overrides, Recipe, at_point, recipe_at, recipe_of
from logger.survey.result import PointResult, Sweep
from logger.survey.store import KEY, answer_key, sealed, store, stored_answer
from logger.survey.workers import in_order

FIT, FAULT, UNREADABLE, UNFIT = 0, 1, 3, 4


@dataclass(frozen=True, eq=False)
class Answer:
    """What a point's recordings come to, or why they come to nothing."""

    point: str
    document: Mapping[str, Any] = field(default_factory=dict)  # The documented result; plain data
    result: PointResult | None = None  # None where the document was stored
    before: Mapping[str, Any] | None = None  # What was stored until now
    error: LoggerError | None = None  # Why there is no answer
    swept: bool = True  # Whether the point has a recording; where it has none, nothing failed
    unstored: str = ""  # Why the answer could not be kept in the job
    more: Any = None  # What was asked for beside, such as pictures

    @property
    def checks(self) -> tuple[Check, ...]:
        """Of the result."""
        return tuple(Check(**check) for check in self.document.get("quality", ()))

    @property
    def code(self) -> int:
        """As a command's exit code: a point that is not swept yet is no fault."""
        if self.error is None:
            return FIT if all(check.passed for check in self.checks) else UNFIT
        return FIT if not self.swept else FAULT if self.error.exit_code == FAULT else UNREADABLE


def worst(codes: Iterable[int]) -> int:
    """The exit code that stands for several: a fault, then unreadable, then unfit."""
    found = set(codes)
    return next((code for code in (FAULT, UNREADABLE, UNFIT) if code in found), FIT)


def left_out(found: Iterable[Answer]) -> dict[str, str]:
    """Why points have no answer, by name."""
    return {answer.point: str(answer.error) for answer in found if answer.error}


def refuse_unswept(job: Job, found: Iterable[Answer], where: str = "") -> None:
    """Raise UsageError where no point of a job has a recording."""
    if not any(answer.swept for answer in found):
        hint = f"sweep one with: horizon-logger sweep JOB POINT --port URL{where}"
        what = "no point of this job has a recording"
        raise UsageError(what, str(job.folder), hint=hint)


# Adds to an answer, or takes from it, in the process that worked it out: a module's function.
Finish = Callable[[Answer], Answer]


def answers(
    job: Job,
    recipe: Recipe,
    points: Sequence[str] | None = None,
    *,
    stored: bool = False,
    processes: int | None = None,
    finish: Finish | None = None,
) -> Generator[Answer, None, None]:
    """One answer a point, in order; all points of the job unless some are named.

    An answer by the job's own recipe is stored in the job, any other never.

    Parameters
    ----------
    job : Job
    recipe : Recipe
        `recipe_of` the job, or another.
    points : sequence of str, optional
        Names, in the order wanted.
    stored : bool
        Take an answer that is stored already and came from the very same as it is.
    processes : int, optional
        How many work at the same time; without it as many as are worth starting.
    finish : callable, optional
        Adds to each answer in the process that worked it out.

    Yields
    ------
    Answer
        With `Answer.result` (a `PointResult`), or `Answer.error` where there is none. Nothing is
        raised for a point.
    """
    names = point_names(job) if points is None else points
    work = partial(_answer, job, recipe, stored=stored, finish=finish)
    return in_order(work, names, processes, _killed)


def _answer(job: Job, recipe: Recipe, point: str, *, stored: bool, finish: Finish | None) -> Answer:
    try:
        found = _worked_out(job, recipe, point, stored)
        return finish(found) if finish and found.error is None else found
    except LoggerError as error:
        return Answer(point, error=error)
    except Exception as error:  # a fault in one point must not take the others' answers along
        what = f"a fault of this program, please report it: {type(error).__name__}: {error}"
        return Answer(point, error=LoggerError(what, point))


def _worked_out(job: Job, recipe: Recipe, point: str, stored: bool) -> Answer:
    if not kept_recordings(job, point):
        why = InputError("no recording yet, or every one is excluded", point)
        return Answer(point, error=why, swept=False)
    key, before = answer_key(job, point, recipe), stored_answer(job, point)
    if stored and before is not None and before[KEY] == key:
        return Answer(point, before, before=before)
    result = point_result(job, point, at_point(recipe, job.point(point)))
    known = job.point(point)
    own = recipe_of(job)
    # From the folder that holds the job's
    command = _command([job.folder.resolve().name, point], recipe, own)
    repeat = {
        **repeating(recipe, command),
        "job_sha256": file_sha256(job.folder / JOB_FILE),
        **{name: getattr(known, name) for name in PLACE},
    }
    document = sealed({**result.as_dict(), "repeat": repeat}, key)
    unstored = ""
    if recipe == own:
        try:
            store(job, point, document)
        except InputError as error:  # a job on a disk that is full, or not ours to write to
            unstored = str(error)
    return Answer(point, document, result, before, unstored=unstored)


def repeating(recipe: Recipe, command: str) -> dict[str, Any]:
    """What whoever repeats an answer needs beside its recordings."""
    import pvlib

    model = recipe.magnetic_model
    return {
        "command": command,
        "recipe_sha256": recipe.sha256,
        "seed": recipe.settings.seed,
        "turbidity": recipe.settings.turbidity,
        "weather_sha256": recipe.weather.sha256 if recipe.weather else None,
        "pvlib": pvlib.__version__,
        "magnetic_model": (model or built_in_model()).name,
        "rules_source": recipe.rules.source,
    }


# What a job knows of where a point is. [m]
PLACE = ("east_m", "north_m", "up_m", "sight_height_m", "module_height_m")


def _command(what: Sequence[str], recipe: Recipe, own: Recipe) -> str:
    """The command that works an answer out again."""
    words = ["horizon-logger", "replay", *what]
    for one in fields(recipe.settings):
        value = getattr(recipe.settings, one.name)
        if value != getattr(own.settings, one.name):
            words += ["--set", f"{one.name}={written(value)}"]
    if recipe.planes != own.planes:
        (plane, *_) = recipe.planes
        words += ["--tilt", f"{plane.tilt_deg:g}", "--azimuth", f"{plane.azimuth_deg:g}"]
    if recipe.weather and (own.weather is None or recipe.weather.sha256 != own.weather.sha256):
        words += ["--weather", recipe.weather.path.name]
    return " ".join(map(as_argument, words))


def recording_answer(
    sweep: Sweep,
    folder: Path | None,
    place: tuple[float | None, float | None, float | None],
    overrides: Overrides,
) -> Answer:
    """A recording on its own; see `recording_result`."""
    result = recording_result(sweep, folder, place, overrides)
    recipe, what = result.recipe, [sweep.recording.path.name]
    own = recipe_at(recipe.site, Overrides())
    if folder is not None:
        job = read_job(folder)
        what, own = [*what, "--job", job.folder.resolve().name], recipe_of(job)
    for name, given in zip(("latitude", "longitude", "altitude"), place, strict=True):
        what += [] if given is None else [f"--{name}", f"{given:g}"]
    command = _command(what, recipe, own)
    return Answer(
        result.name, plain({**result.as_dict(), "repeat": repeating(recipe, command)}), result
    )


def _killed(point: str, why: str) -> Answer:
    return Answer(point, error=InputError(why, point))
