"""Where the survey is."""

from __future__ import annotations

import math
from dataclasses import dataclass

from logger.errors import UsageError


@dataclass(frozen=True)
class Site:
    """A place on the ground.

    Parameters
    ----------
    latitude_deg : float
        North positive, -90 to 90. [deg]
    longitude_deg : float
        East positive, -180 to 180. [deg]
    altitude_m : float
        Above mean sea level, -500 to 9000. [m]

    Raises
    ------
    UsageError
        A value is no number or outside its range.
    """

    latitude_deg: float
    longitude_deg: float
    altitude_m: float = 0.0

    def __post_init__(self) -> None:
        for name, low, high, unit in (
            ("latitude", -90.0, 90.0, "degrees"),
            ("longitude", -180.0, 180.0, "degrees"),
            ("altitude", -500.0, 9000.0, "m"),
        ):
            field = f"{name}_deg" if unit == "degrees" else f"{name}_m"
            value = float(getattr(self, field))
            if not (math.isfinite(value) and low <= value <= high):
                raise UsageError(f"{name} {value:g} is outside {low:g} to {high:g} {unit}")
            object.__setattr__(self, field, value)

    @property
    def equatorward_azimuth_deg(self) -> float:
        """The side the noon sun stands on: 180 in the north and on the equator, 0 in the south."""
        return 180.0 if self.latitude_deg >= 0 else 0.0


METRES_A_DEGREE = 111_195.0  # Of latitude, on the sphere of 6371 km: good enough within a site. [m]


def moved(site: Site, east_m: float, north_m: float) -> tuple[float, float]:
    """Latitude and longitude of a place some metres from the site. [deg]"""
    across = METRES_A_DEGREE * math.cos(math.radians(site.latitude_deg))
    return (
        site.latitude_deg + north_m / METRES_A_DEGREE,
        site.longitude_deg + east_m / max(across, 1.0),
    )


def distance_km(a: Site, b: Site) -> float:
    """Great-circle distance on a sphere of 6371 km. [km]"""
    la, lb = math.radians(a.latitude_deg), math.radians(b.latitude_deg)
    turn = math.radians(b.longitude_deg - a.longitude_deg)
    h = math.sin((lb - la) / 2) ** 2 + math.cos(la) * math.cos(lb) * math.sin(turn / 2) ** 2
    return 2 * 6371.0 * math.asin(min(1.0, math.sqrt(h)))
