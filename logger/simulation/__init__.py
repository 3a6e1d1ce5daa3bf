"""The virtual board: an invented skyline, a person who sweeps it, a cheap sensor.

It speaks the wire contract and nothing else, so nothing downstream can tell it from a real one.
Everything is a pure function of its settings and a seed. `serve` puts it on a pty or TCP port.
"""

from __future__ import annotations

from logger.simulation.board import BoardSettings, Chunk
from logger.simulation.operator import Glance, Motion, Operator
from logger.simulation.scene import SCENES, Scene, Steel, scene_named
from logger.simulation.sensor import BoardErrors, Measured, Sensor
from logger.simulation.tasks import (
    DEFAULT_SITE,
    DEFAULT_START,
    Simulated,
    simulate,
    simulate_bearing,
    simulate_corners,
    simulate_level,
    simulate_plane,
    simulate_sweep,
    simulate_swing,
    simulate_tumble,
)

__all__ = [
    "DEFAULT_SITE",
    "DEFAULT_START",
    "SCENES",
    "BoardErrors",
    "BoardSettings",
    "Chunk",
    "Glance",
    "Measured",
    "Motion",
    "Operator",
    "Scene",
    "Sensor",
    "Simulated",
    "Steel",
    "scene_named",
    "simulate",
    "simulate_bearing",
    "simulate_corners",
    "simulate_level",
    "simulate_plane",
    "simulate_sweep",
    "simulate_swing",
    "simulate_tumble",
]
