"""The tables of a survey, filled from the calculator's and the survey's own records."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from logger.access import ObstructionLoss, PlaneResult
from logger.access.window import WindowResult
from logger.arrays import Floats, floats
from logger.report.tables import DASH, MONTHS, Cell, Column, Table, csv_text

if TYPE_CHECKING:
    from logger.access.shade import ShadeMap
    from logger.orientation.sight_lines import SightLines
    from logger.survey.result import PointResult

YEAR = 12
"""Column of the year behind the twelve months."""

UNMEASURED_WORTH_SAYING = 0.005
"""Of the solar window in a month; less is the width of a step of the grid."""

_WHERE = (Column("point", "point"), Column("plane", "plane"))
_SKY = Column("sky", "sky")

ENDS = ("value", "low", "high", "survey_low", "survey_high")
"""Of a share's record."""


def share(name: str, heading: str, decimals: int = 1) -> Column:
    """A column of shares, printed in per cent."""
    return Column(name, heading, "%", decimals, 6, 100.0)


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
        (share("solar_access", "solar access"), solar.value),
        (share("solar_access_low", "low"), solar.low),
        (share("solar_access_high", "high"), solar.high),
        (share("beam_access", "beam access"), beam.value),
        (Column("loss_kwh_per_m2", "loss", "kWh/m²", 1, 4), loss),
        (
            share(
                "window_clear", f"clear {window.from_solar_hour:g}–{window.to_solar_hour:g}\xa0h"
            ),
            np.append(window_known(window), np.nan),
        ),
    ]
    if not np.isfinite(loss).any():
        del shown[4]
    columns = (Column("month", "month"), *(column for column, _ in shown))
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
        Column("obstruction", "obstruction"),
        Column("from_azimuth_deg", "from", "°", 0, 2),
        Column("to_azimuth_deg", "to", "°", 0, 2),
        share("year", "year"),
        *(share(m.lower(), m, 0) for m in MONTHS),
    )
    rows: tuple[tuple[Cell, ...], ...] = tuple(
        (o.name, o.from_azimuth_deg, o.to_azimuth_deg, *_year_first(o))
        for o in plane.by_obstruction
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
        Column("cause", "cause"),
        *(Column(p.plane.name, p.plane.name if len(planes) > 1 else "width", "points", 1, 4, 100.0)
          for p in planes),
        Column("remedy", "what would make it smaller"),
    )  # fmt: skip
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


def _year_first(o: ObstructionLoss) -> list[float]:
    return [float(o.loss_fraction[YEAR]), *o.loss_fraction[:YEAR].tolist()]


def year_table(points: Sequence[PointResult]) -> Table:
    """One row a point and plane: the year in figures."""
    columns: tuple[Column, ...] = (
        *_WHERE,
        Column("tilt_deg", "tilt", "°", 1, 2),
        Column("azimuth_deg", "azimuth", "°", 1, 2),
        share("solar_access", "solar access"),
        share("solar_access_low", "low"),
        share("solar_access_high", "high"),
        share("solar_access_survey_low", "survey low"),
        share("solar_access_survey_high", "survey high"),
        share("beam_access", "beam access"),
        *(
            share(f"{name}{end}", heading + end.replace("_", " "))
            for name, heading in (
                ("orientation_factor", "orientation factor"),
                ("total_solar_resource_fraction", "total resource"),
            )
            for end in ("", "_low", "_high")
        ),
        Column("loss_kwh_per_m2", "loss", "kWh/m²", 0, 4),
        _SKY,
    )
    rows: tuple[tuple[Cell, ...], ...] = tuple(
        (
            point.name,
            p.plane.name,
            p.plane.tilt_deg,
            p.plane.azimuth_deg,
            *(float(getattr(p.solar_access, end)[YEAR]) for end in ENDS),
            p.beam_access.annual,
            *p.orientation_factor.ends,
            *p.total_solar_resource_fraction.ends,
            float(p.loss_kwh_m2.sum()),
            str(point.access.sky),
        )
        for point in points
        for p in point.access.planes
    )
    return Table("The year by point and plane", columns, rows)


def plane_table(points: Sequence[PointResult]) -> Table:
    """One row a plane: its array once, from the mean over its points, and the worst of them."""
    columns = (
        Column("plane", "plane"),
        Column("points", "points", decimals=0),
        share("mean_solar_access", "mean access"),
        Column("worst_point", "worst point"),
        share("worst_solar_access", "access there"),
        Column("size_kwp", "size", "kWp", 2, 3),
        Column("loss_kwh", "loss", "kWh", 0, 2),
        Column("energy_kwh", "energy", "kWh", 0, 2),
        Column("specific_yield_kwh_per_kwp", "specific yield", "kWh/kWp", 0, 2),
        _SKY,
    )
    found: dict[str, list[tuple[str, PlaneResult]]] = {}
    for point in points:
        for p in point.access.planes:
            if np.isfinite(p.solar_access.annual):
                found.setdefault(p.plane.name, []).append((point.name, p))
    rows: list[tuple[Cell, ...]] = []
    for name, at in found.items():
        access = [p.solar_access.annual for _, p in at]
        worst = int(np.argmin(access))
        energy = [p.energy for _, p in at if p.energy is not None]
        told: list[Cell] = [None, None, None]
        if energy:
            told = [
                float(np.mean(values))
                for values in zip(
                    *((e.lost_kwh.sum(), e.kwh.sum(), e.specific_yield) for e in energy),
                    strict=True,
                )
            ]
        row = (name, len(at), float(np.mean(access)), at[worst][0], access[worst])
        rows.append((*row, at[0][1].plane.size_kwp, *told, str(points[0].access.sky)))
    return Table("The year by plane", columns, tuple(rows))


def results_table(points: Sequence[PointResult]) -> Table:
    """One row a point, plane and month, and one for the year."""
    numbers = (
        *(
            f"{kind}_access_{end}".removesuffix("_value")
            for kind in ("solar", "beam")
            for end in ENDS
        ),
        "loss_kwh_per_m2",
        "window_clear",
    )
    columns = (
        *_WHERE,
        Column("tilt_deg", "tilt", "°", 1, 4),
        Column("azimuth_deg", "azimuth", "°", 1, 4),
        Column("month", "month"),
        *(Column(name, name, decimals=4) for name in numbers),
        _SKY,
    )  # fmt: skip
    rows: list[tuple[Cell, ...]] = []
    for point in points:
        for p in point.access.planes:
            shares = [getattr(b, n) for b in (p.solar_access, p.beam_access) for n in ENDS]
            loss = np.append(p.loss_kwh_m2, p.loss_kwh_m2.sum())
            clear = np.append(window_known(p.window), np.nan)
            of_months = np.stack([*shares, loss, clear], axis=1).tolist()
            where = (point.name, p.plane.name, p.plane.tilt_deg, p.plane.azimuth_deg)
            rows += [
                (*where, month, *row, str(point.access.sky))
                for month, row in zip((*MONTHS, "year"), of_months, strict=True)
            ]
    return Table("Results", columns, tuple(rows))


def obstruction_table(points: Sequence[PointResult]) -> Table:
    """What each obstruction blocks of each plane's light, in the year and by month."""
    columns = (
        *_WHERE,
        Column("obstruction", "obstruction"),
        Column("kind", "kind"),
        Column("from_azimuth_deg", "from", "°", 0, 2),
        Column("to_azimuth_deg", "to", "°", 0, 2),
        Column("distance_m", "distance", "m", 0, 2),
        share("year", "year"),
        *(share(m.lower(), m) for m in MONTHS),
        _SKY,
    )
    rows: list[tuple[Cell, ...]] = []
    for point in points:
        known = {o.name: o.distance_m for o in point.horizon.profile.obstructions}
        for p in point.access.planes:
            for o in p.by_obstruction:
                where = (o.from_azimuth_deg, o.to_azimuth_deg, known.get(o.name))
                told = (o.name, o.kind, *where, *_year_first(o), str(point.access.sky))
                rows.append((point.name, p.plane.name, *told))
    return Table("Loss by obstruction", columns, tuple(rows))


def rule_table(points: Sequence[PointResult]) -> Table:
    """What a programme or permit asks for, and whether each plane has it."""
    columns = (
        *_WHERE,
        Column("rule", "rule"),
        share("limit", "at least"),
        share("found", "found"),
        share("found_low", "low"),
        share("found_high", "high"),
        Column("verdict", "verdict"),
        _SKY,
    )
    rows: tuple[tuple[Cell, ...], ...] = tuple(
        (
            point.name,
            p.plane.name,
            v.rule,
            v.limit,
            v.value,
            v.low,
            v.high,
            v.verdict,
            str(point.access.sky),
        )
        for point in points
        for p in point.access.planes
        for v in p.verdicts
    )
    return Table("Rules", columns, rows)


def blocked_table(points: Sequence[PointResult]) -> Table:
    """When the sun is blocked in the solar window, and by what; all planes of a point share it."""
    columns = (
        Column("point", "point"),
        Column("month", "month"),
        Column("from_solar_hour", "from", "solar time", 2, 3, as_clock=True),
        Column("to_solar_hour", "to", "solar time", 2, 3, as_clock=True),
        Column("from_clock", "from, by the clock"),
        Column("to_clock", "to, by the clock"),
        Column("clock", "clock"),
        Column("obstruction", "obstruction"),
        share("share", "share of that time"),
    )
    rows: list[tuple[Cell, ...]] = []
    for point in points:
        window = point.access.planes[0].window
        for b in window.blocked:
            hours = (b.from_solar_hour, b.to_solar_hour, b.from_clock, b.to_clock, window.clock)
            rows.append((point.name, MONTHS[b.month - 1], *hours, b.obstruction, b.share))
    return Table("What blocks the sun in the solar window", columns, tuple(rows))


def shade_table(shades: Sequence[tuple[str, ShadeMap]]) -> Table:
    """How much of the sun's time is blocked at each point, a row a month and hour."""
    columns = (
        Column("point", "point"),
        Column("month", "month"),
        Column("from_solar_hour", "from", "solar time", 2, 3, as_clock=True),
        Column("to_solar_hour", "to", "solar time", 2, 3, as_clock=True),
        share("blocked", "sun blocked"),
        share("not_measured", "not measured"),
    )
    rows: list[tuple[Cell, ...]] = [
        (point, MONTHS[m], *hours, float(shade.shaded[m, h]), float(shade.unmeasured[m, h]))
        for point, shade in shades
        for m in range(12)
        for h, hours in enumerate(
            zip(shade.hour[:-1].tolist(), shade.hour[1:].tolist(), strict=True)
        )
        if np.isfinite(shade.shaded[m, h])
    ]
    return Table("Sun blocked, % of the time it is up", columns, tuple(rows))


def check_table(points: Sequence[PointResult]) -> Table:
    """Every check of the points and of the calibrations that they use."""
    columns = (
        Column("of", "of"),
        Column("check", "check"),
        Column("passed", "passed"),
        Column("value", "value", "", 2, 4),
        Column("limit", "limit", "", 2, 4),
        Column("unit", "unit"),
        Column("why", "in words"),
    )
    owners = [(point.name, point.checks) for point in points]
    used = {c.file: c for point in points for one in point.chosen for c in one.used}
    owners += [(f"{c.about.purpose} calibration {c.file}", c.checks) for c in used.values()]
    rows: tuple[tuple[Cell, ...], ...] = tuple(
        (owner, c.check, "yes" if c.passed else "NO", c.value, c.limit, c.unit, c.why)
        for owner, checks in owners
        for c in checks
    )
    return Table("Checks", columns, rows)


def file_table(points: Sequence[PointResult]) -> Table:
    """The recordings behind the figures and their hashes."""
    columns = (
        Column("of", "of"),
        Column("file", "file"),
        Column("sha256", "SHA-256"),
        Column("remark", "remark"),
    )
    rows: list[tuple[Cell, ...]] = [
        (point.name, r.path.name, r.sha256, "; ".join(r.problems))
        for point in points
        for r in point.recordings
    ]
    used = {c.file: c for point in points for one in point.chosen for c in one.used}
    rows += [
        (f"{c.about.purpose} calibration", c.about.recording, c.about.sha256, "")
        for c in used.values()
    ]
    return Table("Files", columns, tuple(rows))


def samples_csv(sights: Sequence[SightLines]) -> str:
    """One row a measuring instant, in the columns that the documentation fixes."""
    header = ("t_s", "azimuth_deg", "elevation_deg", "roll_deg", "used", "reason")
    rows = (
        [f"{t:.4f}", _cell(a, 4), _cell(e, 4), _cell(r, 3), str(int(used)), str(reason)]
        for sight in sights
        for t, a, e, r, used, reason in zip(
            sight.t_s,
            sight.azimuth_deg,
            sight.elevation_deg,
            sight.roll_deg,
            sight.used,
            sight.reason,
            strict=True,
        )
    )
    return csv_text(header, rows)


def _cell(value: float, decimals: int) -> str:
    return f"{value:.{decimals}f}" if np.isfinite(value) else ""
