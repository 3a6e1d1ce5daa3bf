"""Sight lines in; a periodic horizon with standard error, mask, names and gates out."""

from __future__ import annotations

from logger.horizon.coverage import Coverage, Sector, spacing_gate, sun_crosses, sun_elevation_range
from logger.horizon.edits import (
    ENTRY_HINT,
    DropSpan,
    Edit,
    ImportHorizon,
    LeaveOut,
    OverrideSector,
    TakeIn,
    edit_from_dict,
    edited_passes,
    edited_profile,
)
from logger.horizon.heights import Heights, carried, carried_elevation, distance_from_stances
from logger.horizon.passes import Pass
from logger.horizon.result import HorizonResult, horizon_from
from logger.horizon.running import RunningHorizon, running_horizon
from logger.horizon.settings import HorizonSettings
from logger.horizon.timebase import TimeBase
from logger.horizon.vertices import Vertex

__all__ = [
    "ENTRY_HINT",
    "Coverage",
    "DropSpan",
    "Edit",
    "Heights",
    "HorizonResult",
    "HorizonSettings",
    "ImportHorizon",
    "LeaveOut",
    "OverrideSector",
    "Pass",
    "RunningHorizon",
    "Sector",
    "TakeIn",
    "TimeBase",
    "Vertex",
    "carried",
    "carried_elevation",
    "distance_from_stances",
    "edit_from_dict",
    "edited_passes",
    "edited_profile",
    "horizon_from",
    "running_horizon",
    "spacing_gate",
    "sun_crosses",
    "sun_elevation_range",
]
