"""What the recordings of a point come to so far, worked out again and again beside the capture.

It is the point's own answer: its recordings, the present one as far as it has come, the job's
calibrations, names and edits, through the same function as in the end. A process of its own works
on it, so that reading, recording and the screen wait for nothing.
"""

from __future__ import annotations

import math
import time
from collections.abc import Callable
from concurrent.futures import Executor, Future
from dataclasses import dataclass
from functools import lru_cache, partial
from pathlib import Path

import numpy as np

from logger.access.result import Interval
from logger.arrays import Floats, floats
from logger.errors import LoggerError
from logger.horizon_fit import Coverage
from logger.job import kept_recordings, read_job
from logger.survey.points import load_sweep, point_result
from logger.survey.recipe import Recipe, year_of
from logger.survey.result import PointResult, Sweep
from logger.survey.workers import submitted

EVERY_S = 0.5
"""From one round to the next, at least. [s]"""
REST = 2.0
"""And it rests this many times as long as it worked: most of one processor is left to recording and
screen, however long the recording grows."""


@dataclass(frozen=True, eq=False)
class Estimated:
    """What a screen shows of a point's answer so far."""

    coverage: Coverage
    elevation_deg: Floats  # At the coverage's cells; NaN where nothing was measured. [deg]
    until_s: float  # Of the recording's last row in it. [s]
    passes_s: tuple[float, ...]  # When each pass of this recording began. [s]
    # Of the year, plane by plane; no value where too much of the sun's range is not seen yet
    solar_access: tuple[Interval, ...]

    @classmethod
    def of(cls, result: PointResult) -> Estimated:
        """The part of a point's result that a screen shows."""
        horizon, coverage = result.horizon, result.horizon.coverage
        last = len(horizon.sight) - 1
        return cls(
            coverage,
            floats(horizon.profile.elevation_at(coverage.azimuth_deg, np.nan)),
            float(horizon.sight[-1].t_s[-1]),
            tuple(float(one.t_s[0]) for one in horizon.passes if one.sweep == last),
            tuple(plane.solar_access.year for plane in result.access.planes),
        )


def estimated(
    folder: Path, point: str, recipe: Recipe, so_far: Sweep
) -> tuple[Estimated | None, float]:
    """One round, in the middle of a recording, and its seconds; None while nothing can be told."""
    began = time.thread_time()
    try:
        # An edit made meanwhile, such as a stretch excluded, counts at once.
        job = read_job(folder)
        earlier = [path for path in kept_recordings(job, point) if path != so_far.recording.path]
        sweeps = [sweep for path in earlier if (sweep := _read(path)) is not None]
        found = Estimated.of(point_result(job, point, recipe, sweeps=[*sweeps, so_far]))
    except LoggerError:
        found = None
    return found, time.thread_time() - began


def ready(recipe: Recipe) -> None:
    """Load what estimates take, while nothing is recorded yet."""
    year_of(recipe)


@lru_cache(maxsize=64)
def _read(path: Path) -> Sweep | None:
    """An earlier recording; one that cannot be used stops no sweep, the answer will say why."""
    try:
        return load_sweep(path)
    except LoggerError:
        return None


class Estimate:
    """Rounds of `estimated` on whatever has been recorded by then."""

    def __init__(
        self, pool: Executor, of_what: tuple[Path, str, Recipe], latest: Estimated | None
    ) -> None:
        self.latest = latest
        self._of_what = of_what
        self.fault: BaseException | None = None  # What ended it; the capture goes on without
        self._pool = pool
        self._going: Future[tuple[Estimated | None, float]] | None = None
        self._next_s = 0.0

    def step(self, now_s: float, so_far: Callable[[], Sweep]) -> None:
        """Take a round that has ended, and begin another when its time has come; never waits."""
        if self._going is not None and self._going.done():
            self.fault = self._going.exception()
            if self.fault is None:
                found, took_s = self._going.result()
                self.latest = found or self.latest
                self._next_s = now_s + max(EVERY_S, REST * took_s)
            self._going = None
        if self._going is None and self.fault is None and now_s >= self._next_s:
            self._going = submitted(self._pool, partial(estimated, *self._of_what), so_far())

    def end(self) -> None:
        """Begin no round any more; one that goes on ends by itself and is not waited for."""
        self._next_s = math.inf
        if self._going is not None:
            self._going.cancel()
