"""The shared access and loss calculator.

A horizon from anywhere, a site, planes and weather in; access, loss and bounds out. It knows
nothing of boards, sweeps or jobs.
"""

from logger.access.calculator import SiteYear, assess
from logger.access.result import AccessResult, Bounded, ObstructionLoss, PlaneResult
from logger.access.settings import AccessSettings, Plane, SolarWindow
from logger.access.surroundings import UNNAMED, Layer, Surroundings
from logger.access.weather import Weather, read_weather

__all__ = [
    "UNNAMED",
    "AccessResult",
    "AccessSettings",
    "Bounded",
    "Layer",
    "ObstructionLoss",
    "Plane",
    "PlaneResult",
    "SiteYear",
    "SolarWindow",
    "Surroundings",
    "Weather",
    "assess",
    "read_weather",
]
