"""Sight lines in; a periodic horizon with standard error, mask, names and checks out."""

from __future__ import annotations

from logger.horizon_fit.corners import Vertex, vertices_of
from logger.horizon_fit.coverage import Coverage, Sector, spacing_check, sun_crosses
from logger.horizon_fit.edits import (
    ENTRY_HINT,
    Edit,
    ExcludeSpan,
    ExcludeSweep,
    RemovePoint,
    RenamePoint,
    SetSector,
    edit_from,
    edited_passes,
    edited_profile,
    excluded,
)
from logger.horizon_fit.passes import Pass, SightedSweep, turning_points
from logger.horizon_fit.result import HorizonResult, horizon_from
