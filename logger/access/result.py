"""What the calculator answers, and its form as JSON, which `logger.files.plain` makes plain."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

import numpy as np

from logger.access.best_plane import BestPlane
from logger.access.electricity import NOTE, assumptions
from logger.access.intervals import Part
from logger.access.plane import Plane
from logger.access.rules import Verdict
from logger.access.sky import Sky
from logger.access.surroundings import Stretch
from logger.access.window import WindowResult
from logger.arrays import Floats, freeze_columns
from logger.checks import Check
from logger.settings import Settings
from logger.site import Site

YEAR = 12
"""Column of the year behind the twelve months."""


@dataclass(frozen=True, eq=False)
class Bounded:
    """A share for each month and the year, with the intervals it lies in; each of shape (13,)."""

    # January to December, then the year, 0 to 1; NaN where not defined, and all of it where too
    # much of the sun's range was not measured.
    value: Floats
    # The 95 % interval of all that is uncertain, and that of the survey alone.
    low: Floats
    high: Floats
    survey_low: Floats
    survey_high: Floats

    def __post_init__(self) -> None:
        freeze_columns(self, tuple(vars(self)), length=13)

    def _at(self, i: int) -> dict[str, float]:
        return {name: column[i] for name, column in vars(self).items()}

    @property
    def annual(self) -> float:
        """The year's value."""
        return float(self.value[YEAR])

    @property
    def year(self) -> Interval:
        """The year's value with its whole interval."""
        return Interval(self.annual, float(self.low[YEAR]), float(self.high[YEAR]))

    def as_dict(self) -> dict[str, Any]:
        """``annual`` and ``monthly``, each with value and both intervals."""
        return {"annual": self._at(YEAR), "monthly": [self._at(m) for m in range(YEAR)]}


@dataclass(frozen=True)
class Interval:
    """One share with the interval it lies in; NaN where not defined. 0 to 1."""

    value: float
    low: float
    high: float

    @property
    def ends(self) -> tuple[float, float, float]:
        """Value, low and high."""
        return self.value, self.low, self.high


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
            "annual_kwh": self.kwh.sum(),
            "monthly_kwh": self.kwh,
            "specific_yield_kwh_per_kwp": self.specific_yield,
            "assumptions": assumptions(self.settings, self.weather_temperature),
        }


@dataclass(frozen=True, eq=False)
class ObstructionLoss(Stretch):
    """What one part of the skyline takes."""

    # Of the unshaded irradiation, months and year; NaN in a month without sun. Shape (13,).
    loss_fraction: Floats

    def as_dict(self) -> dict[str, Any]:
        """The form of the result's ``by_obstruction`` list."""
        return {
            "name": self.name,
            "kind": self.kind or None,
            "from_azimuth_deg": self.from_azimuth_deg,
            "to_azimuth_deg": self.to_azimuth_deg,
            "annual_loss_fraction": self.loss_fraction[YEAR],
            "monthly_loss_fraction": self.loss_fraction[:YEAR],
        }


@dataclass(frozen=True, eq=False)
class PlaneResult:
    """Access, loss and window of one plane."""

    plane: Plane
    solar_access: Bounded
    beam_access: Bounded
    orientation_factor: Interval  # Against the best unshaded fixed plane of the site
    total_solar_resource_fraction: Interval  # Orientation factor times annual solar access
    # Irradiation on the plane over a level horizon and over this one; NaN where the sky is not
    # known or the horizon was not measured. [kWh/m2] Shape (12,).
    unshaded_kwh_m2: Floats
    received_kwh_m2: Floats
    # By month and hour of apparent solar time; NaN without sun. Shape (12, 24).
    hourly_solar_access: Floats
    hourly_beam_access: Floats
    sky_view_factor: float  # Of the plane over this horizon, in the year's mean
    best_unshaded: BestPlane
    window: WindowResult
    by_obstruction: tuple[ObstructionLoss, ...]  # Largest first
    # What each cause adds to the width of annual solar access, largest first.
    parts: tuple[Part, ...] = ()
    energy: Energy | None = None  # Where it has a size, the sky is known and the horizon measured
    verdicts: tuple[Verdict, ...] = ()  # One for each rule
    # Total solar resource fraction of every draw, in an order that is the same for all planes of a
    # point; empty where nothing was drawn. Shape (n,).
    drawn_resource: Floats = field(default_factory=lambda: np.empty(0))

    @property
    def loss_kwh_m2(self) -> Floats:
        """By month. Shape (12,). [kWh/m2]"""
        return self.unshaded_kwh_m2 - self.received_kwh_m2

    def as_dict(self) -> dict[str, Any]:
        """The form of an entry of the result's ``planes`` list."""
        loss = {
            "annual_kwh_per_m2": self.loss_kwh_m2.sum(),
            "monthly_kwh_per_m2": self.loss_kwh_m2,
        }
        more: dict[str, Any] = {}
        if self.energy is not None:
            lost = self.energy.lost_kwh
            loss |= {"annual_kwh": lost.sum(), "monthly_kwh": lost, "note": NOTE}
            more["energy"] = self.energy.as_dict()
        if self.verdicts:
            more["rules"] = [v.as_dict() for v in self.verdicts]
        return {
            "name": self.plane.name,
            "tilt_deg": self.plane.tilt_deg,
            "azimuth_deg": self.plane.azimuth_deg,
            "solar_access": self.solar_access.as_dict(),
            "beam_access": self.beam_access.as_dict(),
            "orientation_factor": self.orientation_factor,
            "total_solar_resource_fraction": self.total_solar_resource_fraction,
            "interval_parts": self.parts,
            "loss": loss,
            "irradiation": {
                "unshaded_annual_kwh_per_m2": self.unshaded_kwh_m2.sum(),
                "unshaded_monthly_kwh_per_m2": self.unshaded_kwh_m2,
                "annual_kwh_per_m2": self.received_kwh_m2.sum(),
                "monthly_kwh_per_m2": self.received_kwh_m2,
            },
            "window": self.window.as_dict(),
            "by_obstruction": [o.as_dict() for o in self.by_obstruction],
            "sky_view_factor": self.sky_view_factor,
            "best_unshaded_plane": self.best_unshaded,
            "month_by_hour": {
                "solar_access": self.hourly_solar_access,
                "beam_access": self.hourly_beam_access,
            },
            **more,
        }


@dataclass(frozen=True, eq=False)
class AccessResult:
    """The answer for one point."""

    site: Site
    settings: Settings
    planes: tuple[PlaneResult, ...]
    sky: Sky  # The light that the figures rest on
    # What a reader must know: assumptions, unmeasured sectors, missing errors.
    notes: tuple[str, ...] = ()
    hints: tuple[str, ...] = ()  # What whoever works with the program can do about it
    # Whether what was assumed of the light is fit for the site.
    checks: tuple[Check, ...] = ()

    def as_dict(self) -> dict[str, Any]:
        """The ``site``, ``sky`` and ``planes`` part of the documented result."""
        return {
            "site": self.site,
            "sky": self.sky,
            "planes": [p.as_dict() for p in self.planes],
            "assumptions": {
                "year": self.settings.year,
                "transposition": self.settings.transposition,
                "ground_reflectance": self.settings.monthly_reflectance,
                "turbidity": self.settings.turbidity,
                "draws": self.settings.draws,
                "seed": self.settings.seed,
                "notes": self.notes,
                "hints": self.hints,
            },
        }
