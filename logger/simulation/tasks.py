"""Whole recordings by the virtual board, in process: each a pure function of its arguments."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from logger.arrays import Floats, floats
from logger.geomagnetism import geomagnetic_field
from logger.geometry import wrap360
from logger.recording.samples import Note
from logger.simulation.board import BoardSettings, Chunk, received, sentences_of
from logger.simulation.operator import (
    CALM,
    LYING,
    Motion,
    Operator,
    bearing_script,
    braced,
    corners_script,
    level_script,
    plane_script,
    sweep_script,
    swing_script,
    tumble_motion,
)
from logger.simulation.scene import Scene, Steel
from logger.simulation.sensor import CHEAP, Measured, Sensor, measure, substeps
from logger.site import Site

DEFAULT_SITE = Site(46.05, 14.51, 310.0)
DEFAULT_START = dt.datetime(2026, 5, 14, 8, 12, 31, 250_000, tzinfo=dt.UTC)

Perform = Callable[[np.random.Generator, float], Motion]
"""A task: from a random generator and the motion's time step to the motion."""


@dataclass(frozen=True, eq=False)
class Task:
    """Something the operator does with the board at a place: all that decides the bytes."""

    purpose: str  # Sweep, compass, level, bearing or plane, as a recording's header has it
    perform: Perform  # Makes the motion
    sensor: Sensor
    site: Site
    started: dt.datetime  # UTC, of the first byte
    seed: int
    settings: BoardSettings
    steel: Steel | None = None
    # How far the field at the spot is turned from the model's, east positive. [deg]
    declination_error_deg: float = 0.0

    def earth_ut(self) -> Floats:
        """The Earth's field at the spot: north, east, down of true north. Shape (3,). [uT]"""
        model = geomagnetic_field(self.site, self.started.date())
        turn = np.radians(self.declination_error_deg)
        return floats(
            [
                model.north_ut * np.cos(turn) - model.east_ut * np.sin(turn),
                model.north_ut * np.sin(turn) + model.east_ut * np.cos(turn),
                model.down_ut,
            ]
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
        """True tilt about the line of sight at each instant. Shape (N,). [deg]"""
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
    motion = task.perform(np.random.default_rng([task.seed, 1]), step_s)
    earth = task.earth_ut()
    measured = measure(
        motion, task.sensor, earth, np.random.default_rng([task.seed, 2]), rate_hz, task.steel
    )
    declination = float(np.degrees(np.arctan2(earth[1], earth[0])))
    sent = sentences_of(
        measured, task.settings, motion.keys, task.sensor.clock_error_ppm, declination
    )
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


def _task(
    purpose: str,
    perform: Perform,
    sensor: Sensor,
    site: Site,
    started: dt.datetime,
    seed: int,
    streams: str,
    rate_hz: int,
    settings: BoardSettings | None,
    steel: Steel | None,
    declination_error_deg: float,
) -> Simulated:
    set_up = replace(settings or BoardSettings(), streams=streams, rate_hz=rate_hz)
    return simulate(
        Task(purpose, perform, sensor, site, started, seed, set_up, steel, declination_error_deg)
    )


def simulate_sweep(
    scene: Scene,
    operator: Operator = CALM,
    sensor: Sensor = CHEAP,
    site: Site = DEFAULT_SITE,
    started: dt.datetime = DEFAULT_START,
    seed: int = 0,
    streams: str = "AMG",
    rate_hz: int = 50,
    settings: BoardSettings | None = None,
    declination_error_deg: float = 0.0,
) -> Simulated:
    """Along a skyline, forth and back; ends with the trigger."""

    def perform(rng: np.random.Generator, step_s: float) -> Motion:
        return sweep_script(scene, operator, rng).motion(operator, rng, step_s)

    return _task(
        "sweep", perform, sensor, site, started, seed, streams, rate_hz, settings,
        scene.steel, declination_error_deg,
    )  # fmt: skip


def simulate_corners(
    scene: Scene,
    operator: Operator = CALM,
    sensor: Sensor = CHEAP,
    site: Site = DEFAULT_SITE,
    started: dt.datetime = DEFAULT_START,
    seed: int = 0,
    streams: str = "AM",
    rate_hz: int = 50,
    settings: BoardSettings | None = None,
    declination_error_deg: float = 0.0,
    corners: tuple[Floats, Floats] | None = None,
) -> Simulated:
    """Hold still on each corner of a skyline and press the mark key; ends with the trigger."""

    def perform(rng: np.random.Generator, step_s: float) -> Motion:
        return corners_script(scene, operator, corners).motion(braced(operator), rng, step_s)

    return _task(
        "sweep", perform, sensor, site, started, seed, streams, rate_hz, settings,
        scene.steel, declination_error_deg,
    )  # fmt: skip


def simulate_tumble(
    operator: Operator = CALM,
    sensor: Sensor = CHEAP,
    site: Site = DEFAULT_SITE,
    started: dt.datetime = DEFAULT_START,
    seed: int = 0,
    streams: str = "AMG",
    rate_hz: int = 50,
    settings: BoardSettings | None = None,
    declination_error_deg: float = 0.0,
    seconds_s: float = 40.0,
    still_s: float = 2.0,
    hemisphere: bool = False,
    steel: Steel | None = None,
) -> Simulated:
    """The compass tumble, after lying still for a moment; ends with the trigger."""

    def perform(rng: np.random.Generator, step_s: float) -> Motion:
        return tumble_motion(operator, rng, step_s, seconds_s, still_s, hemisphere)

    return _task(
        "compass", perform, sensor, site, started, seed, streams, rate_hz, settings,
        steel, declination_error_deg,
    )  # fmt: skip


def simulate_level(
    mark: tuple[float, float] = (63.0, 1.2),
    operator: Operator = CALM,
    sensor: Sensor = CHEAP,
    site: Site = DEFAULT_SITE,
    started: dt.datetime = DEFAULT_START,
    seed: int = 0,
    streams: str = "AMG",
    rate_hz: int = 50,
    settings: BoardSettings | None = None,
    declination_error_deg: float = 0.0,
    pairs: int = 1,
    seconds_s: float = 4.0,
    edge: tuple[float, float] | None = None,
    steel: Steel | None = None,
) -> Simulated:
    """Face left and face right on one mark, then an edge end for end if given."""

    def perform(rng: np.random.Generator, step_s: float) -> Motion:
        return level_script(mark, pairs, seconds_s, edge).motion(braced(operator), rng, step_s)

    return _task(
        "level", perform, sensor, site, started, seed, streams, rate_hz, settings,
        steel, declination_error_deg,
    )  # fmt: skip


def simulate_bearing(
    target: tuple[float, float] | None = None,
    operator: Operator = CALM,
    sensor: Sensor = CHEAP,
    site: Site = DEFAULT_SITE,
    started: dt.datetime = DEFAULT_START,
    seed: int = 0,
    streams: str = "AMG",
    rate_hz: int = 50,
    settings: BoardSettings | None = None,
    declination_error_deg: float = 0.0,
    sights: int = 3,
    seconds_s: float = 3.0,
    steel: Steel | None = None,
    turned: bool = True,
) -> Simulated:
    """A landmark, or the shadow the sun casts, sighted several times."""
    direction = shadow_direction(site, started) if target is None else lambda _t: target

    def perform(rng: np.random.Generator, step_s: float) -> Motion:
        script = bearing_script(direction, sights, seconds_s, turned)
        return script.motion(braced(operator), rng, step_s)

    return _task(
        "bearing", perform, sensor, site, started, seed, streams, rate_hz, settings,
        steel, declination_error_deg,
    )  # fmt: skip


def shadow_direction(site: Site, started: dt.datetime) -> Callable[[float], tuple[float, float]]:
    """Where the shadow of an upright edge points, some way down along the ground."""
    from logger.sun import sun_track

    start = np.datetime64(started.astimezone(dt.UTC).replace(tzinfo=None), "ms")

    def direction(t_s: float) -> tuple[float, float]:
        track = sun_track(start + np.array([round(t_s * 1000)], dtype="timedelta64[ms]"), site)
        return float(wrap360(track.azimuth_deg[0] + 180.0)), -8.0

    return direction


def simulate_swing(
    bearings_deg: Sequence[float],
    operator: Operator = CALM,
    sensor: Sensor = CHEAP,
    site: Site = DEFAULT_SITE,
    started: dt.datetime = DEFAULT_START,
    seed: int = 0,
    streams: str = "A",
    rate_hz: int = 50,
    settings: BoardSettings | None = None,
    declination_error_deg: float = 0.0,
    elevation_deg: float = 0.0,
    steel: Steel | None = None,
) -> Simulated:
    """Marks of known bearing sighted all the way round; notes carry the bearings."""

    def perform(rng: np.random.Generator, step_s: float) -> Motion:
        script = swing_script(bearings_deg, elevation_deg)
        return script.motion(braced(operator), rng, step_s)

    return _task(
        "compass", perform, sensor, site, started, seed, streams, rate_hz, settings,
        steel, declination_error_deg,
    )  # fmt: skip


def simulate_plane(
    tilt_deg: float = 30.0,
    azimuth_deg: float = 180.0,
    sensor: Sensor = CHEAP,
    site: Site = DEFAULT_SITE,
    started: dt.datetime = DEFAULT_START,
    seed: int = 0,
    streams: str = "AMG",
    rate_hz: int = 50,
    settings: BoardSettings | None = None,
    declination_error_deg: float = 0.0,
    twist_deg: float = 0.0,
    seconds_s: float = 5.0,
    steel: Steel | None = None,
) -> Simulated:
    """The board laid with its back on a plane, its sight pointing up the slope."""

    def perform(rng: np.random.Generator, step_s: float) -> Motion:
        script = plane_script(tilt_deg, azimuth_deg, twist_deg, seconds_s)
        return script.motion(LYING, rng, step_s)

    return _task(
        "plane", perform, sensor, site, started, seed, streams, rate_hz, settings,
        steel, declination_error_deg,
    )  # fmt: skip
