"""A calibration recorded live: what to do next is said while the board sends.

Everything received is recorded at once, as in a sweep. The board's trigger key, q or Ctrl-C ends
the recording; a tumble ends by itself when it has covered enough.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from itertools import pairwise
from pathlib import Path
from typing import Any

import numpy as np

from firmware_protocol import PRESS_KEY, TRIGGER_KEY, Cue, encode
from logger.arrays import Floats, floats
from logger.calibration import NEVER_LOOK, TumbleCoverage
from logger.calibration.bearing import SHADOW_HOW, TURN_BETWEEN, refuse_sun_now
from logger.calibration.level import HOW as LEVEL_HOW
from logger.errors import DeviceError
from logger.geometry import attitude_matrix
from logger.job import Job, calibration_path
from logger.live.keyboard import Keyboard
from logger.recording import Capture, Clock, Link, RecordingWriter
from logger.recording.samples import Samples
from logger.recording.writer import header_of

SAY_EVERY_S = 1.0
SILENT_S = 1.5
ON_THE_GROUND = "Calibrate on the ground, before going up, 10 m from cars, steel and cables."

HOW: Mapping[str, tuple[str, ...]] = {
    "compass": (
        ON_THE_GROUND,
        "Put the board down and leave it for 3 s. Then pick it up and turn it over all its sides, "
        "slowly, turning yourself round as well, until it says enough.",
    ),
    "swing": (
        ON_THE_GROUND,
        "Sight marks of known bearing all the way round, at least 8 without a gap above 60°: "
        "hold still on each for 3 s and press the mark key.",
    ),
    "level": (
        ON_THE_GROUND,
        LEVEL_HOW[0].upper() + LEVEL_HOW[1:] + "; three times.",
        "Then, if you can: sight along any straight edge for 4 s, turn round and sight back "
        "along it for 4 s, upright both times.",
    ),
    "sun": (
        NEVER_LOOK[0].upper() + NEVER_LOOK[1:] + ".",
        SHADOW_HOW[0].upper() + SHADOW_HOW[1:] + ".",
    ),
    "target": (
        "Sight the landmark, hold still for 3 s and press the mark key; three times.",
        TURN_BETWEEN + ".",
    ),
    "plane": (
        "Lay the board on its back on the surface, its sight up the slope, and leave it for 5 s. "
        "Lay it again turned end for end if you can reach.",
        "Do not lean over an edge or step on fragile roofing for it.",
    ),
}
"""What to do, a sentence an item, by what is recorded."""

WHILE: Mapping[str, str] = {
    "sun": "never look at the sun; sight along the shadow",
    "level": "on the same mark",
    "target": "on the landmark",
    "swing": "on the next mark",
    "plane": "leave it lying",
}

HOLDS: Mapping[str, tuple[float, int]] = {"level": (4.0, 3), "sun": (3.0, 3), "target": (3.0, 3)}
"""How long to hold still, and how often: level on either face, bearings pressed. [s]"""

END = "enough: end it with the trigger or q"
_MOVED_DEG = 3.0
"""A hand that holds still moves the mean sight of half a second by less; a cheap board's noise too
(common practice, no source). [deg]"""


@dataclass
class Guide:
    """What to say of a calibration going on."""

    how: str  # One of `HOW`
    coverage: TumbleCoverage = field(default_factory=TumbleCoverage)
    presses: int = 0
    still_s: float = 0.0
    held: dict[bool, int] = field(default_factory=lambda: {True: 0, False: 0})
    _before: Floats | None = None
    _since_s: float | None = None
    _pressed_before: int = 0

    def take(self, samples: Samples) -> None:
        """Take what came since the last call."""
        if self.how == "compass":
            self.coverage = self.coverage.plus(samples)
            return
        postures = [_posture(half) for half in _halves(samples)]
        known = [p for p in (self._before, *postures) if p is not None]
        self._before = postures[-1]
        moved = max((_between_deg(a, b) for a, b in pairwise(known)), default=np.inf)
        if moved > _MOVED_DEG:
            self._since_s, self.still_s = None, 0.0
            return
        if self._since_s is None:
            self._since_s, self._pressed_before = float(samples.received_s[0]), self.presses
        before_s, self.still_s = self.still_s, float(samples.received_s[-1]) - self._since_s
        if round(before_s) < self._wanted_s <= round(self.still_s):
            self.held[bool(known[-1][0, 2] < 0)] += 1

    @property
    def _wanted_s(self) -> float:
        return HOLDS.get(self.how, (np.inf, 0))[0]

    @property
    def enough(self) -> bool:
        """Whether the recording may end by itself."""
        return self.how == "compass" and self.coverage.enough

    def line(self, elapsed_s: float) -> str:
        """One line for the operator."""
        clock = f"{elapsed_s:5.0f} s"
        if self.how == "compass":
            return f"{clock}  {100 * self.coverage.share:3.0f} %  {self.coverage.advice()}"
        still = f"held still {self.still_s:.0f} s" if self._since_s is not None else "moving"
        return "  ".join(part for part in (clock, still, self._done(), self._next()) if part)

    def _done(self) -> str:
        if self.how == "level":
            return f"held upright {self.held[True]}, rolled over {self.held[False]}"
        return f"{self.presses} pressed" if self.presses else ""

    def _next(self) -> str:
        while_at_it = WHILE[self.how]
        done = min(self.held.values()) if self.how == "level" else self.presses
        if 0 < HOLDS.get(self.how, (0.0, 0))[1] <= done:
            return f"{END}; {while_at_it}" if self.how == "sun" else END
        if round(self.still_s) >= self._wanted_s:
            if self.how == "level":
                return "roll it over"
            if self.presses == self._pressed_before:
                return f"press now; {while_at_it}"
        return while_at_it


def _halves(samples: Samples) -> tuple[Samples, Samples]:
    middle = len(samples) // 2
    return samples.rows(slice(None, middle)), samples.rows(slice(middle, None))


def _posture(samples: Samples) -> Floats | None:
    """Two directions that tell how the board is held: force and field, or up and the sight."""
    raw = samples.rows(samples.has_field)
    if len(raw):
        vectors = np.stack([raw.force_g.mean(axis=0), raw.field_ut.mean(axis=0)])
    else:
        own = samples.rows(samples.has_attitude)
        if not len(own):
            return None
        tilt = np.nan_to_num(own.tilt_deg)
        matrix = attitude_matrix(own.heading_deg, tilt, own.pitch_deg).mean(axis=0)
        # Force points up, against gravity; the board's axes are forward, right and down.
        vectors = np.stack([-matrix[2], matrix[0]])
    return floats(vectors / np.maximum(np.linalg.norm(vectors, axis=1, keepdims=True), 1e-9))


def _between_deg(one: Floats, other: Floats) -> float:
    """The larger of the two turns between postures. [deg]"""
    return float(np.degrees(np.arccos(np.clip((one * other).sum(axis=1), -1.0, 1.0))).max())


def record_guided(
    job: Job,
    purpose: str,
    how: str,
    open_port: Callable[[], Link],
    clock: Clock,
    say: Callable[[str], None],
    keyboard: Keyboard,
    *,
    more: Mapping[str, Any] | None = None,
    seconds_s: float | None = None,
) -> Path:
    """Record a calibration into the job, saying what to do next."""
    if how == "sun":
        refuse_sun_now(job.site, clock.utc())
    link = open_port()
    started = clock.utc()
    header = header_of(purpose, started, job.site, more or {})
    writer = RecordingWriter(calibration_path(job, purpose, started), header)
    capture = Capture(link, open_port, writer, clock, say=say)
    guide = Guide(how)
    try:
        _run(capture, guide, say, keyboard, seconds_s)
    except KeyboardInterrupt:
        pass
    finally:
        capture.send(encode(Cue("OFF")))
        capture.close()
    if capture.empty:
        raise DeviceError("nothing came from the board: no recording is kept")
    say(f"kept {writer.path}")
    if (came := capture.heard) is not None:
        raise DeviceError(came.what, hint=came.hint)
    return writer.path


def _run(
    capture: Capture,
    guide: Guide,
    say: Callable[[str], None],
    keyboard: Keyboard,
    seconds_s: float | None,
) -> None:
    taken, pressed, said_s = 0, 0, -SAY_EVERY_S
    while True:
        capture.step()
        now = capture.elapsed_s()
        typed = keyboard.read()
        if "m" in typed.lower():
            capture.note(key="mark")
        if "q" in typed.lower() or (seconds_s is not None and now > seconds_s):
            return
        if now - said_s < SAY_EVERY_S:
            continue
        said_s = now
        stream = capture.builder.stream()
        downs = [key for key in stream.keys if key.down]
        guide.take(stream.samples.rows(slice(taken, None)))
        taken = len(stream.samples)
        guide.presses = sum(key.key == PRESS_KEY for key in downs)
        if guide.presses > pressed:
            pressed = guide.presses
            capture.send(encode(Cue("GOOD")))
        silent_s = now - capture.latest_s
        if now > SILENT_S and not capture.empty and (came := capture.heard) is not None:
            say(f"{now:5.0f} s  {came.what}")
        elif silent_s < SILENT_S:
            say(guide.line(now))
        else:
            say(f"{now:5.0f} s  nothing from the board for {silent_s:.0f} s")
        if guide.enough:
            capture.send(encode(Cue("DONE")))
            return
        if any(key.key == TRIGGER_KEY for key in downs):
            return
