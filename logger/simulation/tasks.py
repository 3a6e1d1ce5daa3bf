"""Whole recordings by the virtual board, in process: each a pure function of its task."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np

from logger.arrays import Floats, floats
from logger.errors import UsageError
from logger.geomagnetism import geomagnetic_field
from logger.geometry import wrap360
from logger.moments import Note
from logger.simulation import scripts
from logger.simulation.board import BoardSettings, Chunk, received, sentences_of
from logger.simulation.motion import CALM, LYING, Motion, Operator, braced
from logger.simulation.scene import Scene, Steel
from logger.simulation.scenery import ridge
from logger.simulation.sensor import CHEAP, Measured, Sensor, measure, substeps
from logger.site import Site

DEFAULT_SITE = Site(46.05, 14.51, 310.0)
DEFAULT_START = dt.datetime(2026, 5, 14, 8, 12, 31, 250_000, tzinfo=dt.UTC)
A_DAY = ("compass", "level", "bearing", "sweep", "sweep")


@dataclass(frozen=True, eq=False)
class Task:
    """Something the operator does with the board at a place: all that decides the bytes."""

    action: str  # One of `PURPOSES`
    scenes: tuple[Scene, ...] = field(default_factory=lambda: (ridge(),))  # One, but for "points"
    operator: Operator = CALM
    sensor: Sensor = CHEAP
    site: Site = DEFAULT_SITE
    started: dt.datetime = DEFAULT_START  # UTC, of the first byte
    seed: int = 0
    settings: BoardSettings = field(default_factory=BoardSettings)
    steel: Steel | None = None  # Beside the board; a sweep has its scene's where none is given
    # How far the magnetic field here is turned from the model's, east positive. [deg]
    declination_error_deg: float = 0.0
    more: Mapping[str, Any] = field(default_factory=dict)  # What the action's script takes besides

    @property
    def purpose(self) -> str:
        """As a recording's header has it: sweep, compass, level, bearing or plane."""
        return purpose_of(self.action)

    def earth_ut(self) -> Floats:
        """The Earth's field here: north, east, down of true north. Shape (3,). [uT]"""
        model = geomagnetic_field(self.site, self.started.date())
        turn = np.radians(self.declination_error_deg)
        return floats(
            [
                model.north_ut * np.cos(turn) - model.east_ut * np.sin(turn),
                model.north_ut * np.sin(turn) + model.east_ut * np.cos(turn),
                model.down_ut,
            ]
        )


PURPOSES = {
    "compass": "compass",
    "level": "level",
    "bearing": "bearing",
    "sun": "bearing",
    "plane": "plane",
    "sweep": "sweep",
    "corners": "sweep",
    "points": "sweep",
    "swing": "compass",
}
"""What the operator can do, and the purpose of its recording."""


def purpose_of(action: str) -> str:
    """One of `PURPOSES`."""
    if action not in PURPOSES:
        raise UsageError(f"no task {action!r}", hint=f"the tasks are {', '.join(PURPOSES)}")
    return PURPOSES[action]


def motion_of(task: Task, rng: np.random.Generator, step_s: float) -> Motion:
    """A task as its operator performs it, on a grid of time."""
    operator, scene, hand = task.operator, task.scenes[0], task.operator
    match task.action:
        case "compass":
            return scripts.tumble_motion(operator, rng, step_s, **task.more)
        case "sweep":
            script = scripts.sweep_script(scene, operator, rng)
        case "points":
            script = scripts.points_script(task.scenes, operator, rng)
        case "corners":
            script, hand = scripts.corners_script(scene, operator, **task.more), braced(operator)
        case "level":
            script, hand = scripts.level_script(**task.more), braced(operator)
        case "swing":
            script, hand = scripts.swing_script(**task.more), braced(operator)
        case "bearing":
            script, hand = scripts.bearing_script(**task.more), braced(operator)
        case "sun":
            shadow = shadow_direction(task.site, task.started)
            script, hand = scripts.bearing_script(shadow, **task.more), braced(operator)
        case _:
            script, hand = scripts.plane_script(**task.more), LYING
    return script.motion(hand, rng, step_s)


def day_task(
    of_the_day: Task, action: str, number: int, started: dt.datetime, sweeps_before: int = 0
) -> Task:
    """One task of a day that shares site, board, operator and scenes; sweeps take scenes in turn.

    What level, bearing and plane need beside stands in the day's ``more`` by the action's name.
    """
    scene = of_the_day.scenes[sweeps_before % len(of_the_day.scenes)]
    return replace(
        of_the_day,
        action=action,
        scenes=of_the_day.scenes if action == "points" else (scene,),
        started=started,
        seed=of_the_day.seed * 1000 + number,
        more=of_the_day.more.get(action, {}),
    )


@dataclass(frozen=True, eq=False)
class Simulated:
    """A task as the host receives it, and the truth beside it."""

    # Seconds since the start, and the bytes received then: everything of one instant
    chunks: tuple[Chunk, ...]
    notes: tuple[Note, ...]  # What the operator would type, in order of time
    header: dict[str, Any]  # What a recording of it holds in its first line
    # Truth and sensor values at each instant, before they are rounded for the wire
    measured: Measured
    motion: Motion  # Truth on a finer grid of time

    @property
    def t_s(self) -> Floats:
        """True time of each instant. Shape (N,). [s]"""
        return self.measured.t_s

    @property
    def azimuth_deg(self) -> Floats:
        """True azimuth of the line of sight at each instant. Shape (N,). [deg]"""
        return floats(wrap360(self.measured.azimuth_deg))

    @property
    def elevation_deg(self) -> Floats:
        """True elevation of the line of sight at each instant. Shape (N,). [deg]"""
        return self.measured.elevation_deg

    @property
    def tilt_deg(self) -> Floats:
        """True roll about the line of sight at each instant. Shape (N,). [deg]"""
        return self.measured.tilt_deg

    @property
    def sent(self) -> bytes:
        """All bytes, in order."""
        return b"".join(text for _, text in self.chunks)

    @property
    def duration_s(self) -> float:
        """Until the last bytes. [s]"""
        return self.chunks[-1][0] if self.chunks else 0.0


def simulate(task: Task) -> Simulated:
    """Carry out a task."""
    rate_hz = task.settings.rate_hz
    step_s = 1.0 / (rate_hz * substeps(rate_hz))
    steel = task.steel or (task.scenes[0].steel if task.purpose == "sweep" else None)
    motion = motion_of(task, np.random.default_rng([task.seed, 1]), step_s)
    earth = task.earth_ut()
    measured = measure(
        motion, task.sensor, earth, np.random.default_rng([task.seed, 2]), rate_hz, steel
    )
    sent = sentences_of(measured, task.settings, motion.keys, task.sensor.clock_error_ppm)
    chunks = received(measured, sent, task.settings, np.random.default_rng([task.seed, 3]))
    return Simulated(tuple(chunks), motion.notes, _header(task), measured, motion)


def _header(task: Task) -> dict[str, Any]:
    started = task.started.astimezone(dt.UTC).isoformat(timespec="milliseconds")
    return {
        "started": started.replace("+00:00", "Z"),
        "latitude": task.site.latitude_deg,
        "longitude": task.site.longitude_deg,
        "elevation_m": task.site.altitude_m,
        "purpose": task.purpose,
        "board": f"{task.settings.name} {task.settings.serial_number}",
        "made_by": f"the virtual board of horizon-logger, seed {task.seed}",
    }


def shadow_direction(site: Site, started: dt.datetime) -> Callable[[float], tuple[float, float]]:
    """Where the shadow of an upright edge points, some way down along the ground."""
    from logger.sun import sun_track

    start = np.datetime64(started.astimezone(dt.UTC).replace(tzinfo=None), "ms")

    def direction(t_s: float) -> tuple[float, float]:
        track = sun_track(start + np.array([round(t_s * 1000)], dtype="timedelta64[ms]"), site)
        return float(wrap360(track.azimuth_deg[0] + 180.0)), -8.0

    return direction


def simulated(
    action: str,
    operator: Operator = CALM,
    sensor: Sensor = CHEAP,
    site: Site = DEFAULT_SITE,
    started: dt.datetime = DEFAULT_START,
    seed: int = 0,
    *,
    streams: str = "AMG",
    rate_hz: int = 50,
    settings: BoardSettings | None = None,
    **more: Any,
) -> Simulated:
    """One of `PURPOSES`; what its script takes besides (pairs, seconds_s …) by keyword."""
    set_up = replace(settings or BoardSettings(), streams=streams, rate_hz=rate_hz)
    of_task = {n: more.pop(n) for n in ("scenes", "steel", "declination_error_deg") if n in more}
    return simulate(
        Task(
            action, operator=operator, sensor=sensor, site=site, started=started, seed=seed,
            settings=set_up, more=more, **of_task,
        )
    )  # fmt: skip


def _doing(action: str, *first: str, **usual: Any) -> Callable[..., Simulated]:
    """`simulated` of one action, by position what its script takes first and then the operator."""

    def simulate_it(*given: Any, **setup: Any) -> Simulated:
        setup = usual | dict(zip(first, given, strict=False)) | setup
        if "scene" in setup:
            setup["scenes"] = (setup.pop("scene"),)
        return simulated(action, *given[len(first) :], **setup)

    return simulate_it


simulate_sweep = _doing("sweep", "scene")
"""Along a skyline, forth and back; ends with the trigger, as all do."""
simulate_corners = _doing("corners", "scene", streams="AM")
"""Hold still on each corner of a skyline and press."""
simulate_tumble = _doing("compass")
"""The compass tumble, after lying still for a moment."""
simulate_level = _doing("level", "target")
"""Face left and face right on one target, then an edge end for end if given."""
simulate_swing = _doing("swing", "bearings_deg", streams="A")
"""Targets of known bearing sighted all the way round."""
simulate_plane = _doing("plane", "tilt_deg", "azimuth_deg", "sensor")
"""The board laid with its back on a plane, its sight pointing up the slope."""


def simulate_bearing(
    target: tuple[float, float] | None = None, *given: Any, **setup: Any
) -> Simulated:
    """A target of known bearing, or the shadow the sun casts, sighted several times."""
    if target is None:
        return simulated("sun", *given, **setup)
    return simulated("bearing", *given, target=target, **setup)
