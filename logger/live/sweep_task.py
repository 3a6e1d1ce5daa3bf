"""A sweep: what the sight shows, what the point's recordings come to so far, what is still missing.

The estimate is the point's own: its recordings so far, this one as far as it has come, the job's
calibrations, names and changes, through the same function that gives the answer in the end.
"""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Callable, Mapping
from concurrent.futures import Executor
from dataclasses import dataclass
from typing import Any

import numpy as np

from firmware_protocol import PRESS_KEY, Identity
from logger.edits import ExcludeSpan
from logger.errors import LoggerError
from logger.geometry import unwrapped
from logger.horizon_fit import turning_points, vertices_of
from logger.job import Job, add_edit, point_recordings, sweep_path
from logger.live.capture_loop import Task
from logger.live.estimate import Estimate
from logger.live.instruction import Instruction, instruction, nothing_seen
from logger.live.keyboard import Action
from logger.live.pointer import Pointer, Sighting
from logger.live.state import Counts, Figure, LiveState
from logger.live.sweep_state import (
    access_words,
    cautions,
    field_words,
    horizon_so_far,
    near_sun,
    seen_by_now,
    seen_words,
    sight_words,
    sun_direction,
)
from logger.recording import Capture, Recording, RecordingWriter, continued
from logger.recording.samples import KeyPress
from logger.recording.writer import header_of
from logger.survey.calibrations import stored_calibrations
from logger.survey.pipeline import chosen_for, declination_of
from logger.survey.recipe import Recipe
from logger.survey.result import Sweep

HELD = "held still: good"
IN_PASSING = "pressed in passing: good for a name; a corner needs a still hold, press again"
UNDER_WAY_DEG_S = 3.0
"""A sight that turns slower is not on its way anywhere. [deg/s]"""
_SUN_EVERY_S = 5.0
_HOLD_SETTLES_S = 0.7
_REDO_REACH_S = 2.0  # A long press takes its time; a press within it is its own


@dataclass
class SweepTask(Task):
    """One point being swept."""

    job: Job
    point: str
    recipe: Recipe
    pool: Executor  # Where the estimate is worked out
    header: Mapping[str, Any]  # Of each recording, beside what every sweep says
    panel: Callable[[], tuple[str, ...]] = tuple  # The answer of the point before, once there
    keys = " prnq"
    key_help = "space pause   p press   r redo   n note   q end"

    def __post_init__(self) -> None:
        self._stored = stored_calibrations(self.job)
        self._estimate: Estimate | None = None
        self._sun: tuple[dt.datetime, tuple[float, float] | None] | None = None
        self._was_done = self._faulty = False
        self._going = 0  # Round which way the sight went last: 1 right, -1 left, 0 not yet

    def new_recording(self, started: dt.datetime) -> RecordingWriter:
        """See `Task.new_recording`."""
        path = sweep_path(self.job, self.point, started)
        return RecordingWriter(path, self._header_at(started))

    def _header_at(self, started: dt.datetime) -> dict[str, Any]:
        known = self.job.point(self.point)
        more = {
            "point": self.point,
            "sight_height_m": known.sight_height_m,
            "module_height_m": known.module_height_m,
            "continues": continued(point_recordings(self.job, self.point)),
            **self.header,
        }
        return header_of("sweep", started, self.job.site, more)

    def begin(self, capture: Capture, started: dt.datetime, recorded: bool) -> None:
        """See `Task.begin`."""
        self._capture, self._started, self._recorded = capture, started, recorded
        self._header = self._header_at(started)
        self._sighting = Sighting(capture.builder, self.recipe.settings)
        self._presses: list[tuple[float, bool | None]] = []  # When, and whether held still
        self._dropped: list[tuple[float, float]] = []
        self._board: Identity | None = None
        self._raw = False
        self._choose()
        if recorded:
            latest = self._estimate.latest if self._estimate else None
            of_what = self.job.folder, self.point, self.recipe
            self._estimate = Estimate(self.pool, of_what, latest)

    def _so_far(self) -> Sweep:
        recording = Recording(self._capture.writer.path, self._header, False, "")
        return Sweep(recording, self._capture.builder.stream())

    def _choose(self) -> None:
        """The corrections for the sight on the screen, by the board that speaks."""
        sweep = self._so_far()
        declination, model = declination_of(sweep, self.recipe), self.recipe.magnetic_model
        chosen = chosen_for(self._stored, sweep, self.job.site, declination, model)
        self._corrections = chosen.corrections
        self._unfit = next((check.why for check in chosen.checks if not check.passed), "")

    def act(self, action: Action, now_s: float) -> None:
        """See `Task.act`."""
        if action.what == "press":
            self._presses.append((action.at_s, None))
        elif action.what == "redo":
            self.said.append(self._redo(now_s))

    def _redo(self, now_s: float) -> str:
        """Drop the stretch just swept: since the start, the last press, turn or redo."""
        starts = [0.0, *(end for _, end in self._dropped)]
        starts += [t for t, _ in self._presses if t < now_s - _REDO_REACH_S]
        if self._estimate is not None and self._estimate.latest is not None:
            starts += self._estimate.latest.passes_s
        recent = self._sighting.now(self._corrections)
        if recent is not None:
            turns = turning_points(unwrapped(recent.sight.azimuth_deg))
            starts += [float(recent.sight.t_s[i]) for i in turns]
        start = max(s for s in starts if s <= now_s)
        self._dropped.append((start, now_s))
        self.cues.append("REDO")
        edit = ExcludeSpan(
            point=self.point,
            recording=self._capture.writer.path.name,
            from_s=round(start, 3),
            to_s=round(now_s, 3),
            who=self.header.get("observer") or self.job.people.get("surveyor") or "operator",
            when=dt.datetime.now(dt.UTC),
            why="swept again at once",
        )
        try:
            add_edit(self.job.folder, edit)
        except LoggerError as error:
            return f"{start:.0f} to {now_s:.0f} s could not be dropped: {error}"
        return f"dropped the last {now_s - start:.0f} s: sweep that part again"

    def end(self) -> None:
        """See `Task.end`."""
        if self._estimate is not None:
            self._estimate.end()

    def state(self, now_s: float) -> LiveState:
        """See `Task.state`."""
        builder = self._capture.builder
        # Which calibration fits depends on the board and on whether it sends raw streams.
        raw = self._raw or bool(builder.samples(max(len(builder) - 3, 0)).has_field.any())
        if (builder.identity, raw) != (self._board, self._raw):
            self._board, self._raw = builder.identity, raw
            self._choose()
        if self._settled(now_s):  # the sight must reach over the hold
            self._sighting.renew(self._corrections, at_once=True)
        here, found = self._sighting.now(self._corrections), None
        sun = self._sun_at(self._started + dt.timedelta(seconds=now_s))
        if self._estimate is not None:
            if self._recorded and here is not None:
                self._estimate.step(now_s, self._so_far)
                if (fault := self._estimate.fault) is not None and not self._faulty:
                    self._faulty = True
                    self.said.append(f"the answer so far cannot be worked out: {fault!r}")
            found = self._estimate.latest
        latitude = self.job.site.latitude_deg
        coverage = found.coverage if found else nothing_seen(latitude)
        height = found.elevation_deg if found else np.full(coverage.passes.size, np.nan)
        if self._recorded:
            coverage = seen_by_now(coverage, found.until_s if found else 0.0, here)
        later = near_sun(coverage, height, sun)
        so_far = horizon_so_far(coverage, height, later)
        asked = Instruction("waiting for the board")
        if here is not None:
            if abs(turning := here.turning_deg_s) > UNDER_WAY_DEG_S:
                self._going = 1 if turning > 0 else -1
            asked = instruction(coverage, here.azimuth_deg, self._going, later)
            self._follow(here, asked, now_s)
        return LiveState(
            title=f"{self.job.name} · {self.point}",
            point=self.point,
            to_do=asked.words,
            missing=asked.missing,
            figures=(
                Figure("azimuth", here.azimuth_deg if here else math.nan, "°"),
                Figure("elevation", here.elevation_deg if here else math.nan, "°"),
            ),
            warnings=cautions(here, sun),
            board=self._unfit if here is not None else "",
            azimuth_deg=here.azimuth_deg if here else math.nan,
            elevation_deg=here.elevation_deg if here else math.nan,
            horizon=so_far,
            facts=(
                sight_words(here, sun),
                seen_words(so_far),
                f"{access_words(found) or 'no answer yet'}   {self._press_words()}",
                field_words(here),
            ),
            short=access_words(found),
            counts=Counts(newest_seq=here.newest_seq if here else -1),
            panel=self.panel(),
            middle_deg=self.job.site.equatorward_azimuth_deg,
        )

    def _press_words(self) -> str:
        held = sum(still is True for _, still in self._presses)
        return f"{len(self._presses)} presses, {held} held still" if self._presses else ""

    def _follow(self, here: Pointer, asked: Instruction, now_s: float) -> None:
        """Sounds that are due: a press judged a moment after it, and the end once."""
        for i in self._settled(now_s):
            t, _ = self._presses[i]
            held = bool(vertices_of(here.sight, [KeyPress(t, PRESS_KEY, True)]))
            self._presses[i] = (t, held)
            self.cues.append("GOOD" if held else "REDO")
            self.said.append(HELD if held else IN_PASSING)
        if asked.done and not self._was_done and self._estimate and self._estimate.latest:
            self.cues.append("DONE")
        self._was_done = asked.done

    def _settled(self, now_s: float) -> list[int]:
        """Presses to be judged now."""
        ages = enumerate(self._presses)
        return [i for i, (t, still) in ages if still is None and now_s - t > _HOLD_SETTLES_S]

    def _sun_at(self, moment: dt.datetime) -> tuple[float, float] | None:
        """Direction of the sun, a few seconds off at most; None below the level."""
        if self._sun is None or abs((moment - self._sun[0]).total_seconds()) > _SUN_EVERY_S:
            self._sun = moment, sun_direction(self.job.site, moment)
        return self._sun[1]
