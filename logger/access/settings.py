"""What the calculator is asked: planes and settings."""

from __future__ import annotations

import math
from dataclasses import dataclass, field

from logger.access.electricity import SystemAssumptions
from logger.access.rules import Rules
from logger.arrays import Floats, floats
from logger.errors import UsageError

MODELS = ("all components", "beam-only")
TRANSPOSITIONS = ("haydavies", "isotropic", "reindl")
CLEAR_SKIES = ("ineichen", "simplified solis")

BOUND_PERCENTILES = (2.5, 97.5)
"""The interval that low and high bound: 95 % of the drawn horizons."""


@dataclass(frozen=True)
class Plane:
    """A flat array.

    Parameters
    ----------
    name : str
    tilt_deg : float
        From horizontal, 0 to 90. [deg]
    azimuth_deg : float
        Of the downslope normal, clockwise from true north. [deg]
    size_kwp : float or None
        Rated power; None gives no electrical figures. [kWp]

    Raises
    ------
    UsageError
        A value is no number or outside its range.
    """

    name: str
    tilt_deg: float
    azimuth_deg: float
    size_kwp: float | None = None

    def __post_init__(self) -> None:
        if not (math.isfinite(self.tilt_deg) and 0 <= self.tilt_deg <= 90):
            raise UsageError(f"tilt {self.tilt_deg:g} of {self.name} is outside 0 to 90 degrees")
        if not (math.isfinite(self.azimuth_deg) and -360 <= self.azimuth_deg <= 360):
            raise UsageError(
                f"azimuth {self.azimuth_deg:g} of {self.name} is outside -360 to 360 degrees"
            )
        if self.size_kwp is not None and not (math.isfinite(self.size_kwp) and self.size_kwp > 0):
            raise UsageError(f"size {self.size_kwp:g} kWp of {self.name} is not above 0")


@dataclass(frozen=True)
class SolarWindow:
    """Hours of apparent solar time in which shade counts most.

    Nine to fifteen is common practice, no source.
    """

    # Its ends. [h]
    from_solar_hour: float = 9.0
    to_solar_hour: float = 15.0

    def __post_init__(self) -> None:
        if not 0 <= self.from_solar_hour < self.to_solar_hour <= 24:
            raise UsageError(
                f"a solar window from {self.from_solar_hour:g} to {self.to_solar_hour:g} h "
                "does not lie in one day"
            )


@dataclass(frozen=True)
class AccessSettings:
    """How access is computed; travels with every result."""

    year: int = 2026  # Of the sun's positions
    # One of `MODELS`: all components, or the beam alone for comparison with papers that block
    # nothing else
    model: str = "all components"
    # One of `TRANSPOSITIONS`: how sky diffuse reaches a tilted plane
    transposition: str = "haydavies"
    clear_sky: str = "ineichen"  # One of `CLEAR_SKIES`; used without a weather file
    # For the whole year; None takes pvlib's table of months and places
    linke_turbidity: float | None = None
    # Ground reflectance, of the year or by month (snow)
    reflectance: float | tuple[float, ...] = 0.2
    disc_radius_deg: float = 0.2665  # Of the sun; 0 makes it a point. [deg]
    window: SolarWindow = field(default_factory=SolarWindow)
    draws: int = 1000  # Horizons drawn for the bounds
    seed: int = 1  # Of the draws
    timezone: str | None = None  # IANA name for clock times; None gives UTC
    # Where the load is seasonal (heating, pumping): how much each month's light counts
    month_weights: tuple[float, ...] | None = None
    rules: Rules = field(default_factory=Rules)  # Of a programme or permit
    system: SystemAssumptions = field(default_factory=SystemAssumptions)  # For planes with a size

    def __post_init__(self) -> None:
        for value, allowed, what in (
            (self.model, MODELS, "model"),
            (self.transposition, TRANSPOSITIONS, "transposition"),
            (self.clear_sky, CLEAR_SKIES, "clear sky"),
        ):
            if value not in allowed:
                raise UsageError(f"{what} {value!r} is none of {', '.join(allowed)}")
        reflectance = self.monthly_reflectance
        if reflectance.shape != (12,) or not ((reflectance >= 0) & (reflectance <= 1)).all():
            raise UsageError("ground reflectance must be one number or twelve, each 0 to 1")
        if not 0 <= self.disc_radius_deg <= 1:
            raise UsageError("the radius of the sun's disc must be 0 to 1 degrees")
        turbidity = self.linke_turbidity
        if turbidity is not None and not 1 <= turbidity <= 20:
            raise UsageError(f"a Linke turbidity of {turbidity:g} is outside 1 to 20")
        if not 0 <= self.draws <= 100_000:
            raise UsageError("the number of drawn horizons must be 0 to 100000")
        weights = self.month_weights
        if weights is not None and not (
            len(weights) == 12
            and all(math.isfinite(w) and w >= 0 for w in weights)
            and sum(weights) > 0
        ):
            raise UsageError("month weights must be twelve numbers, none below 0, not all 0")

    @property
    def monthly_reflectance(self) -> Floats:
        """Ground reflectance by month. Shape (12,)."""
        if isinstance(self.reflectance, (int, float)):
            return floats([float(self.reflectance)] * 12)
        return floats(self.reflectance)
