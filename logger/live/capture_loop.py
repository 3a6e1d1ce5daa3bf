"""The one loop of everything recorded live: read, record, listen to keys, show.

What is being recorded, a sweep or a calibration, is a `Task`: it makes the recording, follows what
comes, and says what is to be done. Reading and recording go on in a thread of their own.
"""

from __future__ import annotations

import datetime as dt
from collections import deque
from collections.abc import Callable
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import ClassVar

from firmware_protocol import PRESS_KEY, TRIGGER_KEY, Cue, Key, Piece, Sound, encode
from logger.errors import DeviceError
from logger.live.display import Display
from logger.live.keyboard import Action, Controls, Keyboard
from logger.live.lent_port import LentPort, Unrecorded
from logger.live.pointer import Sighting
from logger.live.state import Caution, Counts, LiveState
from logger.orientation import Corrections
from logger.recording import (
    Capture,
    CaptureSettings,
    FloodError,
    Heard,
    RecordingWriter,
    SystemClock,
)

LONG_PRESS_S = 1.5
"""The board's press key held down this long means: redo. [s]"""
SILENT_S = 2.0
"""Without a sentence for longer something is wrong. [s]"""
MESSAGE_STAYS_S = 8.0
KEPT_STAYS_S = 2.0
CUE_EVERY_S = 3.0
"""A caution that stays is not sounded more often. [s]"""
_CUE_OF = {"sun": "SUN", "field": "FIELD", "tremor": "REDO"}
_RATE_OVER_S = 2.0
_WATCHING = CaptureSettings(silence_s=2.5, first_sample_s=3.0, give_up_s=86400.0)
"""Between two points the board may be silent; an operator walks."""


@dataclass
class Task:
    """What is being recorded."""

    keys: ClassVar[str]  # Those of the keyboard that mean something
    key_help: ClassVar[str]
    # Sounds for the board that are due once, and what is to be told; the loop takes both away
    cues: list[str] = field(default_factory=list, init=False)
    said: list[str] = field(default_factory=list, init=False)
    _sighting: Sighting = field(init=False)  # Made anew as a capture begins
    _corrections: Corrections = field(init=False)

    @property
    def finished(self) -> bool:
        """Whether it ends by itself now."""
        return False

    def new_recording(self, started: dt.datetime) -> RecordingWriter:
        """Make the file."""
        raise NotImplementedError

    def begin(self, capture: Capture, started: dt.datetime, recorded: bool) -> None:
        """A capture starts: a recording, or what comes in a pause."""
        raise NotImplementedError

    def act(self, action: Action, now_s: float) -> None:
        """Take what the operator did."""
        raise NotImplementedError

    def state(self, now_s: float) -> LiveState:
        """What to show now, as far as the task knows it."""
        raise NotImplementedError

    def between(self) -> None:
        """A moment was just shown: time for what takes longer."""
        self._sighting.renew(self._corrections)

    def end(self) -> None:
        """The capture is closed."""


@dataclass
class _Going:
    """One capture going on, recorded or only watched."""

    capture: Capture
    phase: str
    ended: bool = False
    pressed_ms: int | None = None
    grown: deque[tuple[float, int]] = field(default_factory=deque)
    sounded: dict[str, float] = field(default_factory=dict)

    @property
    def recorded(self) -> bool:
        return self.phase == "recording"


@dataclass
class CaptureLoop:
    """One board at one port, for any number of tasks."""

    port: LentPort
    clock: SystemClock
    display: Display
    keyboard: Keyboard
    # What texts from outside go through on their way to whoever reads them
    door: Callable[[str], str] = str
    bell: bool = True  # Whether the terminal's bell goes with the board's sounds
    ends_after_s: float | None = None  # Each recording ends by itself then
    recordings: list[Path] = field(default_factory=list)  # Made so far
    # Of the last task: samples recorded, and what came instead where there was none
    taken: int = 0
    heard: Heard | None = None
    _message: tuple[float, str] = field(default=(-1e9, ""), init=False)
    _kept: tuple[float, str] = field(default=(-1e9, ""), init=False)
    _shown_s: float = field(default=-1e9, init=False)
    _due_s: float = field(default=-1e9, init=False)  # The next moment
    _last: LiveState | None = field(default=None, init=False)

    def say(self, sentence: str) -> None:
        """Tell the operator something that happened."""
        self._message = self.clock.seconds(), sentence
        self.display.say(self.door(sentence))

    def busy(self, words: str) -> None:
        """Leave what was shown last, and say what the program is doing."""
        if self._last is not None:
            self.display.show(
                replace(self._last, phase="ended", warnings=(), to_do=words, allowed="")
            )

    def record(self, task: Task) -> None:
        """Record until the trigger, the q key, Ctrl-C, the time or the task itself ends it."""
        controls, began = Controls(task.keys), self.clock.seconds()
        self.taken, self.heard = 0, None
        going = self._begin(task, "recording")
        try:
            while True:
                triggered, actions = self._step(task, going, controls)
                most = self.ends_after_s
                over = most is not None and self.clock.seconds() - began > most
                if triggered or over or task.finished or any(a.what == "end" for a in actions):
                    break
                if going.recorded and going.capture.writer.full:
                    self.say("this recording is as long as one may be; going on in a new one")
                    going = self._exchange(task, going, "recording")
                elif any(a.what == "pause" for a in actions):
                    self.say("paused: space goes on, q ends" if going.recorded else "going on")
                    going = self._exchange(task, going, "paused" if going.recorded else "recording")
        except KeyboardInterrupt:
            pass
        finally:
            self._end(task, going, Cue("OFF"))

    def wait_for_trigger(self, task: Task) -> bool:
        """Watch until trigger or space opens a point; False where q or Ctrl-C ends the day."""
        controls, going = Controls(" q"), self._begin(task, "waiting")
        try:
            while True:
                try:
                    triggered, actions = self._step(task, going, controls)
                except FloodError:
                    raise
                except DeviceError:
                    # Silence between two points is no fault; the port may need opening anew.
                    self._end(task, going)
                    if not self._open_again(controls):
                        return False
                    going = self._begin(task, "waiting")
                    continue
                if triggered or actions:
                    return triggered or actions[-1].what == "pause"
        except KeyboardInterrupt:
            return False
        finally:
            self._end(task, going)

    def _open_again(self, controls: Controls) -> bool:
        """Whether the port is back; False where q ended the day before it was."""
        while not any(a.what == "end" for a in self._asked(controls, self.clock.seconds())):
            if self._last is not None:
                self.display.show(self._last)
            try:
                self.port.again()
            except DeviceError:
                self.clock.sleep(0.3)
            else:
                return True
        return False

    def _asked(self, controls: Controls, now_s: float) -> list[Action]:
        return controls.feed(self.keyboard(), now_s) + self.display.take(now_s, controls.allowed)

    def _begin(self, task: Task, phase: str) -> _Going:
        started, recorded = self.clock.utc(), phase == "recording"
        writer = task.new_recording(started) if recorded else Unrecorded()
        if recorded:
            self.recordings.append(writer.path)
            self.say(f"recording {writer.path}")
        capture = Capture(
            self.port,
            self.port.again,
            writer,
            self.clock,
            None if recorded else _WATCHING,
            say=self.say if recorded else lambda _: None,
        )
        task.begin(capture, started, recorded)
        return _Going(capture, phase)

    def _exchange(self, task: Task, going: _Going, phase: str) -> _Going:
        self._end(task, going)
        return self._begin(task, phase)

    def _end(self, task: Task, going: _Going, cue: Cue | None = None) -> None:
        if going.ended:  # a Ctrl-C can come between two recordings
            return
        going.ended = True
        capture = going.capture
        try:
            if cue is not None:
                capture.send(encode(cue))
        finally:
            capture.close()
        if going.recorded and capture.empty:
            self.recordings.remove(capture.writer.path)
            self.say("nothing came: no recording is kept")
        elif going.recorded:
            self.taken += len(capture.builder)
            self.heard = capture.heard
            self.say(f"kept {capture.writer.path}")
        task.end()

    def _step(self, task: Task, going: _Going, controls: Controls) -> tuple[bool, list[Action]]:
        """Take what came and what was typed; whether the trigger was pressed, and the actions."""
        capture = going.capture
        pieces = capture.step()
        now = capture.elapsed_s()
        if going.phase == "waiting":
            pieces = self._until_trigger(capture, pieces)
        triggered, actions = False, []
        for piece in pieces:
            if isinstance(piece, Sound) and isinstance(piece.sentence, Key):
                triggered |= piece.sentence.key == TRIGGER_KEY and piece.sentence.down
                actions += _of_board(going, piece.sentence, now)
        typed = self._asked(controls, now)
        if going.recorded:
            for action in typed:
                if kept := _note(capture, action):
                    self._kept = self.clock.seconds(), f"in the recording: {kept}"
        actions += typed
        for action in actions if going.recorded else []:
            before = len(task.said)
            task.act(action, now)
            if len(task.said) > before:
                self._kept = self.clock.seconds(), task.said[-1]
        if (at_s := self.clock.seconds()) >= self._due_s:
            # A moment that came late does not put off the next one.
            every_s = self.display.every_s
            self._due_s = max(self._due_s + every_s, at_s + every_s / 2)
            self._show(task, going, controls)
        return triggered, actions

    def _until_trigger(self, capture: Capture, pieces: list[Piece]) -> list[Piece]:
        """Pieces up to the opening trigger; what follows belongs to the point's recording."""
        for i, piece in enumerate(pieces):
            if isinstance(piece, Sound) and isinstance(piece.sentence, Key):
                key = piece.sentence
                if key.key == TRIGGER_KEY and key.down:
                    rest = [*pieces[i + 1 :], *capture.stop()]
                    self.port.give_back(b"".join(_as_sent(piece) for piece in rest))
                    return pieces[: i + 1]
        return pieces

    def _show(self, task: Task, going: _Going, controls: Controls) -> None:
        self._shown_s = self.clock.seconds()
        capture = going.capture
        now = capture.elapsed_s()
        state = task.state(now)
        for sentence in _taken(task.said):
            self.say(sentence)
        trouble = _trouble(capture, now)
        # What a person has just entered is confirmed before anything else is told.
        kept_s, _ = self._kept
        said_s, message = self._kept if self._shown_s - kept_s < KEPT_STAYS_S else self._message
        idle = {
            "paused": "paused: nothing is recorded",
            "waiting": f"the trigger opens {state.point}",
        }
        state = replace(
            state,
            to_do=idle.get(going.phase, state.to_do),
            warnings=(trouble,) if trouble else state.warnings,
            phase=going.phase,
            elapsed_s=now,
            counts=_counts(going, state.counts.newest_seq),
            keys=task.key_help if going.phase != "waiting" else "space open   q end the day",
            allowed=controls.allowed,
            prompt=controls.prompt,
            message=message if self._shown_s - said_s < MESSAGE_STAYS_S else "",
            panel=state.panel if going.phase == "waiting" else (),
        ).through(self.door)
        due = _taken(task.cues)
        for caution in state.warnings:
            cue = _CUE_OF.get(caution.kind)
            if cue and now - going.sounded.get(cue, -1e9) >= CUE_EVERY_S:
                going.sounded[cue] = now
                due.append(cue)
        for cue in due:
            capture.send(encode(Cue(cue)))
        if due and self.bell:
            self.display.bell()
        self._last = state
        self.display.show(state)
        task.between()


def _taken(due: list[str]) -> list[str]:
    taken, due[:] = list(due), []
    return taken


def _of_board(going: _Going, key: Key, now_s: float) -> list[Action]:
    """What the board's press key means: a press, and a redo where it was held down."""
    if key.key != PRESS_KEY:
        return []
    if key.down:
        going.pressed_ms = key.t_ms
        return [Action("press", now_s)]
    pressed_ms, going.pressed_ms = going.pressed_ms, None
    if pressed_ms is None or not LONG_PRESS_S <= (key.t_ms - pressed_ms) % 2**32 / 1000.0 < 60.0:
        return []
    return [Action("redo", now_s)]


def _note(capture: Capture, action: Action) -> str:
    """Put what was typed into the recording; what it now holds, in words."""
    at_s = round(action.at_s, 3)
    match action.what:
        case "press":
            capture.note(key="mark")
            return f"press at {at_s:.0f} s"
        case "name":
            capture.note(label=action.text, kind=action.kind, at_s=at_s)
            return f"name {action.text}, from {at_s:.0f} s on" if action.text else "end of a name"
        case "note":
            capture.note(text=action.text, at_s=at_s)
            return f"note {action.text}"
    return ""


def _trouble(capture: Capture, now_s: float) -> Caution | None:
    """What is wrong where no measurement comes."""
    came = None if capture.empty else capture.heard
    if came is not None and now_s > SILENT_S:
        return Caution("silence", came.what)
    silent_s = now_s - capture.latest_s
    if silent_s > SILENT_S:
        words = f"nothing from the board for {silent_s:.0f} s: check cable and power"
        return Caution("silence", words)
    return None


def _counts(going: _Going, newest_seq: int) -> Counts:
    builder, grown = going.capture.builder, going.grown
    now = going.capture.elapsed_s()
    grown.append((now, len(builder)))
    while len(grown) > 2 and grown[1][0] < now - _RATE_OVER_S:
        grown.popleft()
    seconds = now - grown[0][0]
    rate = (len(builder) - grown[0][1]) / seconds if seconds > 0.5 else 0.0
    damaged = sum(builder.refused.values())
    return Counts(len(builder), rate, builder.lost, damaged, newest_seq)


def _as_sent(piece: Piece) -> bytes:
    """The bytes that a piece came from; the last one may be a sentence still on its way."""
    return piece.raw + b"\r\n" if isinstance(piece, Sound) else piece.raw
