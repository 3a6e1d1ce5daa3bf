"""What the operator does, a script a task: sweep, corners, tumble, level, bearing, swing, plane."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from itertools import pairwise

import numpy as np

from firmware_protocol import PRESS_KEY, TRIGGER_KEY
from logger.arrays import Floats, floats
from logger.geometry import angle_between, angles_of
from logger.moments import KeyPress, Note
from logger.simulation.motion import KEY_DOWN_S, Motion, Operator, Script, slow_noise
from logger.simulation.scene import Scene

TARGET = (63.0, 1.2)
"""Azimuth and elevation of what level and bearing are sighted on, where nothing else is given."""
_HANGING_DEG = -55.0  # where the sight points while the operator walks
_WALK_S = 6.0  # from point to point
_GLANCE_DEG = -40.0  # where a glance goes


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


def points_script(scenes: Sequence[Scene], operator: Operator, rng: np.random.Generator) -> Script:
    """Point after point in silence: the trigger opens and closes each; between, the board hangs."""
    script = Script(0.0, _HANGING_DEG)
    for scene in scenes:
        script.rest(_WALK_S)
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
            script.go(float(azimuth[i]), _GLANCE_DEG, wrapped=False)
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
    wander = [0.3 * slow_noise(rng, n, step_s, 0.2) * ramp for _ in range(3)]
    turns = seconds_s / 40.0
    azimuth = np.degrees(phase[0]) + 360 * (2.0 * turns * run) + 25 * wander[0]
    pitch = 72 * np.sin(2 * np.pi * 3.0 * turns * run + 12 * np.pi / 180 * wander[1])
    tilt = 360 * (5.0 * turns * run) + 20 * wander[2]
    if hemisphere:
        pitch = 30 * np.sin(2 * np.pi * 3.0 * turns * run)
        tilt = 35 * np.sin(2 * np.pi * 5.0 * turns * run)
    shake = np.stack([operator.hand_g * slow_noise(rng, n, step_s, 4.0) for _ in range(3)], axis=1)
    shake *= np.maximum(ramp, operator.still_share)[:, None]
    end = float(t[-1])
    keys = (
        KeyPress(end - 0.5, TRIGGER_KEY, True),
        KeyPress(end - 0.5 + KEY_DOWN_S, TRIGGER_KEY, False),
    )
    return Motion(step_s, azimuth, pitch, tilt, shake, keys)


def level_script(
    target: tuple[float, float] = TARGET,
    pairs: int = 1,
    seconds_s: float = 4.0,
    edge: tuple[float, float] | None = None,
) -> Script:
    """One target sighted face left and face right; then, if wanted, an edge end for end."""
    script = Script(*target)
    for _ in range(pairs):
        script.go(*target, tilt_deg=0.0)
        script.hold(seconds_s)
        script.go(*target, tilt_deg=180.0, speed_deg_s=90.0)
        script.hold(seconds_s)
    if edge is not None:
        script.go(*edge, tilt_deg=0.0, speed_deg_s=90.0)
        script.hold(seconds_s)
        script.go(edge[0] + 180.0, -edge[1], speed_deg_s=90.0)
        script.hold(seconds_s)
    script.finish()
    return script


def bearing_script(
    target: tuple[float, float] | Callable[[float], tuple[float, float]] = TARGET,
    seconds_s: float = 3.0,
    turned: bool = True,
) -> Script:
    """A target, or what moves such as the shadow, sighted three times, held still and pressed."""

    def direction(t_s: float) -> tuple[float, float]:
        return target(t_s) if callable(target) else target

    script = Script(*direction(0.0))
    script.hold(0.5)
    for number in range(3):
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
    bearings_deg: Sequence[float] = range(0, 360, 45),
    elevation_deg: float = 0.0,
    seconds_s: float = 3.0,
) -> Script:
    """Targets of known bearing sighted all the way round, each held still and pressed."""
    script = Script(float(bearings_deg[0]), elevation_deg)
    for bearing in bearings_deg:
        script.sight(float(bearing), elevation_deg, seconds_s)
    script.finish()
    return script


def plane_script(
    tilt_deg: float = 30.0,
    azimuth_deg: float = 180.0,
    twist_deg: float = 0.0,
    seconds_s: float = 5.0,
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
