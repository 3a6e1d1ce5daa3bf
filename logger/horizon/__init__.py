"""Sight lines in; a periodic horizon with standard error, mask and gates out."""

from __future__ import annotations

from logger.horizon.coverage import Coverage, Sector, sun_crosses, sun_elevation_range
from logger.horizon.passes import Pass
from logger.horizon.result import HorizonResult, horizon_from
from logger.horizon.settings import HorizonSettings

__all__ = [
    "Coverage",
    "HorizonResult",
    "HorizonSettings",
    "Pass",
    "Sector",
    "horizon_from",
    "sun_crosses",
    "sun_elevation_range",
]
