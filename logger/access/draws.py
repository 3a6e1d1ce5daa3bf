"""Horizons drawn at random within a profile's errors: each a whole skyline that could be true.

A heading error turns all of a drawn skyline, a level error lifts all of it, and the random errors
of its nodes go together over the profile's correlation length. Whatever is computed from every
drawn skyline then spreads as the errors of the survey make it spread.
"""

from __future__ import annotations

import pickle
from dataclasses import dataclass
from functools import lru_cache
from typing import Any

import numpy as np

from logger.arrays import Floats, floats, freeze_columns
from logger.geometry import interpolate_azimuthal, wrap360
from logger.horizon import HorizonProfile

GRID_DEG = 0.5
"""Width of the sectors that drawn horizons are given in. [deg]"""


@dataclass(frozen=True, eq=False)
class DrawnHorizons:
    """Many skylines on one even grid of azimuth."""

    azimuth_deg: Floats  # Middles of equal sectors. [deg] Shape (A,).
    elevation_deg: Floats  # One row a draw, -90 to 90. [deg] Shape (n, A).

    def __post_init__(self) -> None:
        freeze_columns(self, ("azimuth_deg",))
        self.elevation_deg.flags.writeable = False

    def __len__(self) -> int:
        return len(self.elevation_deg)

    def rows(self, which: slice) -> DrawnHorizons:
        """Some of the draws."""
        return DrawnHorizons(self.azimuth_deg, self.elevation_deg[which])


def sector_middles(width_deg: float = GRID_DEG) -> Floats:
    """Middles of the even sectors of a circle. [deg]"""
    return floats((np.arange(round(360.0 / width_deg)) + 0.5) * width_deg)


def has_errors(profile: HorizonProfile) -> bool:
    """Whether a profile says anything of its errors."""
    return bool(
        profile.heading_error_deg > 0
        or profile.level_error_deg > 0
        or (profile.standard_error_deg is not None and np.nansum(profile.standard_error_deg) > 0)
    )


def draw_horizons(
    profile: HorizonProfile,
    n: int,
    rng: np.random.Generator,
    unmeasured_deg: float = 0.0,
    turn_deg: Floats | None = None,
    lift_deg: Floats | None = None,
) -> DrawnHorizons:
    """Draw whole horizons.

    The random part is a stationary Gaussian process of unit variance around the circle with
    correlation ``exp(-(distance / correlation_deg)^2 / 2)``, times the standard error at each
    azimuth. It is made by filtering white noise with the square root of the process's spectrum.
    """
    middle = sector_middles()
    filled = profile.filled(unmeasured_deg)
    if turn_deg is None:
        turn_deg = rng.normal(0.0, 1.0, n) * profile.heading_error_deg
    if lift_deg is None:
        lift_deg = rng.normal(0.0, 1.0, n) * profile.level_error_deg
    error = filled.standard_error_deg
    if error is not None:
        # A node of unknown error next to nodes of known error takes the mean of those.
        known = error[np.isfinite(error)]
        error = np.where(np.isfinite(error), error, known.mean() if known.size else 0.0)
        before = pickle.dumps(rng.bit_generator.state)
        noise, rng.bit_generator.state = _noise(before, n, profile.correlation_deg)
    drawn = np.empty((n, len(middle)))
    # A few rows at a time stay in the processor's cache.
    for start in range(0, n, _ROWS):
        rows = slice(start, start + _ROWS)
        at = wrap360(middle - turn_deg[rows, None])
        elevation = interpolate_azimuthal(at, filled.azimuth_deg, filled.elevation_deg)
        elevation = elevation + lift_deg[rows, None]
        if error is not None:
            size = interpolate_azimuthal(at, filled.azimuth_deg, error)
            elevation = elevation + size * noise[rows]
        np.clip(elevation, -90.0, 90.0, out=drawn[rows])
    return DrawnHorizons(middle, drawn)


_ROWS = 64


@lru_cache(maxsize=2)
def _noise(state: bytes, n: int, length_deg: float) -> tuple[Floats, dict[str, Any]]:
    """Rows of correlated noise from a generator's state, and the state thereafter.

    Kept, for every horizon of a site is drawn from the same seed.
    """
    rng = np.random.Generator(np.random.PCG64())
    rng.bit_generator.state = pickle.loads(state)
    noise = rng.standard_normal((n, len(sector_middles())))
    spectrum = _root_spectrum(noise.shape[1], length_deg)
    for start in range(0, n, _ROWS):
        noise[start : start + _ROWS] = _filtered(noise[start : start + _ROWS], spectrum)
    noise.flags.writeable = False
    return noise, dict(rng.bit_generator.state)


def _root_spectrum(columns: int, length_deg: float) -> Floats:
    """What white noise is filtered by so that it goes together over a length around the circle."""
    distance = np.arange(columns) * (360.0 / columns)
    distance = np.minimum(distance, 360.0 - distance)
    kernel = np.exp(-0.5 * (distance / max(length_deg, 1e-6)) ** 2)
    return floats(np.sqrt(np.maximum(np.fft.rfft(kernel).real, 0.0)))


def _filtered(white: Floats, root_spectrum: Floats) -> Floats:
    """Rows of unit variance, correlated around the circle."""
    columns = white.shape[1]
    return floats(np.fft.irfft(np.fft.rfft(white, axis=1) * root_spectrum, n=columns, axis=1))
