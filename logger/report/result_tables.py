"""What tables tell of a survey, and those for the terminal."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace
from typing import TYPE_CHECKING, TypeAlias

import numpy as np

from logger.access import ObstructionLoss, PlaneResult
from logger.access.result import YEAR
from logger.access.window import WindowResult
from logger.arrays import Floats, floats
from logger.report.tables import DASH, MONTHS, Cell, Column, Row, Table

if TYPE_CHECKING:
    from logger.calibration import StoredCalibration
    from logger.checks import Check
    from logger.survey.result import PointResult

UNMEASURED_WORTH_SAYING = 0.005
"""Of the solar window in a month; less is the width of a step of the grid."""


def planes_of(points: Sequence[PointResult]) -> list[tuple[PointResult, PlaneResult]]:
    """Every plane of every point, with its point."""
    return [(point, plane) for point in points for plane in point.access.planes]


def calibrations_of(points: Sequence[PointResult]) -> list[StoredCalibration]:
    """The calibrations that the points use, each once."""
    return list({c.file: c for p in points for one in p.chosen for c in one.used}.values())


def checks_of(points: Sequence[PointResult]) -> list[tuple[PointResult | StoredCalibration, Check]]:
    """The checks of the points, then those of the calibrations that they use, each with its own."""
    owners: list[PointResult | StoredCalibration] = [*points, *calibrations_of(points)]
    return [(owner, check) for owner in owners for check in owner.checks]


def window_known(window: WindowResult) -> Floats:
    """Share of the window without obstruction; NaN where part of it was not measured."""
    unknown = window.monthly_unmeasured_fraction > UNMEASURED_WORTH_SAYING
    return floats(np.where(unknown, np.nan, window.monthly_clear_fraction))


def _percent(heading: str, of: Callable[[Row], Cell], decimals: int = 1) -> Column[Row]:
    """A column of shares, printed in per cent."""
    return Column(heading, of, "%", decimals, 100.0)


def month_table(plane: PlaneResult, point: str = "") -> Table[int]:
    """Access, loss and solar window of one plane, month by month and for the year."""
    window, solar = plane.window, plane.solar_access
    loss = np.append(plane.loss_kwh_m2, plane.loss_kwh_m2.sum()).tolist()
    seen = np.append(window_known(window), np.nan).tolist()
    hours = f"{window.from_solar_hour:g}–{window.to_solar_hour:g}\xa0h"
    columns: list[Column[int]] = [
        Column("month", (*MONTHS, "year").__getitem__),
        _percent("solar access", solar.value.tolist().__getitem__),
        _percent("low", solar.low.tolist().__getitem__),
        _percent("high", solar.high.tolist().__getitem__),
        _percent("beam access", plane.beam_access.value.tolist().__getitem__),
        Column("loss", loss.__getitem__, "kWh/m²", 1),
        _percent(f"sun in sight {hours}", seen.__getitem__),
    ]
    if not np.isfinite(loss).any():
        del columns[5]
    p = plane.plane
    heading = f"{p.name}: tilt {p.tilt_deg:g}°, azimuth {p.azimuth_deg:g}°"
    if point:
        heading += f" at {point}"
    return Table(heading, range(YEAR + 1), columns, last_is_total=True)


def obstruction_months(plane: PlaneResult, point: str = "") -> Table[ObstructionLoss]:
    """What each obstruction blocks of one plane's light by month, in whole per cent."""

    def of(month: int) -> Callable[[ObstructionLoss], float]:
        return lambda o: float(o.loss_fraction[month])

    columns: list[Column[ObstructionLoss]] = [
        Column("obstruction", lambda o: o.name),
        Column("from", lambda o: o.from_azimuth_deg, "°", 0),
        Column("to", lambda o: o.to_azimuth_deg, "°", 0),
        _percent("year", of(YEAR)),
        *(_percent(month, of(m), 0) for m, month in enumerate(MONTHS)),
    ]
    place = f" at {point}" if point else ""
    table = Table(f"Share of the light blocked{place}", plane.by_obstruction, columns)
    printed = zip(table.rows, table.printed(), strict=True)
    shown = [o for o, cells in printed if not set(cells[3:]) <= {"0.0", "0", DASH}]
    if len(shown) == len(table.rows):
        return table
    return replace(table, title=f"{table.title} (zero rows omitted)", rows=shown)


Cause: TypeAlias = tuple[str, list[float], str]


def causes(planes: Sequence[PlaneResult]) -> list[Cause]:
    """What adds to the year's interval, its width on each plane, and what would make it smaller."""
    found: dict[str, Cause] = {}
    for k, plane in enumerate(planes):
        for part in plane.parts:
            empty: Cause = (part.cause, [0.0] * len(planes), part.remedy)
            found.setdefault(part.cause, empty)[1][k] = part.width
    return sorted(found.values(), key=lambda cause: -max(cause[1]))


def width_table(planes: Sequence[PlaneResult]) -> Table[Cause]:
    """The `causes` of the year's interval for the terminal."""

    def width(k: int, heading: str) -> Column[Cause]:
        return Column(heading, lambda cause: cause[1][k], "points", 1, 100.0)

    names = [p.plane.name for p in planes] if len(planes) > 1 else ["width"]
    columns = [
        Column[Cause]("cause", lambda cause: cause[0]),
        *(width(k, name) for k, name in enumerate(names)),
        Column[Cause]("what would make it smaller", lambda cause: cause[2]),
    ]
    return Table("Width of the year's interval if one cause were all", causes(planes), columns)


def year_first(o: ObstructionLoss) -> list[float]:
    """The year's loss, then the months'."""
    return [float(o.loss_fraction[YEAR]), *o.loss_fraction[:YEAR].tolist()]
