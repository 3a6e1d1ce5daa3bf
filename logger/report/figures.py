"""The figures of a plane as the report shows them, read from the documented form of a result.

The ``planes`` list of a result (in memory or as JSON) is the one form that the report needs, so
that a stored result and a fresh one give the same pages. An undefined number is NaN here.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from logger.arrays import Floats, freeze_columns
from logger.report.result_tables import UNMEASURED_WORTH_SAYING


@dataclass(frozen=True)
class Share:
    """A fraction with its 95 % interval, 0 to 1; NaN where not defined."""

    value: float
    low: float
    high: float

    @property
    def is_exact(self) -> bool:
        """Whether nothing is known of its uncertainty."""
        return not self.high > self.low


@dataclass(frozen=True, eq=False)
class MonthlyShare:
    """A fraction by month and for the year."""

    # 0 to 1; NaN in a month where it is not defined. Shape (12,).
    value: Floats
    low: Floats
    high: Floats
    year: Share

    def __post_init__(self) -> None:
        freeze_columns(self, ("value", "low", "high"), length=12)


@dataclass(frozen=True)
class Blocked:
    """A stretch of solar hours in a month in which something stands before the sun."""

    month: int  # 1 to 12
    # Apparent solar time. [h]
    from_hour: float
    to_hour: float
    obstruction: str  # Its name; empty where it has none
    clock: str = ""  # The same stretch in clock time; empty where it is not told


@dataclass(frozen=True, eq=False)
class ObstructionLoss:
    """What one obstruction takes."""

    name: str
    # [deg]
    from_azimuth_deg: float
    to_azimuth_deg: float
    year: float  # Share of the year's irradiation
    monthly: Floats  # Share of each month's; NaN where not defined. Shape (12,).

    def __post_init__(self) -> None:
        freeze_columns(self, ("monthly",), length=12)


def by_name(losses: Sequence[ObstructionLoss]) -> list[ObstructionLoss]:
    """Losses with the sectors of one name taken together, the greatest first.

    Azimuths are NaN where a name has several sectors.
    """
    names: dict[str, list[ObstructionLoss]] = {}
    for loss in losses:
        names.setdefault(loss.name, []).append(loss)
    found = [
        own[0]
        if len(own) == 1
        else ObstructionLoss(
            name,
            math.nan,
            math.nan,
            sum(o.year for o in own),
            np.sum([o.monthly for o in own], axis=0),
        )
        for name, own in names.items()
    ]
    return sorted(found, key=lambda o: -float(np.nan_to_num(o.year)))


@dataclass(frozen=True)
class Verdict:
    """One rule of a programme or permit held against a plane."""

    rule: str
    limit: float  # The least that is asked for, 0 to 1
    found: Share
    verdict: str  # Pass, fail, or too close to call


@dataclass(frozen=True, eq=False)
class PlaneFigures:
    """One plane at one point."""

    name: str
    # [deg]
    tilt_deg: float
    azimuth_deg: float
    solar_access: MonthlyShare
    beam_access: MonthlyShare
    # 0 to 1
    orientation_factor: float
    total_solar_resource_fraction: float
    loss_kwh_per_m2: float  # Of the year. [kWh/m2]
    monthly_loss_kwh_per_m2: Floats  # [kWh/m2] Shape (12,)
    loss_kwh: float  # Of the year for the plane's size; NaN without one. [kWh]
    window_hours: tuple[float, float]  # Ends of the solar window. [h]
    window_clear: Floats  # Share of the window without obstruction. Shape (12,).
    # Share of the window before skyline that was not measured. Shape (12,).
    window_unmeasured: Floats
    blocked: tuple[Blocked, ...] = ()
    by_obstruction: tuple[ObstructionLoss, ...] = ()
    clock: str = ""  # Time zone of the clock times
    # Irradiation of the year over a level horizon and over this one. [kWh/m2]
    unshaded_kwh_per_m2: float = math.nan
    received_kwh_per_m2: float = math.nan
    energy_kwh: float = math.nan  # Electrical energy of the year; NaN without a size. [kWh]
    specific_yield: float = math.nan  # [kWh/kWp]
    verdicts: tuple[Verdict, ...] = ()

    def __post_init__(self) -> None:
        columns = ("monthly_loss_kwh_per_m2", "window_clear", "window_unmeasured")
        freeze_columns(self, columns, length=12)

    @property
    def window_known(self) -> Floats:
        """Share of the window without obstruction; NaN where part of it was not measured."""
        measured = ~(self.window_unmeasured > UNMEASURED_WORTH_SAYING)
        return np.where(measured, self.window_clear, np.nan)


def plane_figures(plane: Mapping[str, Any]) -> PlaneFigures:
    """Read one entry of a result's ``planes``."""
    loss = plane.get("loss") or {}
    window = plane.get("window") or {}
    light = plane.get("irradiation") or {}
    energy = plane.get("energy") or {}
    return PlaneFigures(
        name=str(plane.get("name", "")),
        tilt_deg=_number(plane.get("tilt_deg")),
        azimuth_deg=_number(plane.get("azimuth_deg")),
        solar_access=_monthly_share(plane.get("solar_access")),
        beam_access=_monthly_share(plane.get("beam_access")),
        orientation_factor=_number(plane.get("orientation_factor")),
        total_solar_resource_fraction=_number(plane.get("total_solar_resource_fraction")),
        loss_kwh_per_m2=_number(loss.get("annual_kwh_per_m2")),
        monthly_loss_kwh_per_m2=_twelve(loss.get("monthly_kwh_per_m2")),
        loss_kwh=_number(loss.get("annual_kwh")),
        window_hours=(
            _number(window.get("from_solar_hour", 9)),
            _number(window.get("to_solar_hour", 15)),
        ),
        window_clear=_twelve(window.get("monthly_clear_fraction")),
        window_unmeasured=_twelve(window.get("monthly_unmeasured_fraction")),
        blocked=tuple(
            Blocked(
                int(b["month"]),
                _number(b["from"]),
                _number(b["to"]),
                str(b["obstruction"] or ""),
                f"{b['from_clock']}–{b['to_clock']}" if b.get("from_clock") else "",
            )
            for b in window.get("blocked") or ()
        ),
        by_obstruction=tuple(
            ObstructionLoss(
                str(o.get("name") or ""),
                _number(o.get("from_azimuth_deg")),
                _number(o.get("to_azimuth_deg")),
                _number(o.get("annual_loss_fraction")),
                _twelve(o.get("monthly_loss_fraction")),
            )
            for o in plane.get("by_obstruction") or ()
        ),
        clock=str(window.get("clock") or ""),
        unshaded_kwh_per_m2=_number(light.get("unshaded_annual_kwh_per_m2")),
        received_kwh_per_m2=_number(light.get("annual_kwh_per_m2")),
        energy_kwh=_number(energy.get("annual_kwh")),
        specific_yield=_number(energy.get("specific_yield_kwh_per_kwp")),
        verdicts=tuple(
            Verdict(str(r["rule"]), _number(r["limit"]), _share(r), str(r["verdict"]))
            for r in plane.get("rules") or ()
        ),
    )


def _number(value: Any) -> float:
    return math.nan if value is None else float(value)


def _twelve(values: Any) -> Floats:
    return np.array([_number(v) for v in values or [None] * 12], dtype=np.float64)


def _share(value: Any) -> Share:
    value = value or {}
    return Share(*(_number(value.get(key)) for key in ("value", "low", "high")))


def _monthly_share(value: Any) -> MonthlyShare:
    value = value or {}
    months = [_share(m) for m in value.get("monthly") or [None] * 12]
    return MonthlyShare(
        _twelve([m.value for m in months]),
        _twelve([m.low for m in months]),
        _twelve([m.high for m in months]),
        _share(value.get("annual")),
    )
