"""What was swept from each point, laid out on one grid of azimuth for the fit."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from logger.arrays import Bools, Floats, floats
from logger.geometry import in_sector, interpolate_azimuthal, wrap360
from logger.horizon import HorizonProfile

CELLS = 360
AZIMUTHS: Floats = floats(np.arange(CELLS) + 0.5)
"""Middles of the cells of the fit's grid. [deg]"""

EDGE_DEG = 1.0
"""Sides of bodies and the swept horizon alike are smoothed over this. [deg]"""

AZIMUTH_ERROR_DEG, ELEVATION_ERROR_DEG = 0.15, 0.1
"""Of an edge and of a top beside what the profile tells, 1 sigma (common practice, no source)."""


@dataclass(frozen=True, eq=False)
class PositionedPoint:
    """A horizon, and where it was swept from."""

    name: str
    at_m: Floats  # East, north, up. Shape (3,)
    error_m: float  # Of each, 1 sigma
    horizon: HorizonProfile


@dataclass(frozen=True, eq=False)
class View:
    """A point's horizon on the grid."""

    point: PositionedPoint
    elevation_deg: Floats  # Not below level; 0 where not measured. Shape (CELLS,).
    sigma_deg: Floats  # Inf where not measured. Shape (CELLS,).
    names: tuple[str, ...]  # What stands in each cell; empty where nothing near is named

    @property
    def at_m(self) -> Floats:
        """Where it was swept from."""
        return self.point.at_m


def view_of(point: PositionedPoint, far: frozenset[str]) -> View:
    """Lay a point's horizon out; obstructions named in `far` count as not named."""
    profile = point.horizon
    fine = floats(np.arange(CELLS * 10) + 0.5) * (360.0 / (CELLS * 10))
    known = np.asarray(profile.measured_at(fine), dtype=bool)
    height = np.maximum(profile.elevation_at(fine), 0.0)
    smooth = _smoothed(height)
    lean = np.abs(np.gradient(smooth, fine))
    error = profile.standard_error_deg
    told = np.isfinite(error)
    error = np.where(told, error, np.median(error[told]) if told.any() else 0.0)
    random = interpolate_azimuthal(AZIMUTHS, profile.azimuth_deg, error)
    sigma = np.hypot(
        np.hypot(random, ELEVATION_ERROR_DEG), lean.reshape(CELLS, 10).max(1) * AZIMUTH_ERROR_DEG
    )
    # Neighbouring cells share their errors.
    sigma = sigma * np.sqrt(max(profile.correlation_deg * CELLS / 360.0, 1.0))
    names = np.full(CELLS, "", dtype=object)
    for o in reversed(profile.obstructions):
        if o.name not in far:
            names[in_sector(AZIMUTHS, o.from_azimuth_deg, o.to_azimuth_deg)] = o.name
    whole = known.reshape(CELLS, 10).all(axis=1)
    at_cells = floats(smooth[4::10] + smooth[5::10]) / 2
    return View(
        point,
        np.where(whole, at_cells, 0.0),
        np.where(whole, sigma, np.inf),
        tuple(names),
    )


def _smoothed(height: Floats) -> Floats:
    reach = round(EDGE_DEG * len(height) / 360.0)
    around = np.concatenate([height[-reach:], height, height[:reach]])
    return floats(np.convolve(around, np.ones(reach) / reach, mode="same")[reach:-reach])


def far_horizon(views: Sequence[View], turn_deg: Floats, lift_deg: Floats) -> tuple[Floats, Bools]:
    """The mean of what points see beyond all that is named, and where none of them sees it.

    There it goes straight across.
    """
    total, weight = np.zeros(CELLS), np.zeros(CELLS)
    for view, turn, lift in zip(views, turn_deg, lift_deg, strict=True):
        open_ = floats([not name for name in view.names]) * np.isfinite(view.sigma_deg)
        # A cell beside something near shows the flank of it.
        open_ = open_ * np.roll(open_, 1) * np.roll(open_, -1)
        at = wrap360(AZIMUTHS + turn)
        free = interpolate_azimuthal(at, AZIMUTHS, open_) > 0.999
        height = interpolate_azimuthal(at, AZIMUTHS, view.elevation_deg) - lift
        total += np.where(free, height, 0.0)
        weight += free
    seen = weight > 0
    if not seen.any():
        return np.zeros(CELLS), ~seen
    mean = total[seen] / weight[seen]
    return floats(interpolate_azimuthal(AZIMUTHS, AZIMUTHS[seen], mean)), ~seen
