"""A board played from the simulation, a clock that it moves, and a keyboard that types on time."""

import datetime as dt
from collections.abc import Callable, Sequence
from dataclasses import replace
from pathlib import Path

import pytest

from logger.errors import DeviceError
from logger.live.port import Port
from logger.live.screen import Frame
from logger.live.session import LiveView
from logger.live.sweeping import Surroundings, SurveyDay
from logger.orientation import Corrections, declination_at
from logger.recording import RecordingWriter, Taken
from logger.recording.writer import header_of
from logger.simulation import BoardSettings, Operator, Sensor, Task, day_task, scene_named, simulate
from logger.site import Site

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


class Shown:
    """A display that keeps all it is told."""

    every_s = 0.1

    def __init__(self) -> None:
        self.views: list[LiveView] = []
        self.frames: list[Frame] = []
        self.said: list[str] = []
        self.bells = 0

    def show(self, view: LiveView, frame: Frame) -> None:
        self.views.append(view)
        self.frames.append(frame)

    def say(self, sentence: str) -> None:
        self.said.append(sentence)

    def bell(self) -> None:
        self.bells += 1


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
    """A survey day over a played board, its recordings in a folder."""

    def __init__(self, folder: Path, chunks: Chunks, typed: Sequence[tuple[float, str]] = ()):
        self.clock = PlayedClock()
        self.link = PlayedLink(self.clock, chunks)
        self.display = Shown()
        self.dropped: list[tuple[str, float, float]] = []
        self.links = [self.link]
        self._folder = folder
        self.day = SurveyDay(
            Port(self._open, "played", pause=self.clock.sleep),
            self.clock,
            self.display,
            Typist(self.clock, typed),
            Surroundings(
                SITE,
                "barn",
                self._recording,
                lambda _identity: CORRECTIONS,
                lambda _passes: None,
                dropped=lambda path, a, b: self.dropped.append((path.name, a, b)),
            ),
        )

    def _open(self) -> PlayedLink:
        return self.links[-1]

    def _recording(self, point: str, started: dt.datetime) -> RecordingWriter:
        path = self._folder / f"{len(list(self._folder.glob('*.sweep')))}.sweep"
        return RecordingWriter(path, header_of("sweep", started, SITE, {"point": point}))


@pytest.fixture
def bench(tmp_path: Path) -> Callable[..., Bench]:
    """Make a `Bench`."""

    def make(chunks: Chunks, typed: Sequence[tuple[float, str]] = ()) -> Bench:
        return Bench(tmp_path, chunks, typed)

    return make
