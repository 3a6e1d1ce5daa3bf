"""The CSV files of a survey, for others to reckon with: shares 0 to 1, units in the names.

A number that is not defined is an empty field. A text field that a spreadsheet would take for a
formula (it starts with ``=``, ``+``, ``-``, ``@``, a tab or a carriage return, also after leading
blanks) gets an apostrophe in front, and line breaks become blanks.
"""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable, Sequence
from typing import TYPE_CHECKING

import numpy as np

from logger.access import PlaneResult
from logger.report.result_tables import (
    calibrations_of,
    checks_of,
    planes_of,
    window_known,
    year_first,
)
from logger.report.sentences import unfit
from logger.report.tables import MONTHS, Cell, is_missing, one_line
from logger.survey.result import PointResult

if TYPE_CHECKING:
    from logger.access.shade import ShadeMap
    from logger.orientation.sight_lines import SightLines

ENDS = ("value", "low", "high", "survey_low", "survey_high")
"""Of a share's record."""


def csv_text(header: str, rows: Iterable[Sequence[Cell]]) -> str:
    """Rows under the names of a header, comma separated, lines ended by LF."""
    names = header.split()
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(names)
    for row in rows:
        writer.writerow([_field(cell) for _, cell in zip(names, row, strict=True)])
    return out.getvalue()


def _field(cell: Cell) -> str:
    if is_missing(cell):
        return ""
    if isinstance(cell, str):
        return inert(cell)
    text = f"{cell:.6f}".rstrip("0").rstrip(".")
    return "0" if text == "-0" else text


def inert(text: str) -> str:
    """A text that no spreadsheet takes for a formula, on one line."""
    line = one_line(text)
    formula = line.lstrip().startswith(("=", "+", "-", "@")) or text.startswith(("\t", "\r"))
    return f"'{line}" if formula else line


def ends_named(name: str) -> list[str]:
    """The value and both intervals of a share, by the name of each."""
    return [name if end == "value" else f"{name}_{end}" for end in ENDS]


def results_csv(points: Sequence[PointResult]) -> str:
    """One row a point, plane and month, and one for the year, which has both factors too."""
    shares = " ".join([*ends_named("solar_access"), *ends_named("beam_access")])
    factors = " ".join(
        f"{name}{end}"
        for name in ("orientation_factor", "total_solar_resource_fraction")
        for end in ("", "_low", "_high")
    )
    rows: list[tuple[Cell, ...]] = []
    for point, p in planes_of(points):
        where = (point.name, p.plane.name, p.plane.tilt_deg, p.plane.azimuth_deg)
        ends = [getattr(b, end) for b in (p.solar_access, p.beam_access) for end in ENDS]
        of_year = [*p.orientation_factor.ends, *p.total_solar_resource_fraction.ends]
        loss = np.append(p.loss_kwh_m2, p.loss_kwh_m2.sum())
        clear = np.append(window_known(p.window), np.nan)
        figures = np.stack([*ends, loss, clear], axis=1).tolist()
        for month, row in zip((*MONTHS, "year"), figures, strict=True):
            more = of_year if month == "year" else [None] * len(of_year)
            rows.append((*where, month, *row, *more, str(point.access.sky)))
    return csv_text(
        f"point plane tilt_deg azimuth_deg month {shares} loss_kwh_per_m2 window_clear {factors} "
        "sky",
        rows,
    )


def planes_csv(points: Sequence[PointResult]) -> str:
    """One row a plane: its array once, from the mean over points fit for use, and their worst."""
    found: dict[str, list[tuple[PointResult, PlaneResult]]] = {}
    for point, p in planes_of([point for point in points if not unfit(point)]):
        if np.isfinite(p.solar_access.annual):
            found.setdefault(p.plane.name, []).append((point, p))
    rows: list[tuple[Cell, ...]] = []
    for name, at in found.items():
        access = [p.solar_access.annual for _, p in at]
        worst = int(np.argmin(access))
        energies = [p.energy for _, p in at if p.energy is not None]
        energy: list[Cell] = [None, None, None]
        if energies:
            told = [(e.lost_kwh.sum(), e.kwh.sum(), e.specific_yield) for e in energies]
            energy = np.mean(told, axis=0).tolist()
        shares = (float(np.mean(access)), at[worst][0].name, access[worst])
        sky = str(points[0].access.sky)
        rows.append((name, len(at), *shares, at[0][1].plane.size_kwp, *energy, sky))
    return csv_text(
        "plane points mean_solar_access worst_point worst_solar_access size_kwp loss_kwh "
        "energy_kwh specific_yield_kwh_per_kwp sky",
        rows,
    )


def obstructions_csv(points: Sequence[PointResult]) -> str:
    """What each obstruction blocks of each plane's light, in the year and by month."""
    rows: list[tuple[Cell, ...]] = []
    for point, p in planes_of(points):
        known = {o.name: o.distance_m for o in point.horizon.profile.obstructions}
        for o in p.by_obstruction:
            where = (o.from_azimuth_deg, o.to_azimuth_deg, known.get(o.name))
            told = (o.name, o.kind, *where, *year_first(o), str(point.access.sky))
            rows.append((point.name, p.plane.name, *told))
    return csv_text(
        "point plane obstruction kind from_azimuth_deg to_azimuth_deg distance_m year "
        f"{' '.join(MONTHS).lower()} sky",
        rows,
    )


def rules_csv(points: Sequence[PointResult]) -> str:
    """What a programme or permit asks for, and whether each plane has it."""
    rows = (
        (point.name, p.plane.name, v.rule, v.limit, v.value, v.low, v.high, v.verdict,
         str(point.access.sky))
        for point, p in planes_of(points)
        for v in p.verdicts
    )  # fmt: skip
    return csv_text("point plane rule limit found found_low found_high verdict sky", rows)


def blocked_csv(points: Sequence[PointResult]) -> str:
    """When the sun is blocked in the solar window, and by what; all planes of a point share it."""
    rows: list[tuple[Cell, ...]] = []
    for point in points:
        window = point.access.planes[0].window
        for b in window.blocked:
            hours = (b.from_solar_hour, b.to_solar_hour, b.from_clock, b.to_clock, window.clock)
            rows.append((point.name, MONTHS[b.month - 1], *hours, b.obstruction, b.share))
    return csv_text(
        "point month from_solar_hour to_solar_hour from_clock to_clock clock obstruction share",
        rows,
    )


def shade_csv(shades: Iterable[tuple[str, ShadeMap]]) -> str:
    """How much of the sun's time is blocked at each point, a row a month and hour."""
    rows = (
        (point, MONTHS[m], float(shade.hour[h]), float(shade.hour[h + 1]),
         float(shade.shaded[m, h]), float(shade.unmeasured[m, h]))
        for point, shade in shades
        for m, h in np.argwhere(np.isfinite(shade.shaded))
    )  # fmt: skip
    return csv_text("point month from_solar_hour to_solar_hour blocked not_measured", rows)


def checks_csv(points: Sequence[PointResult]) -> str:
    """Every check of the points and of the calibrations that they use."""
    rows = (
        (
            of.name if isinstance(of, PointResult) else f"{of.about.purpose} calibration {of.file}",
            c.check, "yes" if c.passed else "NO", c.value, c.limit, c.unit, c.why,
        )
        for of, c in checks_of(points)
    )  # fmt: skip
    return csv_text("of check passed value limit unit why", rows)


def files_csv(points: Sequence[PointResult]) -> str:
    """The recordings behind the figures and their hashes."""
    rows = [
        (point.name, r.path.name, r.sha256, "; ".join(r.problems))
        for point in points
        for r in point.recordings
    ]
    rows += [
        (f"{c.about.purpose} calibration", c.about.recording, c.about.sha256, "")
        for c in calibrations_of(points)
    ]
    return csv_text("of file sha256 remark", rows)


def samples_csv(sights: Sequence[SightLines]) -> str:
    """One row a measuring instant, in the columns that the documentation fixes."""
    rows = (
        (*numbers, int(used), str(reason))
        for sight in sights
        for *numbers, used, reason in zip(
            sight.t_s.tolist(),
            sight.azimuth_deg.tolist(),
            sight.elevation_deg.tolist(),
            sight.roll_deg.tolist(),
            sight.used,
            sight.reason,
            strict=True,
        )
    )
    return csv_text("t_s azimuth_deg elevation_deg roll_deg used reason", rows)
