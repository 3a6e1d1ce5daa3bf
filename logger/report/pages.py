"""The page of a point: data for the template, every text in its language."""

from __future__ import annotations

import math
from collections.abc import Collection, Sequence
from typing import Any

import numpy as np

from logger.access import ObstructionLoss, PlaneResult
from logger.access.result import YEAR
from logger.access.surroundings import CROWN_KIND
from logger.access.window import WindowResult
from logger.arrays import Floats
from logger.checks import Check
from logger.geometry import in_sector, wrap360
from logger.report import sentences, texts
from logger.report.charts import PLANES
from logger.report.content import Report
from logger.report.language import DASH, Words
from logger.report.photos import MOST, Photo, photo_at, photos_of
from logger.report.pictures import Page, Pictures
from logger.report.result_tables import causes, window_known
from logger.report.tables import hour_text, shortened
from logger.survey.gains import can_be_removed
from logger.survey.positions import position_of
from logger.survey.result import PointResult


def point_page(report: Report, point: PointResult, pictures: Pictures, w: Words) -> Page:
    """Everything about one point."""
    beside, planes = report.beside[point.name], point.access.planes
    shown = photos_of(report.job, point.name)[:MOST]
    return {
        "kind": "point",
        "name": point.name,
        "facts": _heights(report, point, w),
        "unfit": sentences.unfit_reasons(point.checks, w),
        "answer": sentences.answer(point.name, planes, w),
        "notes": _notes(point, w),
        **{
            kind: pictures.add(beside.pictures[kind], w(alt, point=point.name))
            for kind, alt in texts.PICTURES.items()
        },
        "month_table": month_rows(planes, w),
        "blocks": blocks(report, point, w),
        "width": width(planes, w),
        "photos": [_photo(photo_at(path), pictures, w) for path in shown],
        "checks": _checks_line(point.checks, w),
    }


def _photo(found: tuple[Photo, bytes], pictures: Pictures, w: Words) -> dict[str, Any]:
    about, small = found
    said = [about.caption]
    if about.direction_deg is not None:
        direction = w.number(about.direction_deg)
        said.append(
            w("looking to {direction}° by the camera's compass", direction=direction)
            if about.magnetic
            else w("looking to {direction}°", direction=direction)
        )
    said += [w.date(about.taken)] if about.taken else []
    caption = ", ".join(said)
    return pictures.add(small, w("Photo: {caption}", caption=caption), "jpg") | {"caption": caption}


SAID_ELSEWHERE = ("without weather", "in leaf and bare")
"""Beginnings of notes that the document tells in its own words."""


def _notes(point: PointResult, w: Words) -> list[str]:
    """What the answer rests on; the cover tells of the sky."""
    losses = [o for plane in point.access.planes for o in plane.by_obstruction]
    crowns = list(dict.fromkeys(o.name for o in losses if o.kind == CROWN_KIND))
    shown = []
    if crowns:
        trees = w.listed(crowns)
        shown.append(
            w("In winter part of the light passes the bare crowns of {trees}.", trees=trees)
        )
    if w.language == "en":
        told = (note for note in point.access.notes if not note.startswith(SAID_ELSEWHERE))
        shown += [f"{sentences.capital(note)}." for note in told]
    return shown


def _distances(report: Report, point: PointResult) -> dict[str, float]:
    """How far obstructions are, as somebody told or as two positions tell. [m]"""
    found: dict[str, float] = {}
    for array in report.arrays:
        found |= array.here.distances_from(point.name)
    told = point.horizon.profile.obstructions
    return found | {o.name: o.distance_m for o in told if o.distance_m is not None}


def place(report: Report, point: PointResult) -> tuple[float | None, ...]:
    """East, north, up and their standard error, heights of sight and module. [m]"""
    known = report.job.point(point.name)
    position = position_of(report.job, point.name, point.recordings)
    swept = known.sight_height_m
    if swept is None:
        swept = point.recordings[0].number("sight_height_m")
    at = (*position[0].tolist(), position[1]) if position else (None,) * 4
    return (*at, swept, known.module_height_m)


def _heights(report: Report, point: PointResult, w: Words) -> str:
    *at, _, swept, module = place(report, point)
    parts = [] if None in at else [w("{place} from the job's origin", place=sentences.place(at, w))]
    if swept is not None:
        parts.append(w("swept at {height} m", height=w.number(swept, 2)))
    if module is not None:
        parts.append(w("module at {height} m", height=w.number(module, 2)))
    parts += [
        w(
            "{plane}: tilt {tilt}°, azimuth {azimuth}°",
            plane=p.plane.name,
            tilt=w.number(p.plane.tilt_deg, 1),
            azimuth=w.number(p.plane.azimuth_deg, 1),
        )
        for p in point.access.planes
    ]
    return " · ".join(parts)


LONGEST_PLANE = 18
"""Letters of a plane's name in a table; the whole name stands above, with tilt and azimuth."""


def _plane_names(planes: Sequence[PlaneResult], alone: str) -> list[str]:
    """Of the planes, short enough for a table; of a plane alone what its column holds."""
    if len(planes) == 1:
        return [alone]
    return shortened([p.plane.name for p in planes], LONGEST_PLANE)


def month_rows(planes: Sequence[PlaneResult], w: Words) -> Page:
    """A column a month and one for the year, below the bars: rows of each plane, and the window."""
    rows: list[list[str]] = []
    lead = []
    for plane, name in zip(planes, _plane_names(planes, w("solar access")), strict=True):
        solar = plane.solar_access
        lead.append(len(rows))
        rows.append([name, *(w.number(v * 100, 1) for v in solar.value)])
        rows.append([w("95 % interval"), *_spans_of(solar.low, solar.high, w)])
        survey = _spans_of(solar.survey_low, solar.survey_high, w)
        rows.append([w("with the sky known"), *survey])
        loss = np.append(plane.loss_kwh_m2, plane.loss_kwh_m2.sum())
        if np.isfinite(loss).any():
            told = (w.number(v, 0 if k == YEAR else 1) for k, v in enumerate(loss))
            rows.append([w("loss [kWh/m²]"), *told])
    window = planes[0].window
    lead.append(len(rows))
    seen = (w.number(v * 100) for v in window_known(window))
    heading = w("sun in sight {start}–{end} h", **sentences.window_hours(window, w))
    rows.append([heading, *seen, ""])
    head = ["%", *(w.month(m, "abbreviated") for m in range(12)), w("year")]
    # The bars' colours, where there is more than one.
    colours = dict(zip(map(str, lead[:-1]), PLANES, strict=False)) if len(planes) > 1 else {}
    return {"head": head, "rows": rows, "lead": lead, "colours": colours}


def _spans_of(low: Floats, high: Floats, w: Words) -> list[str]:
    """Intervals of shares, in whole per cent; a dash where there is no sun."""
    ends = zip(low * 100, high * 100, strict=True)
    return [DASH if math.isnan(b) else f"{w.number(a)}–{w.number(b)}" for a, b in ends]


MOST_BLOCKING = 8
"""Obstructions told one by one; with more planes, whose names take room, fewer."""

BESIDE_DEG = 2.0


def blocks(report: Report, point: PointResult, w: Words) -> Page | None:
    """What blocks the sun: where it stands, how far, what it takes, and when in the window."""
    planes, distances = point.access.planes, _distances(report, point)
    window = planes[0].window
    every = [(k, o) for k, plane in enumerate(planes) for o in plane.by_obstruction]
    taken = {o.name: np.zeros(len(planes)) for _, o in every}
    for k, o in every:
        taken[o.name][k] += np.nan_to_num(o.loss_fraction[YEAR])
    order = sorted((n for n in taken if max(taken[n]) >= 0.0005), key=lambda n: -max(taken[n]))
    if not order:
        return None
    sectors = {(o.name, o.from_azimuth_deg): o for _, o in every}.values()
    spans, names = _spans(sectors, w), _names(sectors, w)
    kinds = {o.name: o.kind for o in sectors}

    def distance(name: str) -> str:
        far = distances.get(name)
        return w("not known") if far is None else w.number(far, int(far < 10))

    def can_go(name: str) -> str:
        if not kinds[name]:
            return DASH
        return w("yes") if can_be_removed(report.job, name, kinds[name]) else w("no")

    def lost(shares: Floats) -> list[str]:
        return [w.number(share * 100, 1) for share in shares]

    most = MOST_BLOCKING - max(0, len(planes) - 1)
    rows = [
        [
            names.get(name, sentences.obstruction(name, w)),
            spans[name],
            distance(name),
            can_go(name),
            *lost(taken[name]),
            when_blocked(window, name, w),
        ]
        for name in order[:most]
    ]
    if rest := order[most:]:
        more = w.count("{n} more", "{n} more", len(rest))
        rows.append([more, "", "", "", *lost(np.sum([taken[name] for name in rest], axis=0)), ""])
    hours = w("out of sight {start}–{end} h", **sentences.window_hours(window, w))
    fixed = [w("obstruction"), w("azimuth [°]"), w("distance [m]"), w("removable")]
    return {"head": [*fixed, *_plane_names(planes, w("year")), hours], "rows": rows}


MOST_CAUSES = 4


def width(planes: Sequence[PlaneResult], w: Words) -> Page | None:
    """What each cause adds to the year's interval, and what would make it smaller."""
    rows = [
        [w(cause), *(w.number(width * 100, 1) for width in widths), w(remedy)]
        for cause, widths, remedy in causes(planes)[:MOST_CAUSES]
    ]
    head = [w("cause"), *_plane_names(planes, w("width")), w("what would make it smaller")]
    return {"head": head, "rows": rows} if rows else None


def _names(losses: Collection[ObstructionLoss], w: Words) -> dict[str, str]:
    """What shows through a crown has no name of its own: the crown's."""
    crowns = [o for o in losses if o.kind == CROWN_KIND]
    return {
        o.name: w("behind {obstruction}", obstruction=crown.name)
        for o in losses
        for crown in crowns
        if not o.kind and _is_behind(o, crown)
    }


def _is_behind(one: ObstructionLoss, crown: ObstructionLoss) -> bool:
    """Whether it spans no more than the crown does, but for a few degrees."""
    ends = np.array([one.from_azimuth_deg, one.to_azimuth_deg])
    low, high = crown.from_azimuth_deg - BESIDE_DEG, crown.to_azimuth_deg + BESIDE_DEG
    wide = float(wrap360(ends[1] - ends[0]))
    return wide <= wrap360(high - low) and bool(in_sector(ends, wrap360(low), wrap360(high)).all())


def _spans(losses: Collection[ObstructionLoss], w: Words) -> dict[str, str]:
    """The azimuths that each name spans."""
    found: dict[str, list[str]] = {}
    for o in losses:
        span = f"{o.from_azimuth_deg:.0f}–{o.to_azimuth_deg:.0f}"
        found.setdefault(o.name, []).append(span)
    return {
        name: ", ".join(spans) if len(spans) <= 2 else w.count("{n} parts", "{n} parts", len(spans))
        for name, spans in found.items()
    }


def when_blocked(window: WindowResult, name: str, w: Words) -> str:
    """Months in whose solar window an obstruction blocks the sun, and from when to when at most."""
    own = [b for b in sentences.blocked_stretches(window) if b.obstruction == name]
    if not own:
        return ""
    months = sorted({b.month - 1 for b in own})
    first = min(b.from_solar_hour for b in own)
    last = max(b.to_solar_hour for b in own)
    return w(
        "{months}: {first} to {last}",
        months=w.months(months, "abbreviated"),
        first=hour_text(first),
        last=hour_text(last),
    )


def _checks_line(checks: Sequence[Check], w: Words) -> str:
    failed = [check for check in checks if not check.passed]
    if not failed:
        return w.count(
            "The one check of this point passed.",
            "All {n} checks of this point passed.",
            len(checks),
        )
    return w(
        "{failed} of {n} checks failed: {names}. The last pages say what was found.",
        failed=len(failed),
        n=len(checks),
        names=", ".join(dict.fromkeys(w(c.check) for c in failed)),
    )
