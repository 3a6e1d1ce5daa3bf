"""Sight lines in; a periodic horizon with standard error, mask, names and checks out."""

from __future__ import annotations

from logger.horizon_fit.corners import Vertex, vertices_of
from logger.horizon_fit.coverage import Coverage, Sector, spacing_check, sun_crosses
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
from logger.horizon_fit.passes import Pass, SightedSweep, turning_points
from logger.horizon_fit.result import HorizonResult, horizon_from
from logger.horizon_fit.running import RunningHorizon, running_horizon

__all__ = [
    "ENTRY_HINT",
    "Coverage",
    "DropSpan",
    "Edit",
    "HorizonResult",
    "ImportHorizon",
    "LeaveOut",
    "OverrideSector",
    "Pass",
    "RunningHorizon",
    "Sector",
    "SightedSweep",
    "TakeIn",
    "Vertex",
    "edit_from_dict",
    "edited_passes",
    "edited_profile",
    "horizon_from",
    "running_horizon",
    "spacing_check",
    "sun_crosses",
    "turning_points",
    "vertices_of",
]
