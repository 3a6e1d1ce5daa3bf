"""The survey day at one port: wait for the trigger, sweep a point, stop and go on, redo, mark."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from functools import cache
from pathlib import Path

from firmware_protocol import TRIGGER_KEY, Cue, Identity, Key, Piece, Sound, encode
from logger.errors import DeviceError
from logger.horizon_fit import SightedSweep
from logger.live.controls import Action, Controls, Done, Label, MarkPressed, Redo, Remark, Toggle
from logger.live.display import Display
from logger.live.guidance import CueBook
from logger.live.keyboard import Keyboard
from logger.live.port import Port, Unrecorded
from logger.live.running import RunningAnswer, Worker
from logger.live.screen import Frame
from logger.live.session import LiveSession, LiveView
from logger.orientation import Corrections
from logger.recording import (
    Capture,
    CaptureSettings,
    Clock,
    FloodError,
    Heard,
    RecordingWriter,
)
from logger.site import Site

ComputeAnswer = Callable[[Sequence[SightedSweep]], RunningAnswer | None]
Dropped = Callable[[Path, float, float], None]

_WATCHING = CaptureSettings(silence_s=2.5, first_sample_s=3.0, give_up_s=86400.0)
"""Between two points the board may be silent; an operator walks."""

HELD = "held still: good"
IN_PASSING = "marked in passing: fine for a name; a corner needs a still hold, mark it again"


@dataclass(frozen=True)
class Surroundings:
    """What the loop needs of the job, as functions: it knows no folders."""

    site: Site
    place: str  # Name of the job, for the title
    # Takes the point and the moment of its start; makes the recording
    new_recording: Callable[[str, dt.datetime], RecordingWriter]
    # Takes the board's identity (None: not said yet); gives the corrections for the screen
    corrections_of: Callable[[Identity | None], Corrections]
    answer_of: ComputeAnswer  # The answer so far from passes; called on a thread of its own
    # Takes a point when its sweep begins; gives a function that reads what its recordings up to
    # then saw, called once and on a thread of its own
    earlier: Callable[[str], Callable[[], Sequence[SightedSweep]]] = lambda _: tuple
    # Takes a recording and a span of it that was swept again; keeps that
    dropped: Dropped = lambda _path, _from_s, _to_s: None


@dataclass
class _Going:
    """One capture going on, recorded or only watched."""

    capture: Capture
    session: LiveSession
    recorded: bool
    worker: Worker | None = None
    seen: Identity | None = None
    ended: bool = False


@dataclass
class SurveyDay:
    """One board, one port, any number of points."""

    port: Port
    clock: Clock
    display: Display
    keyboard: Keyboard
    around: Surroundings
    bell: bool = True  # Whether the terminal's bell goes with the cues
    # Takes the view just shown; for measuring
    on_frame: Callable[[LiveView], None] = lambda _: None
    recordings: list[Path] = field(default_factory=list)  # Made so far
    panel: tuple[str, ...] = ()  # What to show between two points
    taken: int = 0  # Samples recorded so far at the present point
    heard: Heard | None = None  # What came instead, where the last recording of the point took none
    _toggled: bool = field(default=False, init=False)
    _shown_s: float = field(default=-1e9, init=False)

    def sweep(self, point: str, seconds: float | None = None) -> None:
        """Sweep a point until the trigger, the q key, Ctrl-C or the time ends it."""
        controls, cues = Controls(), CueBook()
        before = cache(self.around.earlier(point))
        going = self._begin(point, True, (), before)
        began = self.clock.seconds()
        self.taken, self.heard = 0, None
        try:
            while True:
                if self._step(going, controls, cues, point):
                    break
                if going.session.triggers:
                    break
                if seconds is not None and self.clock.seconds() - began > seconds:
                    break
                if going.recorded and going.capture.writer.full:
                    going = self._go_on(going, point, before)
                if self._toggled:
                    self._toggled = False
                    going = self._exchange(going, point, before)
        except KeyboardInterrupt:
            pass
        finally:
            self._end(going, last=True)

    def wait_for_trigger(self, point: str) -> bool:
        """Watch the board until its trigger opens a point; False where q or Ctrl-C ends the day."""
        controls, cues = Controls(), CueBook()
        going = self._begin(point, False)
        try:
            while True:
                before = going.session.triggers
                try:
                    done = self._step(going, controls, cues, point, waiting=True)
                except FloodError:
                    raise
                except DeviceError:
                    # Silence between two points is no fault; the port may need opening anew.
                    self._end(going, last=False)
                    self._open_again()
                    going = self._begin(point, False)
                    continue
                self._toggled = False
                if done:
                    return False
                if going.session.triggers > before:
                    return True
        except KeyboardInterrupt:
            return False
        finally:
            self._end(going, last=False)

    def _open_again(self) -> None:
        while True:
            try:
                self.port.again()
            except DeviceError:
                self.clock.sleep(0.3)
            else:
                return

    def _begin(
        self,
        point: str,
        recorded: bool,
        earlier: Sequence[SightedSweep] = (),
        before: Callable[[], Sequence[SightedSweep]] = tuple,
    ) -> _Going:
        started = self.clock.utc()
        writer = self.around.new_recording(point, started) if recorded else Unrecorded()
        if recorded:
            self.recordings.append(writer.path)
            self.display.say(f"recording {writer.path}")
        capture = Capture(
            self.port,
            self.port.again,
            writer,
            self.clock,
            None if recorded else _WATCHING,
            say=self.display.say if recorded else lambda _: None,
        )
        session = LiveSession(
            capture.builder, self.around.corrections_of(None), self.around.site, started, earlier
        )
        going = _Going(capture, session, recorded)
        if recorded or earlier:
            going.worker = Worker(
                lambda: self.around.answer_of([*before(), *session.passes()])
            ).start()
        return going

    def _go_on(
        self, going: _Going, point: str, before: Callable[[], Sequence[SightedSweep]]
    ) -> _Going:
        """A recording is as long as one may be: seal it, and go on in another of the same point."""
        self._end(going, last=False)
        self.display.say("this recording is as long as one may be; going on in a new one")
        return self._begin(point, True, going.session.passes(), before)

    def _exchange(
        self, going: _Going, point: str, before: Callable[[], Sequence[SightedSweep]]
    ) -> _Going:
        """Stop recording, or go on in a new recording of the same point."""
        self._end(going, last=False)
        passes = going.session.passes() if going.recorded else list(going.session.earlier)
        self.display.say("go on" if not going.recorded else "stopped: space goes on, q is done")
        return self._begin(point, not going.recorded, passes, before)

    def _end(self, going: _Going, last: bool) -> None:
        if going.ended:  # a Ctrl-C can come between two recordings
            return
        going.ended = True
        try:
            if last:
                going.capture.send(encode(Cue("OFF")))
        finally:
            going.capture.close()
        if going.worker is not None:
            going.worker.close()
            if going.worker.fault is not None:
                self.display.say(f"the answer so far could not be worked out: {going.worker.fault}")
        if going.recorded and going.capture.empty:
            self.recordings.remove(going.capture.writer.path)
            self.display.say("nothing came: no recording is kept")
        elif going.recorded:
            self.taken += len(going.capture.builder)
            self.heard = going.capture.heard
            self.display.say(f"kept {going.capture.writer.path}")
            for start, end in going.session.dropped:
                self.around.dropped(going.capture.writer.path, start, end)

    def _step(
        self, going: _Going, controls: Controls, cues: CueBook, point: str, waiting: bool = False
    ) -> bool:
        """Take what came and what was typed, show it when due; whether the point is done."""
        capture, session = going.capture, going.session
        pieces = capture.step()
        now = capture.elapsed_s()
        if waiting:
            pieces = self._until_trigger(capture, pieces)
        session.take(pieces, now)
        identity = capture.builder.identity
        if identity is not None and identity != going.seen:
            going.seen = identity
            session.correct_with(self.around.corrections_of(identity))
        done, redone = False, False
        for action in controls.feed(self.keyboard.read(), now):
            done |= isinstance(action, Done)
            redone |= isinstance(action, Redo)
            self._act(going, action)
        if session.redo_asked:
            session.redo_asked, redone = False, True
        if redone and going.recorded:
            start, end = session.redo(now)
            self.display.say(f"dropped the last {end - start:.0f} s: sweep that part again")
        if self.clock.seconds() - self._shown_s >= self.display.every_s or redone:
            self._shown_s = self.clock.seconds()
            self._show(going, controls, cues, point, waiting, redone)
        return done

    def _until_trigger(self, capture: Capture, pieces: list[Piece]) -> list[Piece]:
        """Pieces up to the opening trigger; what follows belongs to the point's recording."""
        for i, piece in enumerate(pieces):
            if isinstance(piece, Sound) and isinstance(piece.sentence, Key):
                key = piece.sentence
                if key.key == TRIGGER_KEY and key.down:
                    rest = [*pieces[i + 1 :], *capture.stop()]
                    self.port.give_back(_as_sent(rest))
                    return pieces[: i + 1]
        return pieces

    def _act(self, going: _Going, action: Action) -> None:
        capture = going.capture
        match action:
            case Toggle():
                self._toggled = True
            case MarkPressed() if going.recorded:
                going.session.mark(action.at_s)
                capture.note(key="mark")
            case Label(at_s, label, kind) if going.recorded:
                capture.note(label=label, kind=kind, at_s=round(at_s, 3))
            case Remark(at_s, text) if going.recorded:
                capture.note(text=text, at_s=round(at_s, 3))

    def _show(
        self,
        going: _Going,
        controls: Controls,
        cues: CueBook,
        point: str,
        waiting: bool,
        redone: bool,
    ) -> None:
        capture, session = going.capture, going.session
        running = going.worker.latest if going.worker is not None else None
        now = capture.elapsed_s()
        came = None if capture.empty else capture.heard
        view = session.view(now, capture.latest_s, running, came.what if came else "")
        holds = session.judge_holds(now)
        for still in holds:
            self.display.say(HELD if still else IN_PASSING)
        due = cues.cues(view, now, holds, redone)
        for cue in due:
            capture.send(encode(Cue(cue)))
        if due and self.bell:
            self.display.bell()
        state = "trigger opens" if waiting else "recording" if going.recorded else "stopped"
        self.display.show(
            view,
            Frame(
                f"{self.around.place} · {point}",
                state,
                controls.prompt,
                middle_deg=self.around.site.equatorward_azimuth_deg,
                panel=self.panel if waiting else (),
            ),
        )
        self.on_frame(view)


def _as_sent(pieces: Sequence[Piece]) -> bytes:
    """The bytes that pieces came from; the last may be a sentence still on its way."""
    return b"".join(p.raw + b"\r\n" if isinstance(p, Sound) else p.raw for p in pieces)
