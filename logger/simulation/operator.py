"""The person who holds the board: where the line of sight goes, and how unsteadily.

A task (sweep, corners, compass tumble, level, bearing, plane) becomes a `Motion`: azimuth,
elevation and tilt of the line of sight on a fine grid of time, the keys pressed and the notes
made. Motion is exact; what sensors make of it is the business of `sensor`.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace
from itertools import pairwise

import numpy as np
from numpy.typing import ArrayLike

from firmware_protocol import PRESS_KEY, TRIGGER_KEY
from logger.arrays import Floats, floats, freeze_columns
from logger.geometry import angle_between, angles_of
from logger.horizon import Obstruction
from logger.recording.samples import KeyPress, Note
from logger.simulation.scene import Scene

_ROUNDING_S = 0.03  # a hand cannot turn a corner of the path in no time
_HANGING_DEG = -55.0  # where the sight points while the operator walks
_KEY_S = 0.15  # how long a key stays down


@dataclass(frozen=True)
class Glance:
    """The sight leaves the skyline for a while, recording all the same."""

    at_azimuth_deg: float  # Where on the first pass. [deg]
    seconds_s: float = 20.0  # [s]
    to_elevation_deg: float = -40.0  # [deg]


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
    hand_g: float = 0.008  # Acceleration of the hand along each axis, RMS, low-passed at 4 Hz. [g]
    still_share: float = 0.3  # What is left of tremor and hand acceleration while holding still
    # Standard deviation of the constant by which a whole sweep is traced too high. [deg]
    tracing_bias_deg: float = 0.0
    pauses: int = 2  # Stops of a second on the way, at places the seed draws
    glances: tuple[Glance, ...] = ()
    # Distance of the board from the axis the operator turns about; the turning then adds its
    # own acceleration. [m]
    arm_m: float = 0.0
    # Azimuth and elevation of a mark sighted (hold still, press) before and after. [deg]
    closing_target: tuple[float, float] | None = None
    opening_trigger: bool = False  # Press the trigger also at the start
    # Press the mark key, in motion, on reaching each named obstruction of the first pass
    mark_labels: bool = False

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

    def hold(self, seconds_s: float) -> None:
        """Hold still."""
        here = (self.azimuth_deg, self.elevation_deg, self.tilt_deg)
        self._add([self.now_s + 1e-3, self.now_s + seconds_s], *here, still=True)

    def rest(self, seconds_s: float) -> None:
        """Stop without holding particularly still."""
        here = (self.azimuth_deg, self.elevation_deg, self.tilt_deg)
        self._add([self.now_s + 1e-3, self.now_s + seconds_s], *here, still=False)

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
        self.keys += [KeyPress(t, key, True), KeyPress(t + _KEY_S, key, False)]

    def sight(self, azimuth_deg: float, elevation_deg: float, hold_s: float = 1.6) -> None:
        """Move to a direction, hold still there, press the mark key towards the end."""
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
        smooth_azimuth = np.radians(azimuth)
        share = 1 - (1 - operator.still_share) * _rounded(still, step_s, 0.15)
        tremor = [operator.tremor_deg * share * _tremor(rng, n, step_s) for _ in range(2)]
        elevation = elevation + tremor[0]
        # The same shake turns a heading further the steeper the sight.
        azimuth = azimuth + tremor[1] / np.cos(np.radians(np.clip(elevation, -85, 85)))
        tilt = tilt + operator.tilt_rms_deg * _slow(rng, n, step_s, 0.25)
        shake = [operator.hand_g * share * _slow(rng, n, step_s, 4.0) for _ in range(3)]
        acceleration = np.stack(shake, axis=1)
        if operator.arm_m:
            place = operator.arm_m * np.stack(
                [np.cos(smooth_azimuth), np.sin(smooth_azimuth), np.zeros(n)], axis=1
            )
            swing = np.gradient(np.gradient(place, step_s, axis=0), step_s, axis=0)
            acceleration = acceleration + swing / 9.80665
        return Motion(
            step_s=step_s,
            azimuth_deg=azimuth,
            elevation_deg=np.clip(elevation, -90.0, 90.0),
            tilt_deg=tilt,
            acceleration_g=acceleration,
            keys=tuple(self.keys),
            notes=tuple(sorted(self.notes, key=lambda note: note.t_s)),
        )


def sweep_script(scene: Scene, operator: Operator, rng: np.random.Generator) -> Script:
    """Along the skyline, each sector forth and back, ending with the trigger."""
    script: Script | None = None
    for azimuth, elevation in _lines(scene, operator, rng):
        if script is None:
            script = _opened(operator, float(azimuth[0]), float(elevation[0]))
        else:
            script.go(float(azimuth[0]), float(elevation[0]))
            script.rest(0.5)
        _passes(script, scene, operator, (azimuth, elevation), rng)
    if script is None:
        raise ValueError("a sweep needs at least one sector")
    return _closed(script, operator)


def spots_script(
    scenes: Sequence[Scene],
    operator: Operator,
    rng: np.random.Generator,
    walk_s: float = 6.0,
) -> Script:
    """Point after point in silence: the trigger opens and closes each; between, the board hangs."""
    script = Script(0.0, _HANGING_DEG)
    for scene in scenes:
        script.rest(walk_s)
        lines = _lines(scene, operator, rng)
        start = operator.closing_target or (float(lines[0][0][0]), float(lines[0][1][0]))
        script.go(*start)
        script.hold(0.6)
        script.press(TRIGGER_KEY)
        if operator.closing_target is not None:
            script.hold(2.0)
            _press_on_closing_target(script)
        script.hold(0.4)
        for azimuth, elevation in lines:
            script.go(float(azimuth[0]), float(elevation[0]))
            _passes(script, scene, operator, (azimuth, elevation), rng)
        _closed(script, operator)
        script.go(script.azimuth_deg, _HANGING_DEG)
    script.rest(1.0)
    return script


def _lines(
    scene: Scene, operator: Operator, rng: np.random.Generator
) -> list[tuple[Floats, Floats]]:
    """The skyline of each sector as this operator traces it."""
    bias = operator.tracing_bias_deg * float(rng.normal())
    lines = [scene.path(start, end) for start, end in operator.sectors]
    return [(azimuth, elevation + bias) for azimuth, elevation in lines]


def _passes(
    script: Script,
    scene: Scene,
    operator: Operator,
    line: tuple[Floats, Floats],
    rng: np.random.Generator,
) -> None:
    """Forth and back along one line."""
    azimuth, elevation = line
    for number in range(operator.passes):
        forth = number % 2 == 0
        way = (azimuth, elevation) if forth else (azimuth[::-1], elevation[::-1])
        if number:
            script.rest(0.4)
        _trace(script, scene, operator, way, rng, first=number == 0)


def _opened(operator: Operator, azimuth: float, elevation: float) -> Script:
    if operator.closing_target is None:
        script = Script(azimuth, elevation)
        script.hold(1.0)
    else:
        script = Script(*operator.closing_target)
        script.hold(2.2)
        _press_on_closing_target(script)
        script.hold(0.3)
        script.go(azimuth, elevation)
        script.rest(0.3)
    if operator.opening_trigger:
        script.press(TRIGGER_KEY, 0.3)
    return script


def _press_on_closing_target(script: Script) -> None:
    script.press(PRESS_KEY, script.now_s - 0.4)
    script.notes.append(Note(script.now_s, more={"sight": "closing target"}))


def _closed(script: Script, operator: Operator) -> Script:
    if operator.closing_target is not None:
        script.go(*operator.closing_target)
        script.hold(2.2)
        _press_on_closing_target(script)
    script.finish()
    return script


def _trace(
    script: Script,
    scene: Scene,
    operator: Operator,
    way: tuple[Floats, Floats],
    rng: np.random.Generator,
    first: bool,
) -> None:
    """One pass along a line, with its pauses, glances and labels."""
    azimuth, elevation = way
    stops = sorted(int(i) for i in rng.integers(0, len(azimuth), operator.pauses))
    looks = {}
    if first:
        for glance in operator.glances:
            looks[int(np.argmin(np.abs(angle_between(azimuth, glance.at_azimuth_deg))))] = glance
    cuts = sorted({0, *stops, *looks, len(azimuth) - 1})
    named: str | None = None
    for i, j in pairwise(cuts):
        if i in looks:
            glance = looks[i]
            script.go(float(azimuth[i]), glance.to_elevation_deg, wrapped=False)
            script.rest(glance.seconds_s)
            script.go(float(azimuth[i]), float(elevation[i]), wrapped=False)
        elif i in stops:
            script.rest(1.0)
        times = script.follow(
            azimuth[i : j + 1], elevation[i : j + 1], operator.speed_deg_s, operator.climb_deg_s
        )
        if first:
            # Just past a node: at a vertical edge the next thing has begun.
            for t, a in zip(times[:-1], azimuth[i:j] + 1e-6, strict=True):
                here = scene.obstruction_at(float(a))
                name = here.name if here else None
                if name != named and here is not None:
                    script.note(here, float(t))
                    if operator.mark_labels:
                        script.press(PRESS_KEY, float(t))
                named = name


def corners_script(
    scene: Scene, operator: Operator, corners: tuple[Floats, Floats] | None = None
) -> Script:
    """Hold still on each corner of the skyline and press; the trigger ends it."""
    azimuth, elevation = corners or scene.corners()
    script = _opened(operator, float(azimuth[0]), float(elevation[0]))
    named: str | None = None
    onward = [*azimuth[1:], azimuth[0] + 360.0]
    for a, e, following in zip(azimuth, elevation, onward, strict=True):
        script.sight(float(a), float(e))
        # What leads on to the next corner; at the foot of a vertical edge, the edge itself.
        here = scene.obstruction_at((float(a) + float(following)) / 2 + 1e-6)
        if here is not None and here.name != named:
            script.note(here, script.now_s)
            named = here.name
    return _closed(script, operator)


def tumble_motion(
    operator: Operator,
    rng: np.random.Generator,
    step_s: float,
    seconds_s: float = 40.0,
    still_s: float = 2.0,
    hemisphere: bool = False,
) -> Motion:
    """The compass tumble: every side of the board up, down, north and south in turn."""
    n = int(np.floor(seconds_s / step_s)) + 1
    t = np.arange(n) * step_s
    # Runs up to full speed within a second after the still start.
    ramp = np.clip((t - still_s) / 1.0, 0.0, 1.0)
    run = np.cumsum(ramp) * step_s / max(seconds_s - still_s - 0.5, 1.0)
    phase = rng.uniform(0, 2 * np.pi, 3)
    wander = [0.3 * _slow(rng, n, step_s, 0.2) * ramp for _ in range(3)]
    turns = seconds_s / 40.0
    azimuth = np.degrees(phase[0]) + 360 * (2.0 * turns * run) + 25 * wander[0]
    pitch = 72 * np.sin(2 * np.pi * 3.0 * turns * run + 12 * np.pi / 180 * wander[1])
    tilt = 360 * (5.0 * turns * run) + 20 * wander[2]
    if hemisphere:
        pitch = 30 * np.sin(2 * np.pi * 3.0 * turns * run)
        tilt = 35 * np.sin(2 * np.pi * 5.0 * turns * run)
    shake = np.stack([operator.hand_g * _slow(rng, n, step_s, 4.0) for _ in range(3)], axis=1)
    shake *= np.maximum(ramp, operator.still_share)[:, None]
    end = float(t[-1])
    keys = (
        KeyPress(end - 0.5, TRIGGER_KEY, True),
        KeyPress(end - 0.5 + _KEY_S, TRIGGER_KEY, False),
    )
    return Motion(step_s, azimuth, pitch, tilt, shake, keys)


def level_script(
    mark: tuple[float, float],
    pairs: int = 1,
    seconds_s: float = 4.0,
    edge: tuple[float, float] | None = None,
) -> Script:
    """The same mark sighted face left and face right; then, if wanted, an edge end for end."""
    script = Script(*mark)
    for _ in range(pairs):
        script.go(*mark, tilt_deg=0.0)
        script.hold(seconds_s)
        script.go(*mark, tilt_deg=180.0, speed_deg_s=90.0)
        script.hold(seconds_s)
    if edge is not None:
        script.go(*edge, tilt_deg=0.0, speed_deg_s=90.0)
        script.hold(seconds_s)
        script.go(edge[0] + 180.0, -edge[1], speed_deg_s=90.0)
        script.hold(seconds_s)
    script.finish()
    return script


def bearing_script(
    direction: Callable[[float], tuple[float, float]],
    sights: int = 3,
    seconds_s: float = 3.0,
    turned: bool = True,
) -> Script:
    """A landmark or the shadow sighted again and again, each held still and marked."""
    script = Script(*direction(0.0))
    script.hold(0.5)
    for number in range(sights):
        if number:
            a, e = direction(script.now_s)
            script.go(a + 35.0, e + 4.0)
            if turned:
                script.go(script.azimuth_deg + 290.0, 0.0, speed_deg_s=40.0, wrapped=False)
        script.go(*direction(script.now_s + 1.0))
        script.track(seconds_s, *direction(script.now_s + seconds_s))
        script.press(PRESS_KEY, script.now_s - 0.4)
        script.rest(0.3)
    script.finish()
    return script


def swing_script(
    bearings_deg: Sequence[float], elevation_deg: float = 0.0, seconds_s: float = 3.0
) -> Script:
    """Marks of known bearing sighted all the way round, each held still and marked."""
    script = Script(float(bearings_deg[0]), elevation_deg)
    for bearing in bearings_deg:
        script.sight(float(bearing), elevation_deg, seconds_s)
        script.notes.append(
            Note(script.now_s, f"bearing {bearing:g}", "", {"bearing_deg": float(bearing)})
        )
    script.finish()
    return script


def plane_script(
    tilt_deg: float, azimuth_deg: float, twist_deg: float = 0.0, seconds_s: float = 5.0
) -> Script:
    """The board laid on a plane with its back, its sight up the slope turned by the twist."""
    t, a, w = np.radians([tilt_deg, azimuth_deg, twist_deg])
    up_slope = floats([-np.cos(t) * np.cos(a), -np.cos(t) * np.sin(a), -np.sin(t)])
    into = floats([-np.sin(t) * np.cos(a), -np.sin(t) * np.sin(a), np.cos(t)])
    across = np.cross(into, up_slope)
    x = np.cos(w) * up_slope + np.sin(w) * across
    heading, roll, pitch = angles_of(np.stack([x, np.cross(into, x), into], axis=1))
    script = Script(float(heading), float(pitch), float(roll))
    script.hold(seconds_s)
    script.finish()
    return script


CALM = Operator()
"""The operator unless another is named."""

LYING = Operator(tremor_deg=0.0, tilt_rms_deg=0.0, hand_g=0.0, pauses=0)
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


def _slow(rng: np.random.Generator, n: int, step_s: float, corner_hz: float) -> Floats:
    """Second-order low-passed noise (Butterworth)."""
    return _shaped(rng, n, step_s, lambda hz: 1 / np.sqrt(1 + (hz / corner_hz) ** 4))
