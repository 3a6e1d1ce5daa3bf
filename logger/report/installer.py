"""The sheet for the installer: planes, positions, heights, hours of shade, and what it means."""

from __future__ import annotations

import math
from collections.abc import Sequence

from logger.access.window import Blocked, WindowResult
from logger.calibration import StoredCalibration
from logger.checks import NORMAL_95
from logger.geometry import wrap360
from logger.orientation import Declination
from logger.report import array, sentences, texts
from logger.report.content import Report
from logger.report.language import DASH, Words
from logger.report.pages import place
from logger.report.pictures import Page
from logger.report.result_tables import calibrations_of, planes_of
from logger.report.tables import grid, hour_text
from logger.survey.array import ArrayResult, extreme_windows
from logger.survey.result import PointResult


def installer(report: Report, w: Words) -> Page:
    """Heights, positions, planes, the hours in which each point is shaded, and what that means."""
    hours = sentences.window_hours(report.points[0].access.planes[0].window, w)
    clock = _clock(report, w)
    return {
        "kind": "installer",
        "planes": _planes(report, w),
        "places": _places(report, w),
        "arrays": [_array_shade(found, clock, w) for found in report.arrays],
        "shaded_title": w(
            "When each point has no sun in sight between {start} and {end} h of solar time", **hours
        ),
        "shaded": _shaded(report, clock, w),
        "clock_note": w(
            "By the clock stands what {start} and {end} h of solar time are by the clock of the "
            "place ({zone}) on the 15th of the month, also where clocks change within it; hours "
            "between move with them.",
            zone=report.recipe.timezone,
            **hours,
        )
        if clock
        else "",
        "shaded_note": w(
            "Shade before {start} and after {end} h stands in the picture on each point's page. A "
            "dash is a month in which the sun is in sight for all but half a per cent of these "
            "hours, a question mark one in which part of the horizon was not measured. Shade "
            "counts when it falls at that time on some day of the month, in whole or in part; gaps "
            "under half an hour are told as shade. A bare tree counts, though it lets part of the "
            "light through.",
            **hours,
        ),
        "strings": [w(text) for text in texts.STRINGS],
    }


ABREAST = 4
"""Points that stand side by side in a table of months."""


def _clock(report: Report, w: Words) -> list[list[str]]:
    """A column of the solar window by the clock, its head first; none without a time zone."""
    if not report.recipe.timezone:
        return []
    access = report.points[0].access
    spans = (sentences.window_by_clock(access, report.recipe.timezone, m) for m in range(1, 13))
    hours = sentences.window_hours(access.planes[0].window, w)
    return [[w("{start}–{end} h by the clock", **hours), *("–".join(span) for span in spans)]]


def _months_table(columns: Sequence[Sequence[str]], w: Words) -> Page:
    """A row a month, of columns with their heads first."""
    heads, *rows = zip([w("month"), *(w.month(m) for m in range(12))], *columns, strict=True)
    return {"head": list(heads), "rows": [list(row) for row in rows]}


def _shaded(report: Report, clock: Sequence[Sequence[str]], w: Words) -> list[Page]:
    names, tables = report.short_names, []
    for start in range(0, len(report.points), ABREAST):
        points = report.points[start : start + ABREAST]
        hours = [[names[p.name], *shaded_hours(p.access.planes[0].window)] for p in points]
        tables.append(_months_table([*clock, *hours], w))
    return tables


LEAST_SUN_H = 0.5
"""Shorter stretches of sun between two of shade are told as shade. [h]"""


def shaded_hours(window: WindowResult) -> list[str]:
    """For each month the stretches of the solar window in which the sun is blocked."""
    unknown, every = sentences.unknown_months(window), sentences.blocked_stretches(window)
    cells = []
    for month in range(12):
        told = _spans([b for b in every if b.month == month + 1])
        cells.append(", ".join([*told, *(["?"] if month in unknown else [])]) or DASH)
    return cells


def _spans(blocked: Sequence[Blocked]) -> list[str]:
    """From when to when, one thing after the other taken together."""
    spans: list[list[float]] = []
    for start, end in sorted((b.from_solar_hour, b.to_solar_hour) for b in blocked):
        if spans and start <= spans[-1][1] + LEAST_SUN_H:
            spans[-1][1] = max(spans[-1][1], end)
        else:
            spans.append([start, end])
    return [f"{hour_text(a)}–{hour_text(b)}" for a, b in spans]


def _array_shade(found: ArrayResult, clock: Sequence[Sequence[str]], w: Words) -> Page:
    """When the worst and the best place of an array are shaded, and by what, month by month."""
    windows, columns = extreme_windows(found), []
    for window, head in zip(windows, (w("worst place"), w("best place")), strict=True):
        every = sentences.blocked_stretches(window)
        cells = [head]
        for month in range(1, 13):
            own = [b for b in every if b.month == month]
            names = dict.fromkeys(b.obstruction for b in own)
            by_name = (
                f"{', '.join(_spans([b for b in own if b.obstruction == name]))} "
                f"{sentences.obstruction(name, w)}"
                for name in names
            )
            cells.append("; ".join(by_name) or DASH)
        columns.append(cells)
    return {
        "title": w(
            "When the worst and the best place of {plane} have no sun in sight between {start} and "
            "{end} h of solar time, and what blocks it",
            plane=found.plane.name,
            **sentences.window_hours(windows[0], w),
        ),
        **_months_table([*clock, *columns], w),
        "note": array.ends(found, w),
    }


def _planes(report: Report, w: Words) -> Page:
    found = {p.plane.name: p for _, p in planes_of(report.points)}
    best = next(iter(found.values())).best_unshaded
    magnetic = report.points[0].declination
    table = grid(
        found.values(),
        [
            (w("plane"), lambda p: p.plane.name),
            (w("tilt [°]"), lambda p: w.number(p.plane.tilt_deg, 1)),
            (w("azimuth [°]"), lambda p: w.number(p.plane.azimuth_deg, 1)),
            (
                w("by compass [°]"),
                lambda p: w.number(float(wrap360(p.plane.azimuth_deg - magnetic.value_deg)), 1),
            ),
            (w("size [kWp]"), lambda p: w.number(p.plane.size_kwp, 2)),
            (w("orientation factor"), lambda p: w.percent(p.orientation_factor.value, 1)),
        ],
    )
    notes = [
        w(
            "By compass is what a hand compass shows, whose north is {declination}° from true "
            "north here by the magnetic model.",
            declination=w.number(magnetic.value_deg, 2),
        ),
        w(
            "The best fixed plane without shade under this sky has a tilt of {tilt}° and an "
            "azimuth of {azimuth}°; the orientation factor compares each plane with it.",
            tilt=w.number(best.tilt_deg),
            azimuth=w.number(best.azimuth_deg),
        ),
    ]
    if bearings := [c for c in calibrations_of(report.points) if c.kind == "bearing"]:
        notes.insert(1, two_norths(magnetic, bearings, w))
    return {**table, "note": " ".join(notes)}


def two_norths(model: Declination, bearings: Sequence[StoredCalibration], w: Words) -> str:
    """Why a bearing calibration differs from the magnetic model, and if by more than they err."""
    errors = [math.hypot(model.standard_error_deg, c.figures["standard_error_deg"])
              for c in bearings]  # fmt: skip
    apart = [abs(c.figures["heading_deg"] - model.value_deg) for c in bearings]
    worst = max(range(len(bearings)), key=lambda k: apart[k] / max(errors[k], 1e-9))
    named = {
        "bearing": w.listed([w.number(c.figures["heading_deg"], 2) for c in bearings]),
        "difference": w.number(apart[worst], 2),
        "good": w.number(NORMAL_95 * errors[worst], 2),
    }
    corrected = w(
        "The board's own compass was corrected by {bearing}° instead, as a bearing calibration "
        "found it: that holds the error of the board's compass and what iron does there as well.",
        **named,
    )
    if apart[worst] <= NORMAL_95 * errors[worst]:
        differs = w(
            "It differs from the model by {difference}°, which lies within the {good}° that both "
            "together are good for (95 %).",
            **named,
        )
    else:
        differs = w(
            "It differs from the model by {difference}°, more than the {good}° that both together "
            "are good for (95 %).",
            **named,
        )
    return f"{corrected} {differs}"


def _places(report: Report, w: Words) -> Page:
    names, every = report.short_names, {p.plane.name for _, p in planes_of(report.points)}
    placed = [(point, place(report, point)) for point in report.points]

    def planes(point: PointResult) -> str:
        own = [p.plane.name for p in point.access.planes]
        return ", ".join(own) if len(own) < len(every) else w("all")

    table = grid(
        placed,
        [
            (w("point"), lambda row: names[row[0].name]),
            (w("east [m]"), lambda row: w.number(row[1][0], 1)),
            (w("north [m]"), lambda row: w.number(row[1][1], 1)),
            (w("up [m]"), lambda row: w.number(row[1][2], 1)),
            (w("standard error [m]"), lambda row: w.number(row[1][3], 2)),
            (w("swept at [m]"), lambda row: w.number(row[1][4], 2)),
            (w("module at [m]"), lambda row: w.number(row[1][5], 2)),
            (w("planes"), lambda row: planes(row[0])),
        ],
    )
    note = w(
        "The standard error is that of each of east, north and up, as job or recording tell it. "
        "Both heights count from the surface that the surveyor stood on. A dash means that nothing "
        "was entered."
    )
    at_m = {names[p.name]: [x for x in at[:3] if x is not None] for p, at in placed}
    known = [(name, at) for name, at in at_m.items() if len(at) == 3]
    told = [sentences.origin(*known[0], w)] if known else []
    return {**table, "note": " ".join([*told, note])}
