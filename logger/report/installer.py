"""The sheet for the installer: planes, positions, heights, hours of shade, and what it means."""

from __future__ import annotations

from collections.abc import Sequence

from logger.access.window import Blocked, WindowResult
from logger.geometry import wrap360
from logger.report import array, sentences, texts
from logger.report.content import Report
from logger.report.language import DASH, Words
from logger.report.pages import place
from logger.report.pictures import Page
from logger.report.result_tables import planes_of
from logger.report.tables import hour_text
from logger.survey.array import ArrayResult, extreme_windows


def installer(report: Report, w: Words) -> Page:
    """Heights, positions, planes, the hours in which each point is shaded, and what that means."""
    hours = sentences.window_hours(report.points[0].access.planes[0].window, w)
    return {
        "kind": "installer",
        "title": w("For the installer"),
        "planes": _planes(report, w),
        "places": _places(report, w),
        "arrays": [_array_shade(found, w) for found in report.arrays],
        "shaded_title": w(
            "When each point is shaded between {start} and {end} h of solar time", **hours
        ),
        "shaded": _shaded(report, w),
        "shaded_note": w(
            "Shade before {start} and after {end} h stands in the picture on each point's page. A "
            "dash is a month in which less than half a per cent of these hours is shaded, a "
            "question mark one in which part of the horizon was not measured. Shade counts when it "
            "falls at that time on some day of the month, in whole or in part; gaps under half an "
            "hour are told as shade. A bare tree counts, though it lets part of the light through.",
            **hours,
        ),
        "strings_title": w("What shade means for strings"),
        "strings": [w(text) for text in texts.STRINGS],
    }


ABREAST = 4
"""Points that stand side by side in a table of months."""


def _shaded(report: Report, w: Words) -> list[Page]:
    names, tables = report.short_names, []
    for start in range(0, len(report.points), ABREAST):
        points = report.points[start : start + ABREAST]
        hours = [shaded_hours(p.access.planes[0].window) for p in points]
        rows = [[w.month(m), *(cells[m] for cells in hours)] for m in range(12)]
        tables.append({"head": [w("month"), *(names[p.name] for p in points)], "rows": rows})
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


def _array_shade(found: ArrayResult, w: Words) -> Page:
    """When the worst and the best place of an array are shaded, and by what, month by month."""
    windows, columns = extreme_windows(found), []
    for window in windows:
        every = sentences.blocked_stretches(window)
        cells = []
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
            "When the worst and the best place of {plane} are shaded between {start} and {end} h "
            "of solar time, and by what",
            plane=found.plane.name,
            **sentences.window_hours(windows[0], w),
        ),
        "head": [w("month"), w("worst place"), w("best place")],
        "rows": [[w.month(m), *(cells[m] for cells in columns)] for m in range(12)],
        "note": array.ends(found, w),
    }


def _planes(report: Report, w: Words) -> Page:
    found = {p.plane.name: p for _, p in planes_of(report.points)}
    best = next(iter(found.values())).best_unshaded
    magnetic = report.points[0].declination.value_deg
    rows = [
        [
            name,
            w.number(p.plane.tilt_deg, 1),
            w.number(p.plane.azimuth_deg, 1),
            w.number(float(wrap360(p.plane.azimuth_deg - magnetic)), 1),
            DASH if p.plane.size_kwp is None else w.number(p.plane.size_kwp, 2),
            w.percent(p.orientation_factor.value, 1),
        ]
        for name, p in found.items()
    ]
    notes = [
        w(
            "By compass is what a hand compass shows, whose north is {declination}° from true "
            "north here by the magnetic model.",
            declination=w.number(magnetic, 2),
        ),
        w(
            "The best fixed plane without shade under this sky has a tilt of {tilt}° and an "
            "azimuth of {azimuth}°; the orientation factor compares each plane with it.",
            tilt=w.number(best.tilt_deg),
            azimuth=w.number(best.azimuth_deg),
        ),
    ]
    if turned := [c.figures["heading_deg"] for c in sentences.bearings(report.points)]:
        why = w(
            "The board's own compass was corrected by {bearing}° instead, as a bearing calibration "
            "found it: that holds the error of the board's compass and what iron does there as "
            "well, and so differs from the model.",
            bearing=w.listed([w.number(degrees, 2) for degrees in turned]),
        )
        notes.insert(1, why)
    head = [
        w("plane"),
        w("tilt [°]"),
        w("azimuth [°]"),
        w("by compass [°]"),
        w("size [kWp]"),
        w("orientation factor"),
    ]
    return {"head": head, "rows": rows, "note": " ".join(notes)}


def _places(report: Report, w: Words) -> Page:
    def metres(value: float | None, decimals: int = 2) -> str:
        return DASH if value is None else w.number(value, decimals)

    names = report.short_names
    every = {p.plane.name for _, p in planes_of(report.points)}
    rows = []
    for p in report.points:
        *at, error, swept, module = place(report, p)
        own = [x.plane.name for x in p.access.planes]
        planes = ", ".join(own) if len(own) < len(every) else w("all")
        metres_of = (*(metres(v, 1) for v in at), metres(error), metres(swept), metres(module))
        rows.append([names[p.name], *metres_of, planes])
    head = [w("point"), w("east [m]"), w("north [m]"), w("up [m]"), w("standard error [m]"),
            w("swept at [m]"), w("module at [m]"), w("planes")]  # fmt: skip
    note = w(
        "The standard error is that of each of east, north and up, as job or recording tell it. "
        "Both heights count from the surface that the surveyor stood on. A dash means that nothing "
        "was entered."
    )
    placed = [(row[0], place(report, p)[:3]) for row, p in zip(rows, report.points, strict=True)]
    known = [(name, [x for x in at if x is not None]) for name, at in placed if None not in at]
    told = [sentences.origin(*known[0], w)] if known else []
    return {"head": head, "rows": rows, "note": " ".join([*told, note])}
