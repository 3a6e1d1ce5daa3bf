"""The virtual board: an invented skyline, a person who sweeps it, a cheap sensor.

It speaks the wire contract and nothing else, so nothing downstream can tell it from a real one.
Everything is a pure function of its settings and a seed. `serve` puts it on a pty or TCP port.
"""

from __future__ import annotations

from logger.simulation.board import BoardSettings, Chunk
from logger.simulation.motion import Glance, Motion, Operator
from logger.simulation.scene import Scene, Steel
from logger.simulation.scenes import SCENES, scene_named
from logger.simulation.sensor import BoardErrors, Measured, Sensor
from logger.simulation.tasks import (
    DEFAULT_SITE,
    DEFAULT_START,
    Simulated,
    Task,
    day_task,
    simulate,
    simulate_bearing,
    simulate_corners,
    simulate_level,
    simulate_plane,
    simulate_sweep,
    simulate_swing,
    simulate_tumble,
)
