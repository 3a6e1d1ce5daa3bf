"""The tables of the report, filled from figures."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from logger.access import UNNAMED
from logger.report.figures import PlaneFigures, Share
from logger.report.style import MONTHS
from logger.report.tables import DASH, Cell, Column, Table


def _share_column(name: str, heading: str) -> Column:
    return Column(name, heading, "%", 1, 6, 100.0)


def monthly_table(plane: PlaneFigures, point: str = "") -> Table:
    """Access, loss and solar window of one plane, month by month and for the year."""
    start, end = plane.window_hours
    columns = (
        Column("month", "month"),
        _share_column("solar_access", "solar access"),
        _share_column("solar_access_low", "low"),
        _share_column("solar_access_high", "high"),
        _share_column("beam_access", "beam access"),
        Column("loss_kwh_per_m2", "loss", "kWh/m²", 1, 4),
        _share_column("window_clear", f"clear {start:g}–{end:g}\N{NO-BREAK SPACE}h"),
    )
    solar, beam, known = plane.solar_access, plane.beam_access, plane.window_known
    rows: list[tuple[Cell, ...]] = [
        (
            MONTHS[m],
            float(solar.value[m]),
            float(solar.low[m]),
            float(solar.high[m]),
            float(beam.value[m]),
            float(plane.monthly_loss_kwh_per_m2[m]),
            float(known[m]),
        )
        for m in range(12)
    ]
    year = solar.year
    rows.append(
        ("year", year.value, year.low, year.high, beam.year.value, plane.loss_kwh_per_m2, None)
    )
    heading = f"{plane_name(plane)} at {point}" if point else plane_name(plane)
    return Table(heading, columns, tuple(rows), last_is_total=True)


def plane_name(plane: PlaneFigures) -> str:
    """Name, tilt and azimuth of a plane in words."""
    return f"{plane.name}: tilt {plane.tilt_deg:g}°, azimuth {plane.azimuth_deg:g}°"


def summary_table(points: Sequence[tuple[str, Sequence[PlaneFigures]]]) -> Table:
    """One row a point and plane: the year in figures."""
    columns: tuple[Column, ...] = (
        Column("point", "point"),
        Column("plane", "plane"),
        Column("tilt_deg", "tilt", "°", 1, 2),
        Column("azimuth_deg", "azimuth", "°", 1, 2),
        _share_column("solar_access", "solar access"),
        _share_column("solar_access_low", "low"),
        _share_column("solar_access_high", "high"),
        _share_column("beam_access", "beam access"),
        _share_column("orientation_factor", "orientation factor"),
        _share_column("total_solar_resource_fraction", "total resource"),
        Column("loss_kwh_per_m2", "loss", "kWh/m²", 0, 4),
        Column("loss_kwh", "loss", "kWh", 0, 2),
        Column("energy_kwh", "energy", "kWh", 0, 2),
        Column("specific_yield_kwh_per_kwp", "specific yield", "kWh/kWp", 0, 2),
    )
    rows: list[tuple[Cell, ...]] = [
        (
            point,
            plane.name,
            plane.tilt_deg,
            plane.azimuth_deg,
            *_cells(plane.solar_access.year),
            plane.beam_access.year.value,
            plane.orientation_factor,
            plane.total_solar_resource_fraction,
            plane.loss_kwh_per_m2,
            plane.loss_kwh,
            plane.energy_kwh,
            plane.specific_yield,
        )
        for point, planes in points
        for plane in planes
    ]
    sized = 3
    if all(value != value for row in rows for value in row[-sized:]):  # all NaN: no sizes
        columns, rows = columns[:-sized], [row[:-sized] for row in rows]
    return Table("The year by point and plane", columns, tuple(rows))


def obstruction_table(planes: Sequence[PlaneFigures], point: str = "") -> Table:
    """What each obstruction takes of each plane's light, in the year and by month."""
    columns = (
        Column("plane", "plane"),
        Column("obstruction", "obstruction"),
        Column("from_azimuth_deg", "from", "°", 0, 2),
        Column("to_azimuth_deg", "to", "°", 0, 2),
        _share_column("year", "year"),
        *(_share_column(m.lower(), m) for m in MONTHS),
    )
    rows: tuple[tuple[Cell, ...], ...] = tuple(
        (
            plane.name,
            o.name or UNNAMED,
            o.from_azimuth_deg,
            o.to_azimuth_deg,
            o.year,
            *(float(v) for v in o.monthly),
        )
        for plane in planes
        for o in plane.by_obstruction
    )
    place = f" at {point}" if point else ""
    return Table(f"Loss by obstruction{place}", columns, rows)


def without_nothing(table: Table) -> Table:
    """An obstruction table without the rows that would print nothing but zeros, and says so."""
    printed = zip(table.rows, table.printed(), strict=True)
    kept = tuple(row for row, cells in printed if not set(cells[4:]) <= {"0.0", "0", DASH})
    if len(kept) == len(table.rows):
        return table
    return replace(table, title=f"{table.title}, without what rounds to nothing", rows=kept)


def short_obstruction_table(plane: PlaneFigures, point: str = "") -> Table:
    """One plane's obstruction table for the terminal: months in whole percent, no rows of zeros."""
    whole = obstruction_table([plane], point)
    columns = tuple(replace(c, decimals=0) if c.heading in MONTHS else c for c in whole.columns)
    shown = without_nothing(replace(whole, columns=columns))
    return replace(shown, columns=columns[1:], rows=tuple(row[1:] for row in shown.rows))


def rule_table(points: Sequence[tuple[str, Sequence[PlaneFigures]]]) -> Table:
    """What a programme or permit asks for, and whether each plane has it."""
    columns = (
        Column("point", "point"),
        Column("plane", "plane"),
        Column("rule", "rule"),
        _share_column("limit", "at least"),
        _share_column("found", "found"),
        _share_column("found_low", "low"),
        _share_column("found_high", "high"),
        Column("verdict", "verdict"),
    )
    rows: tuple[tuple[Cell, ...], ...] = tuple(
        (point, plane.name, v.rule, v.limit, *_cells(v.found), v.verdict)
        for point, planes in points
        for plane in planes
        for v in plane.verdicts
    )
    return Table("Rules", columns, rows)


def blocked_table(planes: Sequence[PlaneFigures], point: str = "") -> Table:
    """When the solar window is obstructed, and by what; all planes of a point share it."""
    plane = planes[0]
    start, end = plane.window_hours
    rows: tuple[tuple[Cell, ...], ...] = tuple(
        (MONTHS[b.month - 1], b.from_hour, b.to_hour, b.clock, b.obstruction) for b in plane.blocked
    )
    place = f" at {point}" if point else ""
    return Table(
        f"What stands before the sun between {start:g} and {end:g} h{place}",
        (
            Column("month", "month"),
            Column("from_solar_hour", "from", "solar time", 2, 3, as_clock=True),
            Column("to_solar_hour", "to", "solar time", 2, 3, as_clock=True),
            Column("clock", "on the month's mean day", plane.clock),
            Column("obstruction", "obstruction"),
        ),
        rows,
    )


def _cells(share: Share) -> tuple[float, float, float]:
    return share.value, share.low, share.high
