"""Sight lines in; a periodic horizon with standard error, mask, names and checks out."""

from __future__ import annotations

from logger.horizon_fit.corners import Vertex
from logger.horizon_fit.coverage import (
    Coverage,
    Sector,
    spacing_check,
    sun_crosses,
    sun_elevation_range,
)
from logger.horizon_fit.drift import TimeBase
from logger.horizon_fit.edits import (
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
from logger.horizon_fit.heights import Heights, carried, carried_elevation, distance_from_stances
from logger.horizon_fit.passes import Pass
from logger.horizon_fit.result import HorizonResult, horizon_from
from logger.horizon_fit.running import RunningHorizon, running_horizon
from logger.horizon_fit.settings import HorizonSettings

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
    "spacing_check",
    "sun_crosses",
    "sun_elevation_range",
]
