"""A survey day for one virtual board: tasks by name, all done with the same board at one site."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass, field, replace

import numpy as np

from logger.errors import UsageError
from logger.simulation.board import BoardSettings
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
    spots_script,
    sweep_script,
    tumble_motion,
)
from logger.simulation.scene import Scene, ridge
from logger.simulation.sensor import CHEAP, Sensor
from logger.simulation.tasks import DEFAULT_SITE, Perform, Task, shadow_direction
from logger.site import Site

TASKS = ("compass", "level", "bearing", "sun", "plane", "sweep", "corners", "spots")
A_DAY = ("compass", "level", "bearing", "sweep", "sweep")
CLOSING_TARGET = (63.0, 1.2)
"""Azimuth and elevation of the landmark that level and bearing are sighted on. [deg]"""


@dataclass(frozen=True)
class Day:
    """What the tasks of one day share."""

    # The sweeps take them in turn
    scenes: tuple[Scene, ...] = field(default_factory=lambda: (ridge(),))
    operator: Operator = CALM
    sensor: Sensor = CHEAP
    site: Site = DEFAULT_SITE
    settings: BoardSettings = field(default_factory=BoardSettings)
    seed: int = 0
    landmark: tuple[float, float] = CLOSING_TARGET  # Azimuth and elevation. [deg]
    # Tilt and azimuth of the surface the board is laid on. [deg]
    plane: tuple[float, float] = (30.0, 180.0)
    tumble_s: float = 40.0  # Length of the compass tumble. [s]

    def task(self, name: str, number: int, started: dt.datetime, sweeps_before: int = 0) -> Task:
        """One task of the day."""
        scene = self.scenes[sweeps_before % len(self.scenes)]
        purpose, perform = self._performed(name, scene, started)
        return Task(
            purpose=purpose,
            perform=perform,
            sensor=self.sensor,
            site=self.site,
            started=started,
            seed=self.seed * 1000 + number,
            settings=self.settings,
            steel=scene.steel if purpose == "sweep" else None,
        )

    def _performed(self, name: str, scene: Scene, started: dt.datetime) -> tuple[str, Perform]:
        operator = self.operator
        steady = braced(operator)

        def sweep(rng: np.random.Generator, step_s: float) -> Motion:
            return sweep_script(scene, operator, rng).motion(operator, rng, step_s)

        def corners(rng: np.random.Generator, step_s: float) -> Motion:
            return corners_script(scene, operator).motion(steady, rng, step_s)

        def spots(rng: np.random.Generator, step_s: float) -> Motion:
            return spots_script(self.scenes, operator, rng).motion(operator, rng, step_s)

        def compass(rng: np.random.Generator, step_s: float) -> Motion:
            return tumble_motion(operator, rng, step_s, self.tumble_s)

        def level(rng: np.random.Generator, step_s: float) -> Motion:
            return level_script(self.landmark, pairs=3).motion(steady, rng, step_s)

        def bearing(rng: np.random.Generator, step_s: float) -> Motion:
            return bearing_script(lambda _t: self.landmark).motion(steady, rng, step_s)

        def sun(rng: np.random.Generator, step_s: float) -> Motion:
            direction = shadow_direction(self.site, started)
            return bearing_script(direction).motion(steady, rng, step_s)

        def plane(rng: np.random.Generator, step_s: float) -> Motion:
            return plane_script(*self.plane).motion(LYING, rng, step_s)

        known: dict[str, tuple[str, Perform]] = {
            "sweep": ("sweep", sweep),
            "corners": ("sweep", corners),
            "spots": ("sweep", spots),
            "compass": ("compass", compass),
            "level": ("level", level),
            "bearing": ("bearing", bearing),
            "sun": ("bearing", sun),
            "plane": ("plane", plane),
        }
        if name not in known:
            raise UsageError(f"no task {name!r}", hint=f"the tasks are {', '.join(TASKS)}")
        return known[name]

    def tasks(self, names: Sequence[str], started: dt.datetime, gap_s: float = 120.0) -> list[Task]:
        """All tasks of a day, one after the other."""
        made = []
        sweeps = 0
        for number, name in enumerate(names):
            moment = started + dt.timedelta(seconds=number * gap_s)
            made.append(self.task(name, number, moment, sweeps))
            sweeps += name in ("sweep", "corners")
        return made


def with_closing_target(operator: Operator, mark: tuple[float, float] = CLOSING_TARGET) -> Operator:
    """The operator who also sights a closing target at the start and end of a sweep."""
    return replace(operator, closing_target=mark)
