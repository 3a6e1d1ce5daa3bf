"""Several points of a survey for the terminal, told shortly: the full tables are in the files."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np

from logger.access import UNNAMED
from logger.report.answer import assumptions_text, unfit_sentence, window_sentence
from logger.report.figures import PlaneFigures, by_name, plane_figures
from logger.report.style import MONTHS
from logger.report.tables import Cell, Column, Table, as_text

_TOLD = 0.0005
"""A smaller share is printed as 0.0 %."""


def _share(name: str, heading: str) -> Column:
    return Column(name, heading, "%", 1, 6, 100.0)


def point_story(name: str, document: Mapping[str, Any]) -> str:
    """Window, planes and what takes their light at one point."""
    planes = [plane_figures(entry) for entry in document["planes"]]
    parts = [unfit_sentence(document), window_sentence(planes[0]), as_text(planes_table(planes))]
    taken = taken_table(planes)
    if taken.rows:
        parts.append(as_text(taken))
    told = "\n\n".join(part.rstrip("\n") for part in parts if part)
    return f"== {name} ==\n\n{told}"


def planes_table(planes: Sequence[PlaneFigures]) -> Table:
    """The year of each plane at one point, and its poorest month."""
    columns = (
        Column("plane", "plane"),
        _share("solar_access", "solar access"),
        _share("solar_access_low", "low"),
        _share("solar_access_high", "high"),
        _share("beam_access", "beam access"),
        Column("loss_kwh_per_m2", "loss", "kWh/m²", 0, 4),
        Column("poorest_month", "poorest month"),
        _share("solar_access_then", "solar access"),
    )
    rows: list[tuple[Cell, ...]] = []
    for plane in planes:
        months, year = plane.solar_access.value, plane.solar_access.year
        known = np.isfinite(months)
        poorest = int(np.nanargmin(months)) if known.any() else None
        rows.append(
            (
                plane.name,
                year.value,
                year.low,
                year.high,
                plane.beam_access.year.value,
                plane.loss_kwh_per_m2,
                None if poorest is None else MONTHS[poorest],
                None if poorest is None else float(months[poorest]),
            )
        )
    return Table(
        "Of what an open level horizon would give (low and high: 95 %)", columns, tuple(rows)
    )


def taken_table(planes: Sequence[PlaneFigures]) -> Table:
    """What takes the year's light of each plane, each name once; nothing that prints as zero."""
    taken: dict[str, list[float]] = {}
    for k, plane in enumerate(planes):
        for o in by_name(plane.by_obstruction):
            of_planes = taken.setdefault(o.name or UNNAMED, [0.0] * len(planes))
            of_planes[k] = o.year
    worth_it = {name: of for name, of in taken.items() if max(np.nan_to_num(of)) >= _TOLD}
    columns = (
        Column("obstruction", "obstruction"),
        *(_share(f"plane_{k}", plane.name) for k, plane in enumerate(planes, 1)),
    )
    rows: tuple[tuple[Cell, ...], ...] = tuple(
        (name, *of) for name, of in sorted(worth_it.items(), key=lambda item: -max(item[1]))
    )
    return Table("Taken of the year's light", columns, rows)


def what_calibration_changes(
    points: Sequence[tuple[str, Sequence[PlaneFigures], Sequence[PlaneFigures]]],
) -> Table:
    """The year's access with and without calibration."""
    columns = (
        Column("point", "point"),
        Column("plane", "plane"),
        _share("solar_access", "solar access"),
        _share("solar_access_low", "low"),
        _share("solar_access_high", "high"),
        _share("uncalibrated", "without calibration"),
        _share("uncalibrated_low", "low"),
        _share("uncalibrated_high", "high"),
    )
    rows: list[tuple[Cell, ...]] = [
        (name, plane.name, year.value, year.low, year.high, other.value, other.low, other.high)
        for name, planes, bare in points
        for plane, uncalibrated in zip(planes, bare, strict=True)
        for year, other in [(plane.solar_access.year, uncalibrated.solar_access.year)]
    ]
    return Table("The year, and what the same sweeps say without calibration", columns, tuple(rows))


def assumptions_once(documents: Sequence[Mapping[str, Any]]) -> str:
    """What the figures of several points rest on, each line once."""
    lines = [
        line
        for document in documents
        for line in assumptions_text({**document, "samples": None}).splitlines()
    ]
    return "\n".join(dict.fromkeys(lines))
