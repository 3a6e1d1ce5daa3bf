"""Sight lines in; a periodic horizon with standard error, mask, names and checks out."""

from logger.horizon_fit.corners import vertices_of
from logger.horizon_fit.coverage import Coverage, Sector
from logger.horizon_fit.edits import edited_passes, edited_profile
from logger.horizon_fit.passes import Pass, SightedSweep, turning_points
from logger.horizon_fit.result import HorizonResult, horizon_from
