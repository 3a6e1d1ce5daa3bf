"""The points of a survey one after the other, each answered while the next one is swept."""

from __future__ import annotations

import datetime as dt
import time
from collections.abc import Iterable, Mapping
from concurrent.futures import Future
from concurrent.futures.process import BrokenProcessPool
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from typing import Any

from logger.errors import DeviceError
from logger.job import Job, read_job
from logger.live.capture_loop import CaptureLoop
from logger.live.estimate import ready
from logger.live.sweep_state import sun_direction
from logger.live.sweep_task import SweepTask
from logger.report import sentences
from logger.report.language import Words
from logger.survey.answers import Answer, answers
from logger.survey.recipe import Recipe
from logger.survey.workers import pool_of, submitted


@dataclass
class SurveyDay:
    """One board, any number of points."""

    job: Job
    recipe: Recipe
    header: Mapping[str, Any]  # Of each recording, beside what every sweep says

    def __post_init__(self) -> None:
        # Loads what the screen takes, which is long: before anything is recorded.
        sun_direction(self.job.site, dt.datetime.now(dt.UTC))
        self.answers: list[Answer] = []
        self._panel: tuple[str, ...] = ()
        self._working: list[tuple[str, Future[Answer]]] = []

    def sweep(self, loop: CaptureLoop, points: Iterable[str], by_trigger: bool) -> None:
        """Sweep points until they or the operator's wish end; all answers are there afterwards."""
        with pool_of(1) as pool:
            submitted(pool, ready, self.recipe)
            try:
                for point in points:
                    task = SweepTask(
                        self.job, point, self.recipe, pool, self.header, lambda: self._panel
                    )
                    loop.say(f"the trigger opens {point}" if by_trigger else f"sweeping {point}")
                    if by_trigger and not loop.wait_for_trigger(task):
                        break
                    self._sweep(loop, task)
            finally:
                self.answers += [self._taken(*one) for one in self._working]

    def _sweep(self, loop: CaptureLoop, task: SweepTask) -> None:
        began = time.monotonic()
        try:
            loop.record(task)
        finally:
            # The port is read on meanwhile: the next trigger counts. A sweep cut short by a lost
            # board has its answer too.
            if loop.taken:
                loop.busy(f"working out {task.point}")
                work = partial(answered, self.job.folder, self.recipe)
                going = submitted(task.pool, work, task.point)
                going.add_done_callback(lambda done: self._tell(loop, done, began))
                self._working.append((task.point, going))
            else:
                what = loop.heard.what if loop.heard else "not one sample was received"
                error = DeviceError(what, task.point, loop.heard.hint if loop.heard else "")
                self.answers.append(Answer(task.point, error=error))

    def _taken(self, point: str, going: Future[Answer]) -> Answer:
        try:
            return going.result()
        except BrokenProcessPool:  # the worker was killed; the recording was not
            return answered(self.job.folder, self.recipe, point)

    def _tell(self, loop: CaptureLoop, done: Future[Answer], began_s: float) -> None:
        """Say an answer as soon as it is there; called on a thread of the pool's."""
        if done.cancelled() or done.exception() is not None:
            return
        answer = done.result()
        if answer.result is None:
            loop.say(f"{answer.point}: {answer.error}")
            return
        when = f"{answer.point}, {time.monotonic() - began_s:.0f} s after it was opened:"
        window = sentences.window_text(answer.result.access.planes[0].window)
        self._panel = (when, *short_text(answer).splitlines())
        loop.say(f"{when} {window.splitlines()[0]}")


def short_text(answer: Answer) -> str:
    """An answer in a sentence or two."""
    if answer.result is None:
        return f"{answer.point}: {answer.error}"
    told = sentences.answer(answer.point, answer.result.access.planes, Words())
    return f"{told}\n{sentences.unfit_sentence(answer.result.checks)}".strip()


def answered(folder: Path, recipe: Recipe, point: str) -> Answer:
    """The answer of one point, by the job as it is now."""
    (answer,) = answers(read_job(folder), recipe, [point], processes=1)
    return answer
