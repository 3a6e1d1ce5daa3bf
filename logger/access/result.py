"""What the calculator answers, and its form as JSON."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from logger.access.best_plane import BestPlane
from logger.access.electricity import AIR_TEMPERATURE_C, NOTE, WIND_MS
from logger.access.plane import Plane
from logger.access.rules import Verdict
from logger.access.window import WindowResult
from logger.arrays import Floats, freeze_columns
from logger.checks import Check
from logger.settings import Settings
from logger.site import Site


def number(value: float | np.floating[Any]) -> float | None:
    """A JSON number; None for what is not defined."""
    return float(value) if np.isfinite(value) else None


def numbers(values: Floats) -> list[float | None]:
    """A JSON list; None for what is not defined."""
    return [number(v) for v in values]


@dataclass(frozen=True, eq=False)
class Bounded:
    """A share for each month and the year, with the interval it lies in."""

    # January to December, then the year; NaN where not defined. 0 to 1. Shape (13,).
    value: Floats
    low: Floats
    high: Floats

    def __post_init__(self) -> None:
        freeze_columns(self, ("value", "low", "high"))

    def _at(self, i: int) -> dict[str, float | None]:
        return {name: number(getattr(self, name)[i]) for name in ("value", "low", "high")}

    @property
    def annual(self) -> float:
        """The year's value."""
        return float(self.value[12])

    @property
    def year(self) -> Interval:
        """The year's value with its interval."""
        return Interval(self.annual, float(self.low[12]), float(self.high[12]))

    def as_dict(self) -> dict[str, Any]:
        """``annual`` and ``monthly``, each with value, low and high."""
        return {"annual": self._at(12), "monthly": [self._at(m) for m in range(12)]}


@dataclass(frozen=True)
class Interval:
    """One share with the interval it lies in; NaN where not defined. 0 to 1."""

    value: float
    low: float
    high: float

    def as_dict(self) -> dict[str, float | None]:
        """Value, low and high."""
        return {n: number(getattr(self, n)) for n in ("value", "low", "high")}


@dataclass(frozen=True, eq=False)
class Energy:
    """Electrical energy of a plane with a size."""

    size_kwp: float  # [kWp]
    # By month. [kWh] Shape (12,).
    kwh: Floats
    unshaded_kwh: Floats
    settings: Settings  # Of the system
    weather_temperature: bool  # Whether the air's temperature is the weather's

    @property
    def lost_kwh(self) -> Floats:
        """By month. [kWh]"""
        return self.unshaded_kwh - self.kwh

    @property
    def specific_yield(self) -> float:
        """Of the year. [kWh/kWp]"""
        return float(self.kwh.sum() / self.size_kwp)

    def as_dict(self) -> dict[str, Any]:
        """Figures and assumptions."""
        return {
            "size_kwp": self.size_kwp,
            "annual_kwh": number(self.kwh.sum()),
            "monthly_kwh": numbers(self.kwh),
            "specific_yield_kwh_per_kwp": number(self.specific_yield),
            "assumptions": {
                "temperature_coefficient": self.settings.temperature_coefficient,
                "losses": self.settings.system_losses,
                "inverter_efficiency": self.settings.inverter_efficiency,
                "dc_ac_ratio": self.settings.dc_ac_ratio,
                "air_temperature_c": AIR_TEMPERATURE_C,
                "wind_ms": WIND_MS,
                "model": "PVWatts, cell temperature by Faiman",
                "air_temperature": "of the weather" if self.weather_temperature else "assumed",
                "note": NOTE,
            },
        }


@dataclass(frozen=True, eq=False)
class ObstructionLoss:
    """What one named part of the skyline takes."""

    name: str
    # None for the unnamed rest, which stands anywhere. [deg]
    from_azimuth_deg: float | None
    to_azimuth_deg: float | None
    # Of the unshaded irradiation, months and year; NaN in a month without sun. Shape (13,).
    loss_fraction: Floats

    def as_dict(self) -> dict[str, Any]:
        """The form of the result's ``by_obstruction`` list."""
        return {
            "name": self.name,
            "from_azimuth_deg": self.from_azimuth_deg,
            "to_azimuth_deg": self.to_azimuth_deg,
            "annual_loss_fraction": number(self.loss_fraction[12]),
            "monthly_loss_fraction": numbers(self.loss_fraction[:12]),
        }


@dataclass(frozen=True, eq=False)
class PlaneResult:
    """Access, loss and window of one plane."""

    plane: Plane
    solar_access: Bounded
    beam_access: Bounded
    # Irradiation on the plane over a level horizon and over this one. [kWh/m2] Shape (12,).
    unshaded_kwh_m2: Floats
    received_kwh_m2: Floats
    unshaded_beam_kwh_m2: Floats  # [kWh/m2] Shape (12,)
    # By month and hour of apparent solar time; NaN without sun. Shape (12, 24).
    hourly_solar_access: Floats
    hourly_beam_access: Floats
    sky_view_factor: float  # Of the plane over this horizon, in the year's mean
    orientation_factor: float  # Against the best unshaded fixed plane of the site
    best_unshaded: BestPlane
    window: WindowResult
    by_obstruction: tuple[ObstructionLoss, ...]
    # Solar access of the year of every drawn horizon, in the order of the draws and so alike for
    # all planes of a point: unmeasured sectors open and, where there are any, blocked. Shape (n,).
    drawn_access: tuple[Floats, ...] = ()
    energy: Energy | None = None  # Where the plane has a size
    verdicts: tuple[Verdict, ...] = ()  # One for each rule set

    @property
    def loss_kwh_m2(self) -> Floats:
        """By month. Shape (12,). [kWh/m2]"""
        return self.unshaded_kwh_m2 - self.received_kwh_m2

    @property
    def total_solar_resource_fraction(self) -> float:
        """Orientation factor times annual solar access."""
        return self.orientation_factor * self.solar_access.annual

    def as_dict(self) -> dict[str, Any]:
        """The form of an entry of the result's ``planes`` list."""
        loss: dict[str, Any] = {
            "annual_kwh_per_m2": number(self.loss_kwh_m2.sum()),
            "monthly_kwh_per_m2": numbers(self.loss_kwh_m2),
        }
        if self.energy is not None:
            loss["annual_kwh"] = number(self.energy.lost_kwh.sum())
            loss["monthly_kwh"] = numbers(self.energy.lost_kwh)
            loss["note"] = NOTE
        more: dict[str, Any] = {}
        if self.energy is not None:
            more["energy"] = self.energy.as_dict()
        if self.verdicts:
            more["rules"] = [v.as_dict() for v in self.verdicts]
        return {
            "name": self.plane.name,
            "tilt_deg": self.plane.tilt_deg,
            "azimuth_deg": self.plane.azimuth_deg,
            "solar_access": self.solar_access.as_dict(),
            "beam_access": self.beam_access.as_dict(),
            "orientation_factor": number(self.orientation_factor),
            "total_solar_resource_fraction": number(self.total_solar_resource_fraction),
            "loss": loss,
            "irradiation": {
                "unshaded_annual_kwh_per_m2": number(self.unshaded_kwh_m2.sum()),
                "unshaded_monthly_kwh_per_m2": numbers(self.unshaded_kwh_m2),
                "annual_kwh_per_m2": number(self.received_kwh_m2.sum()),
                "monthly_kwh_per_m2": numbers(self.received_kwh_m2),
            },
            "window": {
                "from_solar_hour": self.window.from_solar_hour,
                "to_solar_hour": self.window.to_solar_hour,
                "monthly_clear_fraction": numbers(self.window.monthly_clear_fraction),
                "monthly_unmeasured_fraction": numbers(self.window.monthly_unmeasured_fraction),
                "clock": self.window.clock,
                "blocked": [b.as_dict() for b in self.window.blocked],
            },
            "by_obstruction": [o.as_dict() for o in self.by_obstruction],
            "sky_view_factor": number(self.sky_view_factor),
            "best_unshaded_plane": {
                "tilt_deg": self.best_unshaded.tilt_deg,
                "azimuth_deg": self.best_unshaded.azimuth_deg,
                "annual_kwh_per_m2": self.best_unshaded.irradiation_kwh_m2,
            },
            "month_by_hour": {
                "solar_access": [numbers(row) for row in self.hourly_solar_access],
                "beam_access": [numbers(row) for row in self.hourly_beam_access],
            },
            **more,
        }


@dataclass(frozen=True, eq=False)
class AccessResult:
    """The answer for one point."""

    site: Site
    settings: Settings
    planes: tuple[PlaneResult, ...]
    sky: str  # The light assumed, in words
    # What a reader must know: assumptions, unmeasured sectors, missing errors
    notes: tuple[str, ...] = ()
    hints: tuple[str, ...] = ()  # What whoever works with the program can do about it
    checks: tuple[Check, ...] = ()  # Whether what was assumed of the light is fit for the site

    def as_dict(self) -> dict[str, Any]:
        """The ``site`` and ``planes`` part of the documented result, and how it came about."""
        return {
            "site": {
                "latitude_deg": self.site.latitude_deg,
                "longitude_deg": self.site.longitude_deg,
                "altitude_m": self.site.altitude_m,
            },
            "planes": [p.as_dict() for p in self.planes],
            "assumptions": {
                "year": self.settings.year,
                "sky": self.sky,
                "transposition": self.settings.transposition,
                "ground_reflectance": list(self.settings.monthly_reflectance),
                "draws": self.settings.draws,
                "notes": list(self.notes),
                "hints": list(self.hints),
            },
        }
