"""A board played from the simulation, a clock that it moves, and a keyboard that types on time."""

import datetime as dt
from collections.abc import Callable, Sequence
from concurrent.futures import Executor, Future
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from logger.access import Plane
from logger.errors import DeviceError
from logger.job import Job, create_job
from logger.live.capture_loop import CaptureLoop
from logger.live.capture_loop import Task as LiveTask
from logger.live.display import Display
from logger.live.lent_port import LentPort
from logger.live.state import LiveState
from logger.live.sweep_task import SweepTask
from logger.orientation import Corrections, declination_at
from logger.recording import Taken
from logger.simulation import BoardSettings, Operator, Sensor, Task, day_task, scene_named, simulate
from logger.site import Site
from logger.survey.recipe import recipe_of

SITE = Site(46.05, 14.51, 310.0)
STARTED = dt.datetime(2026, 5, 14, 4, 30, tzinfo=dt.UTC)
"""Early: the sun stands low in the east-north-east."""
CORRECTIONS = Corrections(declination_at(SITE, STARTED.date()))

Chunks = Sequence[tuple[float, bytes]]


class PlayedClock:
    """Moves only when the board sends or somebody sleeps."""

    def __init__(self) -> None:
        self.now_s = 0.0

    def seconds(self) -> float:
        return self.now_s

    def utc(self) -> dt.datetime:
        return STARTED + dt.timedelta(seconds=self.now_s)

    def sleep(self, seconds: float) -> None:
        self.now_s += seconds


class PlayedLink:
    """Sends chunks at their times; after the last one it is silent, or gone."""

    def __init__(self, clock: PlayedClock, chunks: Chunks, then_gone: bool = False) -> None:
        self.sent = b""
        self.url = "played"
        self.closed = 0
        self._clock = clock
        self._chunks = list(chunks)
        self._zero = clock.now_s
        self._then_gone = then_gone

    def start(self, record: Callable[[bytes], Taken]) -> None:
        self._record = record

    def read(self) -> list[Taken]:
        return [self._record(self._come())]

    def stop(self) -> list[Taken]:
        return []

    def _come(self) -> bytes:
        if not self._chunks:
            if self._then_gone:
                raise DeviceError("unplugged")
            self._clock.now_s += 0.1
            return b""
        t, chunk = self._chunks.pop(0)
        self._clock.now_s = max(self._clock.now_s, self._zero + t)
        return chunk

    def write(self, data: bytes) -> None:
        self.sent += data

    def close(self) -> None:
        self.closed += 1


class Typist:
    """Types characters once their time has come."""

    def __init__(self, clock: PlayedClock, typed: Sequence[tuple[float, str]] = ()) -> None:
        self._clock = clock
        self._typed = list(typed)

    def read(self) -> str:
        text = ""
        while self._typed and self._typed[0][0] <= self._clock.now_s:
            text += self._typed.pop(0)[1]
        return text


class Shown(Display):
    """A display that keeps all it is told."""

    every_s = 0.1

    def __init__(self) -> None:
        self.states: list[LiveState] = []
        self.said: list[str] = []
        self.bells = 0

    def show(self, state: LiveState) -> None:
        self.states.append(state)

    def say(self, sentence: str) -> None:
        self.said.append(sentence)

    def bell(self) -> None:
        self.bells += 1


class AtOnce(Executor):
    """Does the work where it is handed in."""

    def submit(self, work: Any, /, *arguments: Any, **more: Any) -> Future[Any]:
        done: Future[Any] = Future()
        try:
            done.set_result(work(*arguments, **more))
        except Exception as error:
            done.set_exception(error)
        return done


class Never(Executor):
    """Takes work in and never does it."""

    def submit(self, work: Any, /, *arguments: Any, **more: Any) -> Future[Any]:
        return Future()


def board_chunks(
    task: str = "sweep",
    scene: str = "ridge",
    operator: Operator | None = None,
    streams: str = "AMG",
    seed: int = 1,
) -> Chunks:
    """What a board without iron sends during a task."""
    day = Task(
        task,
        (scene_named(scene, seed),),
        operator or replace(Operator.brisk(), hand_g=0.008),
        Sensor(individual=seed).without_iron(),
        SITE,
        settings=BoardSettings(streams=streams),
        seed=seed,
        more={"level": {"pairs": 3}},
    )
    return simulate(day_task(day, task, 0, STARTED)).chunks


@pytest.fixture(scope="session")
def quick_sweep() -> Chunks:
    """Sixty degrees of ridge, forth and back, ended by the trigger."""
    operator = replace(Operator.brisk(), hand_g=0.008, sectors=((150.0, 210.0),))
    return board_chunks(operator=operator)


class Bench:
    """A loop over a played board, and a job for what it records."""

    def __init__(self, job: Job, chunks: Chunks, typed: Sequence[tuple[float, str]] = ()):
        self.job = job
        self.clock = PlayedClock()
        self.link = PlayedLink(self.clock, chunks)
        self.links = [self.link]
        self.display = Shown()
        self.pool: Executor = Never()
        port = LentPort(lambda: self.links[-1], "played", pause=self.clock.sleep)
        self.loop = CaptureLoop(port, self.clock, self.display, Typist(self.clock, typed).read)

    def task(self, point: str = "eave", panel: Callable[[], tuple[str, ...]] = tuple) -> SweepTask:
        return SweepTask(self.job, point, recipe_of(self.job), self.pool, {"leaf": None}, panel)

    def sweep(self, point: str = "eave", seconds: float | None = None) -> SweepTask:
        task = self.task(point)
        self.record(task, seconds)
        return task

    def record(self, task: LiveTask, seconds: float | None = None) -> None:
        """Record a task, ended after a time where it does not end before."""
        self.loop.ends_after_s = seconds
        self.loop.record(task)

    @property
    def recordings(self) -> list[Path]:
        return self.loop.recordings

    @property
    def phases(self) -> list[str]:
        return [state.phase for state in self.display.states]


@pytest.fixture
def job(tmp_path: Path) -> Job:
    return create_job(tmp_path / "barn", SITE, name="barn", planes=(Plane("roof", 35.0, 180.0),))


@pytest.fixture
def bench(job: Job) -> Callable[..., Bench]:
    """Make a `Bench`."""

    def make(chunks: Chunks, typed: Sequence[tuple[float, str]] = ()) -> Bench:
        return Bench(job, chunks, typed)

    return make
