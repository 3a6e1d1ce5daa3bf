"""The flat array whose light is worked out."""

from __future__ import annotations

import math
from dataclasses import dataclass

from logger.errors import UsageError


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
