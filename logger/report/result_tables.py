"""What tables tell of a survey, and those for the terminal."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from logger.access import ObstructionLoss, PlaneResult
from logger.access.result import YEAR
from logger.access.window import WindowResult
from logger.arrays import Floats, floats
from logger.report.tables import DASH, MONTHS, Cell, Column, Table

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


def _share(heading: str, decimals: int = 1) -> Column:
    """A column of shares, printed in per cent."""
    return Column(heading, "%", decimals, 100.0)


def window_known(window: WindowResult) -> Floats:
    """Share of the window without obstruction; NaN where part of it was not measured."""
    unknown = window.monthly_unmeasured_fraction > UNMEASURED_WORTH_SAYING
    return floats(np.where(unknown, np.nan, window.monthly_clear_fraction))


def plane_name(plane: PlaneResult) -> str:
    """Name, tilt and azimuth of a plane in words."""
    p = plane.plane
    return f"{p.name}: tilt {p.tilt_deg:g}°, azimuth {p.azimuth_deg:g}°"


def month_table(plane: PlaneResult, point: str = "") -> Table:
    """Access, loss and solar window of one plane, month by month and for the year."""
    window = plane.window
    loss = np.append(plane.loss_kwh_m2, plane.loss_kwh_m2.sum())
    solar, beam = plane.solar_access, plane.beam_access
    shown = [
        (_share("solar access"), solar.value),
        (_share("low"), solar.low),
        (_share("high"), solar.high),
        (_share("beam access"), beam.value),
        (Column("loss", "kWh/m²", 1), loss),
        (
            _share(f"sun in sight {window.from_solar_hour:g}–{window.to_solar_hour:g}\xa0h"),
            np.append(window_known(window), np.nan),
        ),
    ]
    if not np.isfinite(loss).any():
        del shown[4]
    columns = (Column("month"), *(column for column, _ in shown))
    numbers = np.stack([values for _, values in shown], axis=1)
    rows: tuple[tuple[Cell, ...], ...] = tuple(
        (month, *row) for month, row in zip((*MONTHS, "year"), numbers.tolist(), strict=True)
    )
    heading = f"{plane_name(plane)} at {point}" if point else plane_name(plane)
    return Table(heading, columns, rows, last_is_total=True)


def by_name(losses: Sequence[ObstructionLoss]) -> list[ObstructionLoss]:
    """Losses with the sectors of one name taken together, the greatest first.

    There are no azimuths where a name has several sectors.
    """
    names: dict[str, list[ObstructionLoss]] = {}
    for loss in losses:
        names.setdefault(loss.name, []).append(loss)
    found = [
        own[0]
        if len(own) == 1
        else replace(
            own[0],
            from_azimuth_deg=np.nan,
            to_azimuth_deg=np.nan,
            loss_fraction=floats(np.sum([o.loss_fraction for o in own], 0)),
        )
        for name, own in names.items()
    ]
    return sorted(found, key=lambda o: -float(np.nan_to_num(o.loss_fraction[YEAR])))


def obstruction_months(plane: PlaneResult, point: str = "") -> Table:
    """What each obstruction blocks of one plane's light by month, in whole per cent."""
    columns = (
        Column("obstruction"),
        Column("from", "°", 0),
        Column("to", "°", 0),
        _share("year"),
        *(_share(month, 0) for month in MONTHS),
    )
    rows: tuple[tuple[Cell, ...], ...] = tuple(
        (o.name, o.from_azimuth_deg, o.to_azimuth_deg, *year_first(o)) for o in plane.by_obstruction
    )
    place = f" at {point}" if point else ""
    return _without_zero_rows(Table(f"Share of the light blocked{place}", columns, rows), 3)


def width_table(planes: Sequence[PlaneResult]) -> Table:
    """What each cause adds to the year's interval on each plane, and what would make it smaller."""
    widths: dict[str, list[float]] = {}
    for k, plane in enumerate(planes):
        for part in plane.parts:
            widths.setdefault(part.cause, [0.0] * len(planes))[k] = part.width
    order = sorted(widths, key=lambda cause: -max(widths[cause]))
    columns = (
        Column("cause"),
        *(Column(p.plane.name if len(planes) > 1 else "width", "points", 1, 100.0) for p in planes),
        Column("what would make it smaller"),
    )
    remedies = {part.cause: part.remedy for plane in planes for part in plane.parts}
    rows: tuple[tuple[Cell, ...], ...] = tuple((c, *widths[c], remedies[c]) for c in order)
    return Table("Width of the year's interval if one cause were all", columns, rows)


def _without_zero_rows(table: Table, first: int) -> Table:
    """The table without the rows that would print nothing but zeros, and says so."""
    nothing = {"0.0", "0", DASH}
    printed = zip(table.rows, table.printed(), strict=True)
    kept = tuple(row for row, cells in printed if not set(cells[first:]) <= nothing)
    if len(kept) == len(table.rows):
        return table
    return replace(table, title=f"{table.title} (zero rows omitted)", rows=kept)


def year_first(o: ObstructionLoss) -> list[float]:
    """The year's loss, then the months'."""
    return [float(o.loss_fraction[YEAR]), *o.loss_fraction[:YEAR].tolist()]
