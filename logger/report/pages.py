"""What stands on each page of the document: data for the template, every text in its language."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np

from logger.access import PlaneResult
from logger.access.window import WindowResult
from logger.checks import Check
from logger.report import sentences, texts
from logger.report.charts import PLANES, cover_chart, drawn
from logger.report.content import Report
from logger.report.language import DASH, Words
from logger.report.photos import MOST, Photo, photo_at, photos_of
from logger.report.result_tables import YEAR, by_name, width_table, window_known
from logger.report.tables import hour_text, shortened
from logger.survey.compare import Difference, difference
from logger.survey.result import PointResult

Page = dict[str, Any]

ON_COVER = 12
"""Points on the cover; more go to a page behind it."""


class Pictures:
    """The pictures of a document, by the name of their file."""

    def __init__(self) -> None:
        self.files: dict[str, bytes] = {}

    def add(self, content: bytes, alt: str, kind: str = "svg") -> dict[str, str]:
        """Keep a picture; what the template needs to show it."""
        name = f"picture-{len(self.files) + 1}.{kind}"
        self.files[name] = content
        return {"file": name, "alt": alt}


# For the client


def cover(report: Report, pictures: Pictures, w: Words) -> Page:
    """The answers, the sky they rest on, verdicts, and what one change would gain most."""
    points, people = report.points, report.job.people
    unfit = [p for p in points if sentences.unfit(p)]
    first = points[0]
    return {
        "kind": "cover",
        "over": w("Horizon survey and solar access"),
        "title": report.job.name,
        "facts": facts(report, w),
        "fit": not unfit and not report.left_out,
        "verdict": _verdict(len(points) + len(report.left_out), unfit, report.left_out, w),
        "answers": answers(report, w)[:ON_COVER],
        "more": answers(report, w)[ON_COVER:],
        "more_title": w("Further points"),
        "clock": sentences.clock_sentence(first.access, report.recipe.timezone, w),
        "picture": _cover_picture(points[:ON_COVER], pictures, w),
        "picture_title": w(
            "Light left, month by month, in % of that under an open, level horizon; black lines "
            "and brackets: 95 % intervals"
        ),
        "lines": [
            [w("Sky"), sentences.sky_sentence(first.access, w)],
            *([w("Compared"), line] for line in [comparison(points, w)] if line),
            *(
                [w("Rules") if k == 0 else "", line]
                for k, line in enumerate(sentences.rule_sentences(points, w))
            ),
            [w("What could be changed"), _gain(report, w)],
            [w("Not looked at"), w(texts.NOT_LOOKED_AT)],
            [w("Questions"), _whom_to_ask(people, w)],
            [w("Safety"), w(texts.SAFETY_LINE)],
        ],
    }


def facts(report: Report, w: Words) -> str:
    """Place, days and people in one line."""
    site, days = report.job.site, report.surveyed
    parts = [
        w(
            "{latitude}° {north}, {longitude}° {east}, {altitude} m above sea level",
            latitude=w.number(abs(site.latitude_deg), 4),
            north=w("N") if site.latitude_deg >= 0 else w("S"),
            longitude=w.number(abs(site.longitude_deg), 4),
            east=w("E") if site.longitude_deg >= 0 else w("W"),
            altitude=w.number(site.altitude_m),
        )
    ]
    if days:
        shown = days if len(days) <= 3 else (days[0], days[-1])
        parts.append(w("surveyed {days}", days=w.listed([w.date(day) for day in shown])))
    known = {"client": w("client"), "surveyor": w("surveyor"), "address": w("address")}
    parts += [
        f"{known.get(key, key.replace('_', ' '))}: {value}"
        for key, value in report.job.people.items()
        if value.strip() and key not in ("contact",)
    ]
    return " · ".join(parts)


def _verdict(n: int, unfit: Sequence[PointResult], left_out: Mapping[str, str], w: Words) -> str:
    bad = len(unfit) + len(left_out)
    if not bad:
        return w("Fit for use: every check passed.")
    if n == 1:
        return w("Not fit for use as it stands.")
    return w("Not fit for use as it stands: {bad} of {n} points.", bad=bad, n=n)


def answers(report: Report, w: Words) -> list[list[str]]:
    """For each point whether it is not fit for use, and its answer."""
    found = [
        [p.name, sentences.unfit_reasons(p, w), sentences.answer(p.name, p.access.planes, w)]
        for p in report.points
    ]
    return (
        found
        + [
            [name, w("{point} has no answer.", point=name), why.removeprefix(f"{name}: ")]
            for name, why in report.left_out.items()
        ]
        + [
            [name, "", w("{point} has not been swept yet.", point=name)]
            for name in report.not_swept
        ]
    )


def comparison(points: Sequence[PointResult], w: Words) -> str:
    """Which point has the most solar access, and by how much; points not fit are left out."""
    ranked = ranking(points)
    if len(ranked) < 2:
        return ""
    return sentences.compared(ranked[0].name, ranked[1].name, gap(ranked[0], ranked[1]), w)


def ranking(points: Sequence[PointResult]) -> list[PointResult]:
    """Points fit for use whose year is known, the greatest solar access first."""

    def year(point: PointResult) -> float:
        return point.access.planes[0].solar_access.annual

    known = [p for p in points if not sentences.unfit(p) and math.isfinite(year(p))]
    return sorted(known, key=year, reverse=True)


def gap(first: PointResult, second: PointResult) -> Difference:
    """Difference of the year's solar access on the first plane."""
    a, b = (p.access.planes[0].solar_access.year for p in (first, second))
    return difference((a.value, a.low, a.high), (b.value, b.low, b.high))


LETTERS_ON_COVER = 104
"""That fit side by side above the panels of the cover's picture."""


def _cover_picture(points: Sequence[PointResult], pictures: Pictures, w: Words) -> dict[str, str]:
    columns = min(len(points), 4 if len(points) > 6 else 3)
    rows = -(-len(points) // columns)
    longest = LETTERS_ON_COVER // columns
    ends = [
        w("not fit") if sentences.unfit(p) else w.percent(p.access.planes[0].solar_access.annual)
        for p in points
    ]
    names = shortened([p.name for p in points], longest - max(map(len, ends)) - 2)
    panels = [
        (f"{name}: {end}", point.access.planes[0])
        for name, end, point in zip(names, ends, points, strict=True)
    ]
    height = {1: 62.0, 2: 36.0}.get(rows, 25.0) * rows
    alt = w("Bars of solar access by month for each point; the figures stand on its page.")
    return pictures.add(drawn(cover_chart(panels, w, height, columns)), alt)


def _gain(report: Report, w: Words) -> str:
    fit = [p for p in report.points if not sentences.unfit(p)] or report.points
    gains = [(p, g) for p in fit if (g := report.beside[p.name].gain) is not None]
    return sentences.gain_sentence(gains, w)


def _whom_to_ask(people: Mapping[str, str], w: Words) -> str:
    surveyor, contact = people.get("surveyor", ""), people.get("contact", "")
    if not surveyor:
        return w("Ask whoever handed you this report.")
    if not contact:
        return w("Ask {surveyor}, who did the survey.", surveyor=surveyor)
    return w("Ask {surveyor}, who did the survey: {contact}.", surveyor=surveyor, contact=contact)


# A page a point


def point_page(report: Report, point: PointResult, pictures: Pictures, w: Words) -> Page:
    """Everything about one point."""
    beside, planes = report.beside[point.name], point.access.planes
    shown = photos_of(report.job, point.name)[:MOST]
    failed = [check for check in point.checks if not check.passed]
    return {
        "kind": "point",
        "name": point.name,
        "facts": _heights(report, point, w),
        "unfit": sentences.unfit_reasons(point, w),
        "answer": sentences.answer(point.name, planes, w),
        "notes": list(point.access.notes) if w.language == "en" else [],
        **{
            kind: pictures.add(beside.pictures[kind], w(alt, point=point.name))
            for kind, alt in texts.PICTURES.items()
        },
        "month_table": month_rows(planes, w),
        "blocks_title": w("What blocks the sun"),
        "blocks": blocks(point, w),
        "width_title": w("Where the uncertainty of the year comes from"),
        "width": width(planes, w),
        "photos": [_photo(photo_at(path), pictures, w) for path in shown],
        "checks": _checks_line(point.checks, failed, w),
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


def _heights(report: Report, point: PointResult, w: Words) -> str:
    known = report.job.point(point.name)
    parts = []
    if known.east_m is not None and known.north_m is not None:
        parts.append(
            w(
                "{east} m east, {north} m north, {up} m up from the job's origin",
                east=w.number(known.east_m, 1),
                north=w.number(known.north_m, 1),
                up=w.number(known.up_m or 0.0, 1),
            )
        )
    if known.sight_height_m is not None:
        parts.append(w("swept at {height} m", height=w.number(known.sight_height_m, 2)))
    if known.module_height_m is not None:
        parts.append(w("module at {height} m", height=w.number(known.module_height_m, 2)))
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


def month_rows(planes: Sequence[PlaneResult], w: Words) -> Page:
    """A column a month and one for the year, below the bars: rows of each plane, and the window."""
    rows: list[list[str]] = []
    lead = []
    for plane in planes:
        solar = plane.solar_access
        lead.append(len(rows))
        name = plane.plane.name if len(planes) > 1 else w("solar access")
        rows.append([name, *(w.number(v * 100, 1) for v in solar.value)])
        bounds = zip(solar.low * 100, solar.high * 100, strict=True)
        between = (DASH if math.isnan(b) else f"{w.number(a)}–{w.number(b)}" for a, b in bounds)
        rows.append([w("95 % interval"), *between])
        bounds = zip(solar.survey_low * 100, solar.survey_high * 100, strict=True)
        between = (DASH if math.isnan(b) else f"{w.number(a)}–{w.number(b)}" for a, b in bounds)
        rows.append([w("of the survey alone"), *between])
        loss = np.append(plane.loss_kwh_m2, plane.loss_kwh_m2.sum())
        if np.isfinite(loss).any():
            told = (w.number(v, 0 if k == YEAR else 1) for k, v in enumerate(loss))
            rows.append([w("loss [kWh/m²]"), *told])
    window = planes[0].window
    lead.append(len(rows))
    clear = (w.number(v * 100) for v in window_known(window))
    rows.append([w("{start}–{end} h clear", **sentences.window_hours(window, w)), *clear, ""])
    head = ["%", *(w.month(m, "abbreviated") for m in range(12)), w("year")]
    # The bars' colours, where there is more than one.
    colours = dict(zip(map(str, lead[:-1]), PLANES, strict=False)) if len(planes) > 1 else {}
    return {"head": head, "rows": rows, "lead": lead, "colours": colours}


MOST_BLOCKING = 8


def blocks(point: PointResult, w: Words) -> Page | None:
    """What blocks the sun: where it stands, how far, what it takes, and when in the window."""
    planes = point.access.planes
    distances = {o.name: o.distance_m for o in point.horizon.profile.obstructions}
    taken: dict[str, list[float]] = {}
    for k, plane in enumerate(planes):
        for loss in by_name(plane.by_obstruction):
            share = float(np.nan_to_num(loss.loss_fraction[YEAR]))
            taken.setdefault(loss.name, [0.0] * len(planes))[k] = share
    order = sorted((n for n, t in taken.items() if max(t) >= 0.0005), key=lambda n: -max(taken[n]))
    if not order:
        return None
    spans = _spans(planes[0], w)
    rows = []
    for name in order[:MOST_BLOCKING]:
        far = distances.get(name)
        distance = w("not known") if far is None else w.number(far)
        when = when_blocked(planes[0].window, name, w)
        losses = [w.number(v * 100, 1) for v in taken[name]]
        rows.append([name, spans.get(name, DASH), distance, *losses, when])
    if rest := order[MOST_BLOCKING:]:
        sums = [sum(taken[name][k] for name in rest) for k in range(len(planes))]
        more = w.count("{n} more", "{n} more", len(rest))
        rows.append([more, "", "", *(w.number(v * 100, 1) for v in sums), ""])
    year = [w("year blocked [%]")]
    if len(planes) > 1:
        year = [w("{plane} [%]", plane=p.plane.name) for p in planes]
    hours = w("{start}–{end} h blocked", **sentences.window_hours(planes[0].window, w))
    return {
        "head": [w("obstruction"), w("azimuth [°]"), w("distance [m]"), *year, hours],
        "right": [False, False, True, *(True for _ in planes), False],
        "rows": rows,
    }


MOST_CAUSES = 4


def width(planes: Sequence[PlaneResult], w: Words) -> Page | None:
    """Both intervals in words, what each cause adds, and what would make it smaller."""
    table = width_table(planes)
    if not table.rows:
        return None
    n = len(planes)
    names = [p.plane.name for p in planes] if n > 1 else [w("year")]
    head = [w("cause"), *(w("{plane} [points]", plane=name) for name in names)]
    rows = [
        [w(str(row[0])), *(w.number(float(v or 0.0) * 100, 1) for v in row[1:-1]), w(str(row[-1]))]
        for row in table.rows[:MOST_CAUSES]
    ]
    return {
        "head": [*head, w("what would make it smaller")],
        "right": [False, *(True for _ in planes), False],
        "rows": rows,
        "note": " ".join(sentences.intervals(p, w) for p in planes),
    }


def _spans(plane: PlaneResult, w: Words) -> dict[str, str]:
    """The azimuths that each name spans."""
    found: dict[str, list[str]] = {}
    for o in plane.by_obstruction:
        span = f"{o.from_azimuth_deg:.0f}–{o.to_azimuth_deg:.0f}"
        found.setdefault(o.name, []).append(span)
    return {
        name: ", ".join(spans) if len(spans) <= 2 else w.count("{n} parts", "{n} parts", len(spans))
        for name, spans in found.items()
    }


def when_blocked(window: WindowResult, name: str, w: Words) -> str:
    """Months in whose solar window an obstruction blocks the sun, and from when to when at most."""
    own = [b for b in window.blocked if b.obstruction == name]
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


def _checks_line(checks: Sequence[Check], failed: Sequence[Check], w: Words) -> str:
    if not failed:
        return w.count("The one check passed.", "All {n} checks passed.", len(checks))
    return w(
        "{failed} of {n} checks failed: {names}. The last pages say what was found.",
        failed=len(failed),
        n=len(checks),
        names=", ".join(dict.fromkeys(w(c.check) for c in failed)),
    )
