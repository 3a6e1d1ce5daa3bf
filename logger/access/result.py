"""What the calculator answers, and its form as JSON."""

from __future__ import annotations

from dataclasses import asdict, dataclass, field
from typing import Any

import numpy as np

from logger.access.best_plane import BestPlane
from logger.access.electricity import NOTE, assumptions
from logger.access.intervals import Part
from logger.access.plane import Plane
from logger.access.rules import Verdict
from logger.access.sky import Sky
from logger.access.window import WindowResult
from logger.arrays import Floats, freeze_columns
from logger.checks import Check
from logger.settings import Settings
from logger.site import Site

YEAR = 12
"""Column of the year behind the twelve months."""


def number(value: float | np.floating[Any]) -> float | None:
    """A JSON number; None for what is not defined."""
    return float(value) if np.isfinite(value) else None


def numbers(values: Floats) -> list[float | None]:
    """A JSON list; None for what is not defined."""
    return [number(v) for v in values]


@dataclass(frozen=True, eq=False)
class Bounded:
    """A share for each month and the year, with the intervals it lies in.

    Parameters
    ----------
    value : array, shape (13,)
        January to December, then the year, 0 to 1; NaN where not defined, and all of it where too
        much of the sun's range was not measured.
    low, high : array, shape (13,)
        The 95 % interval of all that is uncertain.
    survey_low, survey_high : array, shape (13,)
        That of the survey alone.
    """

    value: Floats
    low: Floats
    high: Floats
    survey_low: Floats
    survey_high: Floats

    def __post_init__(self) -> None:
        freeze_columns(self, tuple(vars(self)), length=13)

    def _at(self, i: int) -> dict[str, float | None]:
        return {name: number(column[i]) for name, column in vars(self).items()}

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
        return {"annual": self._at(YEAR), "monthly": [self._at(m) for m in range(12)]}


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

    def as_dict(self) -> dict[str, float | None]:
        """Value, low and high."""
        return {name: number(value) for name, value in vars(self).items()}


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
            "assumptions": assumptions(self.settings, self.weather_temperature),
        }


@dataclass(frozen=True, eq=False)
class ObstructionLoss:
    """What one part of the skyline takes."""

    name: str  # Its azimuths where nobody named it
    kind: str  # Of the obstruction; empty where nobody named it
    # [deg]
    from_azimuth_deg: float
    to_azimuth_deg: float
    # Of the unshaded irradiation, months and year; NaN in a month without sun. Shape (13,).
    loss_fraction: Floats

    def as_dict(self) -> dict[str, Any]:
        """The form of the result's ``by_obstruction`` list."""
        return {
            "name": self.name,
            "kind": self.kind or None,
            "from_azimuth_deg": self.from_azimuth_deg,
            "to_azimuth_deg": self.to_azimuth_deg,
            "annual_loss_fraction": number(self.loss_fraction[YEAR]),
            "monthly_loss_fraction": numbers(self.loss_fraction[:YEAR]),
        }


@dataclass(frozen=True, eq=False)
class PlaneResult:
    """Access, loss and window of one plane.

    Parameters
    ----------
    plane : Plane
    solar_access, beam_access : Bounded
    orientation_factor : Interval
        Against the best unshaded fixed plane of the site.
    total_solar_resource_fraction : Interval
        Orientation factor times annual solar access.
    unshaded_kwh_m2, received_kwh_m2, unshaded_beam_kwh_m2 : array, shape (12,)
        Irradiation on the plane over a level horizon and over this one, and its beam. NaN where the
        sky is not known or the horizon was not measured. [kWh/m2]
    hourly_solar_access, hourly_beam_access : array, shape (12, 24)
        By month and hour of apparent solar time; NaN without sun.
    sky_view_factor : float
        Of the plane over this horizon, in the year's mean.
    best_unshaded : BestPlane
    window : WindowResult
    by_obstruction : tuple of ObstructionLoss
        Largest first.
    parts : tuple of Part
        What each cause adds to the width of annual solar access, largest first.
    energy : Energy or None
        Where the plane has a size, the sky is known and the horizon measured.
    verdicts : tuple of Verdict
        One for each rule set.
    drawn_resource : array, shape (n,)
        Total solar resource fraction of every draw, in an order that is the same for all planes of
        a point; empty where nothing was drawn.
    """

    plane: Plane
    solar_access: Bounded
    beam_access: Bounded
    orientation_factor: Interval
    total_solar_resource_fraction: Interval
    unshaded_kwh_m2: Floats
    received_kwh_m2: Floats
    unshaded_beam_kwh_m2: Floats
    hourly_solar_access: Floats
    hourly_beam_access: Floats
    sky_view_factor: float
    best_unshaded: BestPlane
    window: WindowResult
    by_obstruction: tuple[ObstructionLoss, ...]
    parts: tuple[Part, ...] = ()
    energy: Energy | None = None
    verdicts: tuple[Verdict, ...] = ()
    drawn_resource: Floats = field(default_factory=lambda: np.empty(0))

    @property
    def loss_kwh_m2(self) -> Floats:
        """By month. Shape (12,). [kWh/m2]"""
        return self.unshaded_kwh_m2 - self.received_kwh_m2

    def as_dict(self) -> dict[str, Any]:
        """The form of an entry of the result's ``planes`` list."""
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
            "orientation_factor": self.orientation_factor.as_dict(),
            "total_solar_resource_fraction": self.total_solar_resource_fraction.as_dict(),
            "interval_parts": [asdict(part) for part in self.parts],
            "loss": self._loss(),
            "irradiation": {
                "unshaded_annual_kwh_per_m2": number(self.unshaded_kwh_m2.sum()),
                "unshaded_monthly_kwh_per_m2": numbers(self.unshaded_kwh_m2),
                "annual_kwh_per_m2": number(self.received_kwh_m2.sum()),
                "monthly_kwh_per_m2": numbers(self.received_kwh_m2),
            },
            "window": self.window.as_dict(),
            "by_obstruction": [o.as_dict() for o in self.by_obstruction],
            "sky_view_factor": number(self.sky_view_factor),
            "best_unshaded_plane": {
                "tilt_deg": self.best_unshaded.tilt_deg,
                "azimuth_deg": self.best_unshaded.azimuth_deg,
                "annual_kwh_per_m2": number(self.best_unshaded.irradiation_kwh_m2),
            },
            "month_by_hour": {
                "solar_access": [numbers(row) for row in self.hourly_solar_access],
                "beam_access": [numbers(row) for row in self.hourly_beam_access],
            },
            **more,
        }

    def _loss(self) -> dict[str, Any]:
        loss: dict[str, Any] = {
            "annual_kwh_per_m2": number(self.loss_kwh_m2.sum()),
            "monthly_kwh_per_m2": numbers(self.loss_kwh_m2),
        }
        if self.energy is not None:
            loss["annual_kwh"] = number(self.energy.lost_kwh.sum())
            loss["monthly_kwh"] = numbers(self.energy.lost_kwh)
            loss["note"] = NOTE
        return loss


@dataclass(frozen=True, eq=False)
class AccessResult:
    """The answer for one point.

    Parameters
    ----------
    site : Site
    settings : Settings
    planes : tuple of PlaneResult
    sky : Sky
        The light that the figures rest on.
    notes : tuple of str
        What a reader must know: assumptions, unmeasured sectors, missing errors.
    hints : tuple of str
        What whoever works with the program can do about it.
    checks : tuple of Check
        Whether what was assumed of the light is fit for the site.
    """

    site: Site
    settings: Settings
    planes: tuple[PlaneResult, ...]
    sky: Sky
    notes: tuple[str, ...] = ()
    hints: tuple[str, ...] = ()
    checks: tuple[Check, ...] = ()

    def as_dict(self) -> dict[str, Any]:
        """The ``site``, ``sky`` and ``planes`` part of the documented result."""
        return {
            "site": asdict(self.site),
            "sky": self.sky.as_dict(),
            "planes": [p.as_dict() for p in self.planes],
            "assumptions": {
                "year": self.settings.year,
                "transposition": self.settings.transposition,
                "ground_reflectance": list(self.settings.monthly_reflectance),
                "turbidity": self.settings.turbidity,
                "draws": self.settings.draws,
                "seed": self.settings.seed,
                "notes": list(self.notes),
                "hints": list(self.hints),
            },
        }
