"""The person who holds the board: where the line of sight goes, and how unsteadily.

A `Script` of way-points becomes a `Motion`: azimuth, elevation and roll of the line of sight on a
fine grid of time, the keys pressed and the notes made. Motion is exact; what sensors make of it is
the business of `sensor`.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import ArrayLike

from firmware_protocol import PRESS_KEY, TRIGGER_KEY
from logger.arrays import Floats, floats, freeze_columns
from logger.geometry import angle_between
from logger.horizon import Obstruction
from logger.moments import KeyPress, Note

_ROUNDING_S = 0.03  # a hand cannot turn a corner of the path in no time
KEY_DOWN_S = 0.15  # how long a key stays down


@dataclass(frozen=True)
class Glance:
    """The sight leaves the skyline for a while, recording all the same."""

    at_azimuth_deg: float  # Where on the first pass. [deg]
    seconds_s: float = 20.0  # [s]


@dataclass(frozen=True)
class Operator:
    """How a sweep is done."""

    speed_deg_s: float = 8.0  # Along the skyline, measured on the sky. [deg/s]
    climb_deg_s: float = 15.0  # Up and down. [deg/s]
    # Each is swept in turn, clockwise from the first azimuth to the second, which is greater
    # and not wrapped. [deg]
    sectors: tuple[tuple[float, float], ...] = ((0.0, 364.0),)
    passes: int = 2  # Over each sector: forth, back, forth..
    tremor_deg: float = 0.3  # Of the sight, RMS in each of the two directions, at 1.5 Hz. [deg]
    tilt_rms_deg: float = 4.0  # Of the tilt about the line of sight, RMS, slowly wandering. [deg]
    roll_tremor_deg: float = 0.0  # Of the hand about the line of sight, RMS, at 1.5 Hz. [deg]
    hand_g: float = 0.008  # Acceleration of the hand along each axis, RMS, low-passed at 4 Hz. [g]
    still_share: float = 0.3  # What is left of tremor and hand acceleration while holding still
    # Standard deviation of the constant by which a whole sweep is traced too high. [deg]
    tracing_bias_deg: float = 0.0
    pauses: int = 2  # Stops of a second on the way, at places the seed draws
    glances: tuple[Glance, ...] = ()
    # Azimuth and elevation of a target sighted (hold still, press) before and after. [deg]
    closing_target: tuple[float, float] | None = None
    opening_trigger: bool = False  # Press the trigger also at the start

    @classmethod
    def calm(cls) -> Operator:
        """8 degrees a second, 8 mg of hand acceleration."""
        return cls()

    @classmethod
    def brisk(cls) -> Operator:
        """20 degrees a second, 50 mg of hand acceleration."""
        return cls(speed_deg_s=20.0, hand_g=0.050)

    @classmethod
    def perfect(cls) -> Operator:
        """No tremor, no tilt, no hand motion, no pause."""
        return cls(tremor_deg=0.0, tilt_rms_deg=0.0, hand_g=0.0, pauses=0)


@dataclass(frozen=True, eq=False)
class Motion:
    """The line of sight in time, exactly; row i of every column is the same moment."""

    step_s: float  # Between rows; the first is at 0. [s]
    azimuth_deg: Floats  # Not wrapped, from true north. [deg] Shape (N,).
    # [deg] Shape (N,)
    elevation_deg: Floats
    tilt_deg: Floats
    acceleration_g: Floats  # Of the hand, north, east, down. [g] Shape (N, 3).
    keys: tuple[KeyPress, ...] = ()
    notes: tuple[Note, ...] = ()

    def __post_init__(self) -> None:
        n = freeze_columns(self, ("azimuth_deg", "elevation_deg", "tilt_deg"))
        freeze_columns(self, ("acceleration_g",), length=n, width=3)

    def __len__(self) -> int:
        return len(self.azimuth_deg)

    @property
    def duration_s(self) -> float:
        """From the first row to the last. [s]"""
        return (len(self) - 1) * self.step_s


@dataclass
class Script:
    """A task as way-points in time; straight between them until the hand rounds the corners."""

    azimuth_deg: float
    elevation_deg: float
    tilt_deg: float = 0.0
    rows: list[Floats] = field(default_factory=list)
    keys: list[KeyPress] = field(default_factory=list)
    notes: list[Note] = field(default_factory=list)
    now_s: float = 0.0

    def __post_init__(self) -> None:
        self._add([0.0], [self.azimuth_deg], [self.elevation_deg], [self.tilt_deg], still=True)

    def _add(
        self, t_s: ArrayLike, azimuth: ArrayLike, elevation: ArrayLike, tilt: ArrayLike, still: bool
    ) -> None:
        columns = np.broadcast_arrays(floats(t_s), azimuth, elevation, tilt, float(still))
        self.rows.append(np.stack([floats(c) for c in columns], axis=1))
        self.now_s = float(self.rows[-1][-1, 0])
        _, self.azimuth_deg, self.elevation_deg, self.tilt_deg, _ = map(float, self.rows[-1][-1])

    def hold(self, seconds_s: float, still: bool = True) -> None:
        """Stay here and hold still."""
        here = (self.azimuth_deg, self.elevation_deg, self.tilt_deg)
        self._add([self.now_s + 1e-3, self.now_s + seconds_s], *here, still)

    def rest(self, seconds_s: float) -> None:
        """Stop without holding particularly still."""
        self.hold(seconds_s, still=False)

    def track(self, seconds_s: float, azimuth_deg: float, elevation_deg: float) -> None:
        """Hold still on something that moves to a direction meanwhile."""
        self._add([self.now_s + 1e-3], self.azimuth_deg, self.elevation_deg, self.tilt_deg, True)
        to = self.azimuth_deg + float(angle_between(azimuth_deg, self.azimuth_deg))
        self._add([self.now_s + seconds_s], to, elevation_deg, self.tilt_deg, still=True)

    def go(
        self,
        azimuth_deg: float,
        elevation_deg: float,
        tilt_deg: float | None = None,
        speed_deg_s: float = 45.0,
        wrapped: bool = True,
    ) -> None:
        """Move smoothly to a direction and tilt, the shorter way round unless not wrapped."""
        start = floats([self.azimuth_deg, self.elevation_deg, self.tilt_deg])
        tilt = self.tilt_deg if tilt_deg is None else tilt_deg
        turn = azimuth_deg - start[0]
        if wrapped:
            turn = float(angle_between(azimuth_deg, start[0]))
        change = floats([turn, elevation_deg - start[1], tilt - start[2]])
        seconds = max(0.3, 1.9 * float(np.abs(change).max()) / speed_deg_s)
        u = np.linspace(0, 1, 41)[1:]
        ease = u**3 * (10 - 15 * u + 6 * u**2)  # no jerk at either end
        way = start[:, None] + change[:, None] * ease
        self._add(self.now_s + u * seconds, way[0], way[1], way[2], still=False)

    def follow(
        self, azimuth_deg: Floats, elevation_deg: Floats, speed_deg_s: float, climb_deg_s: float
    ) -> Floats:
        """Trace a line from where it starts; returns the time of each of its nodes."""
        turn, climb = np.diff(azimuth_deg), np.diff(elevation_deg)
        middle = np.radians((elevation_deg[1:] + elevation_deg[:-1]) / 2)
        seconds = np.hypot(turn * np.cos(middle) / speed_deg_s, climb / climb_deg_s)
        t = self.now_s + np.concatenate([[0.0], np.cumsum(seconds)])
        self._add(t[1:], azimuth_deg[1:], elevation_deg[1:], self.tilt_deg, still=False)
        return floats(t)

    def press(self, key: int, at_s: float | None = None) -> None:
        """Press and let go a key, now or at a moment."""
        t = self.now_s if at_s is None else at_s
        self.keys += [KeyPress(t, key, True), KeyPress(t + KEY_DOWN_S, key, False)]

    def sight(self, azimuth_deg: float, elevation_deg: float, hold_s: float = 1.6) -> None:
        """Move to a direction, hold still there, press towards the end."""
        self.go(azimuth_deg, elevation_deg)
        self.hold(hold_s)
        self.press(PRESS_KEY, self.now_s - 0.3)

    def note(self, obstruction: Obstruction, at_s: float) -> None:
        """Name what is being traced."""
        self.notes.append(Note(at_s, obstruction.name, obstruction.kind))

    def finish(self) -> None:
        """Press the trigger and hold on for a moment, as the last of a task."""
        self.hold(0.4)
        self.press(TRIGGER_KEY)
        self.hold(0.4)

    def motion(self, operator: Operator, rng: np.random.Generator, step_s: float) -> Motion:
        """The script as this operator performs it, on a grid of time."""
        rows = np.concatenate(self.rows)
        n = int(np.floor(rows[-1, 0] / step_s)) + 1
        t = np.arange(n) * step_s
        azimuth, elevation, tilt, still = (
            _rounded(np.interp(t, rows[:, 0], rows[:, i]), step_s) for i in (1, 2, 3, 4)
        )
        share = 1 - (1 - operator.still_share) * _rounded(still, step_s, 0.15)
        tremor = [operator.tremor_deg * share * _tremor(rng, n, step_s) for _ in range(2)]
        elevation = elevation + tremor[0]
        # The same shake turns a heading further the steeper the sight.
        azimuth = azimuth + tremor[1] / np.cos(np.radians(np.clip(elevation, -85, 85)))
        tilt = tilt + operator.tilt_rms_deg * slow_noise(rng, n, step_s, 0.25)
        shake = [operator.hand_g * share * slow_noise(rng, n, step_s, 4.0) for _ in range(3)]
        if operator.roll_tremor_deg:
            tilt = tilt + operator.roll_tremor_deg * _tremor(rng, n, step_s)
        return Motion(
            step_s=step_s,
            azimuth_deg=azimuth,
            elevation_deg=np.clip(elevation, -90.0, 90.0),
            tilt_deg=tilt,
            acceleration_g=np.stack(shake, axis=1),
            keys=tuple(self.keys),
            notes=tuple(sorted(self.notes, key=lambda note: note.t_s)),
        )


CALM = Operator()
"""The operator unless another is named."""

LYING = Operator.perfect()
"""Nobody: the board lies on something."""


def braced(operator: Operator) -> Operator:
    """The operator with arms rested, as for level and bearing sights: the tilt wanders little."""
    return replace(operator, tilt_rms_deg=min(operator.tilt_rms_deg, 0.5))


def _rounded(column: Floats, step_s: float, width_s: float = _ROUNDING_S) -> Floats:
    """Smoothed by a Gaussian; the ends are held."""
    half = int(np.ceil(4 * width_s / step_s))
    kernel = np.exp(-0.5 * (np.arange(-half, half + 1) * step_s / width_s) ** 2)
    padded = np.pad(column, half, mode="edge")
    return floats(np.convolve(padded, kernel / kernel.sum(), mode="valid"))


def _shaped(
    rng: np.random.Generator, n: int, step_s: float, gain: Callable[[Floats], Floats]
) -> Floats:
    """Noise of standard deviation 1 whose spectrum has a shape."""
    # A length with small factors keeps the transform fast whatever n is.
    length = 1 << int(np.ceil(np.log2(max(n, 16))))
    weight = gain(floats(np.fft.rfftfreq(length, step_s)))
    twice = np.full(len(weight), 2.0)
    twice[[0, -1]] = 1.0
    noise = np.fft.irfft(np.fft.rfft(rng.normal(size=length)) * weight, length)
    return floats(noise[:n] / np.sqrt((twice * weight**2).sum() / length))


def _tremor(rng: np.random.Generator, n: int, step_s: float) -> Floats:
    return _shaped(rng, n, step_s, lambda hz: np.exp(-0.5 * ((hz - 1.5) / 0.25) ** 2))


def slow_noise(rng: np.random.Generator, n: int, step_s: float, corner_hz: float) -> Floats:
    """Second-order low-passed noise (Butterworth)."""
    return _shaped(rng, n, step_s, lambda hz: 1 / np.sqrt(1 + (hz / corner_hz) ** 4))
