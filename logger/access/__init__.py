"""The shared access and loss calculator.

A horizon from anywhere, a site, planes and weather in; access, loss and bounds out. It knows
nothing of boards, sweeps or jobs.
"""

from logger.access.best_plane import BestPlane, PlaneMap
from logger.access.calculator import SiteYear, assess
from logger.access.crowns import Crown
from logger.access.plane import Plane
from logger.access.result import (
    AccessResult,
    Bounded,
    Energy,
    Interval,
    ObstructionLoss,
    PlaneResult,
)
from logger.access.rules import FAIL, PASS, TOO_CLOSE, Rules, Verdict
from logger.access.sky_view import sky_view_factor
from logger.access.surroundings import UNNAMED, Layer, Surroundings
from logger.access.weather import Weather, read_weather
from logger.access.what_if import Box, added, cut, grown, names_in, removed, seasonal

__all__ = [
    "FAIL",
    "PASS",
    "TOO_CLOSE",
    "UNNAMED",
    "AccessResult",
    "BestPlane",
    "Bounded",
    "Box",
    "Crown",
    "Energy",
    "Interval",
    "Layer",
    "ObstructionLoss",
    "Plane",
    "PlaneMap",
    "PlaneResult",
    "Rules",
    "SiteYear",
    "Surroundings",
    "Verdict",
    "Weather",
    "added",
    "assess",
    "cut",
    "grown",
    "names_in",
    "read_weather",
    "removed",
    "seasonal",
    "sky_view_factor",
]
