"""A calibration, or a plane, recorded live into the job."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from logger.errors import DeviceError
from logger.job import Job, calibration_path
from logger.live.capture_loop import CaptureLoop, Task
from logger.live.guide import Guide
from logger.live.keyboard import Action
from logger.live.pointer import Sighting
from logger.live.state import Counts, LiveState
from logger.orientation import Corrections, declination_at
from logger.recording import Capture, RecordingWriter
from logger.recording.writer import header_of

EYES = "never look at the sun"
OFTEN_S = 0.25
"""How old what is said of a hold may be. [s]"""


@dataclass
class CalibrationTask(Task):
    """One calibration, as `Guide` leads through it."""

    job: Job
    how: str  # One of `guide.WAYS`
    header: Mapping[str, Any]  # Of the recording, beside what every one says
    keys = "pq"
    key_help = "p press   q end"

    def __post_init__(self) -> None:
        self.guide = Guide(self.how, self.said)

    def new_recording(self, started: dt.datetime) -> RecordingWriter:
        """See `Task.new_recording`."""
        purpose = self.guide.way.purpose
        header = header_of(purpose, started, self.job.site, self.header)
        return RecordingWriter(calibration_path(self.job, purpose, started), header)

    def begin(self, capture: Capture, started: dt.datetime, recorded: bool) -> None:
        """See `Task.begin`."""
        self._sighting = Sighting(capture.builder, carried_s=OFTEN_S)
        self._capture, self._taken, self._presses = capture, 0, 0
        # How the board is held is told well enough without any calibration.
        self._corrections = Corrections(declination_at(self.job.site, started.date()))

    def act(self, action: Action, now_s: float) -> None:
        """See `Task.act`."""
        self._presses += action.what == "press"

    @property
    def finished(self) -> bool:
        """A tumble ends by itself; what is pressed is ended by whoever presses."""
        return self.how == "compass" and self.guide.enough

    def state(self, now_s: float) -> LiveState:
        """See `Task.state`."""
        builder, guide = self._capture.builder, self.guide
        here = None if self.how == "compass" else self._sighting.now(self._corrections)
        before, was_enough = guide.good, guide.enough
        guide.take(builder.samples(self._taken), here, self._presses)
        self._taken, self._presses = len(builder), 0
        if guide.good > before:
            self.cues.append("GOOD")
        if guide.enough and not was_enough:
            self.cues.append("DONE")
        return LiveState(
            title=f"{self.job.name} · {guide.way.name}",
            to_do=guide.to_do,
            figures=guide.figures,
            facts=(EYES,) if self.how == "sun" else (),
            short=EYES if self.how == "sun" else "",
            counts=Counts(newest_seq=-1 if here is None else here.newest_seq),
        )


def record_calibration(
    loop: CaptureLoop,
    job: Job,
    how: str,
    header: Mapping[str, Any] | None = None,
) -> Path:
    """Record a calibration into the job; a recording without a measurement is no calibration."""
    before = len(loop.recordings)
    loop.record(CalibrationTask(job, how, header or {}))
    if len(loop.recordings) == before:
        raise DeviceError("nothing came from the board: no recording is kept")
    if (came := loop.heard) is not None:
        raise DeviceError(came.what, hint=came.hint)
    return loop.recordings[-1]
