"""Horizons drawn at random within a profile's errors: each a whole skyline that could be true.

A heading error turns all of a drawn skyline, a level error lifts all of it, and the random errors
of its nodes go together over the profile's correlation length. Whatever is computed from every
drawn skyline then spreads as the errors of the survey make it spread.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from logger.arrays import Columns, Floats, floats, freeze_columns
from logger.geometry import interpolate_azimuthal, wrap360
from logger.horizon import HorizonProfile

GRID_DEG = 0.5
"""Width of the sectors that drawn horizons are given in. [deg]"""

SECTORS = round(360.0 / GRID_DEG)
SECTOR_MIDDLES: Floats = floats((np.arange(SECTORS) + 0.5) * GRID_DEG)
"""Azimuths at which drawn horizons are given. [deg]"""


@dataclass(frozen=True, eq=False)
class SurveyErrors(Columns):
    """Errors of surveys in units of their standard errors, one row a draw."""

    turn: Floats  # Of the heading. Shape (n,).
    lift: Floats  # Of the level. Shape (n,).
    noise: Floats  # Of each sector, alike over a correlation length. Shape (n, SECTORS).

    def __post_init__(self) -> None:
        n = freeze_columns(self, ("turn", "lift"))
        if self.noise.shape != (n, SECTORS):
            raise ValueError(f"noise of shape {self.noise.shape} for {n} draws")

    @classmethod
    def of(cls, turn: Sequence[float], lift: Sequence[float]) -> SurveyErrors:
        """Given turns and lifts, without noise."""
        return cls(floats(turn), floats(lift), np.zeros((len(turn), SECTORS)))


def has_errors(profile: HorizonProfile) -> bool:
    """Whether a profile says anything of its errors."""
    return bool(
        profile.heading_error_deg > 0
        or profile.level_error_deg > 0
        or np.nansum(profile.standard_error_deg) > 0
    )


@lru_cache(maxsize=2)  # every horizon of a site is drawn from the same seed
def survey_errors(n: int, seed: int, correlation_deg: float) -> SurveyErrors:
    """Draw errors; the same for the same arguments.

    The noise is a stationary Gaussian process of unit variance around the circle with correlation
    ``exp(-(distance / correlation_deg)^2 / 2)``: white noise filtered with the square root of the
    process's spectrum.
    """
    rng = np.random.default_rng(seed)
    turn, lift = rng.standard_normal((2, n))
    distance = np.minimum(np.arange(SECTORS), SECTORS - np.arange(SECTORS)) * GRID_DEG
    kernel = np.exp(-0.5 * (distance / max(correlation_deg, 1e-6)) ** 2)
    root_spectrum = np.sqrt(np.maximum(np.fft.rfft(kernel).real, 0.0))
    white = rng.standard_normal((n, SECTORS))
    noise = np.fft.irfft(np.fft.rfft(white, axis=1) * root_spectrum, n=SECTORS, axis=1)
    return SurveyErrors(turn, lift, floats(noise))


def drawn_elevation(profile: HorizonProfile, errors: SurveyErrors) -> Floats:
    """Skylines of a complete profile under some errors. [deg] Shape (n, SECTORS)."""
    turn, lift = profile.heading_error_deg * errors.turn, profile.level_error_deg * errors.lift
    at = SECTOR_MIDDLES[None]
    if turn.any():
        at = wrap360(at - turn[:, None])
    elevation = interpolate_azimuthal(at, profile.azimuth_deg, profile.elevation_deg)
    elevation = elevation + lift[:, None]
    # A node of unknown error next to nodes of known error takes the mean of those.
    error = profile.standard_error_deg
    known = error[np.isfinite(error)]
    error = np.where(np.isfinite(error), error, known.mean() if known.size else 0.0)
    elevation += interpolate_azimuthal(at, profile.azimuth_deg, error) * errors.noise
    return floats(np.clip(elevation, -90.0, 90.0))
