"""What stands on each page of the document: data for the template, every text in its language."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np

from logger import __version__
from logger.access import PlaneResult
from logger.access.window import WindowResult
from logger.checks import Check
from logger.geometry import wrap360
from logger.report import sentences, texts
from logger.report.charts import PLANES, cover_chart, drawn
from logger.report.content import Report
from logger.report.language import DASH, Words
from logger.report.photos import MOST, Photo, photo_at, photos_of
from logger.report.result_tables import YEAR, by_name, window_known
from logger.report.tables import hour_text, shortened
from logger.survey.compare import Difference, difference
from logger.survey.pipeline import PointResult

Page = dict[str, Any]

ON_COVER = 12
"""Points on the cover; more go to a page behind it."""

NEAR = 0.1
"""Share of a limit within which a passed check is shown to the verifier."""


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
        "picture_title": w("Light left, month by month, in % of that under an open, level horizon"),
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


def _cover_picture(points: Sequence[PointResult], pictures: Pictures, w: Words) -> dict[str, str]:
    columns = min(len(points), 4 if len(points) > 6 else 3)
    rows = -(-len(points) // columns)
    names = shortened([p.name for p in points], round(68 / columns))
    panels = []
    for name, point in zip(names, points, strict=True):
        plane = point.access.planes[0]
        share = w.percent(plane.solar_access.annual)
        marked = w("{point} (not fit)", point=name) if sentences.unfit(point) else name
        panels.append((f"{marked}: {share}", plane))
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


def _spans(plane: PlaneResult, w: Words) -> dict[str, str]:
    """The azimuths that each name spans."""
    found: dict[str, list[str]] = {}
    for o in plane.by_obstruction:
        if o.from_azimuth_deg is not None and o.to_azimuth_deg is not None:
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


# For the installer


def installer(report: Report, w: Words) -> Page:
    """Heights, positions, planes, the hours in which each point is shaded, and what that means."""
    points = report.points
    return {
        "kind": "installer",
        "title": w("For the installer"),
        "planes": _planes(report, w),
        "places": _places(report, w),
        "shaded_title": w("When each point is shaded, in solar hours"),
        "shaded": _shaded(points, w),
        "shaded_note": w(
            "Within {start} to {end} h; a dash is a month without shade in these hours, a question "
            "mark one in which part of the horizon was not measured.",
            **sentences.window_hours(points[0].access.planes[0].window, w),
        ),
        "strings_title": w("What shade means for strings"),
        "strings": [w(text) for text in texts.STRINGS],
    }


LONGEST_NAME = 32
"""Letters of a point's name in a table; the whole name stands on its page."""

FEW = 4
"""Points that stand side by side, a row a month; more points are rows themselves."""


def _shaded(points: Sequence[PointResult], w: Words) -> Page:
    hours = [shaded_hours(p.access.planes[0].window) for p in points]
    names = shortened([p.name for p in points], LONGEST_NAME)
    if len(points) > FEW:
        head = [w("point"), *(w.month(m, "abbreviated") for m in range(12))]
        rows = [[name, *cells] for name, cells in zip(names, hours, strict=True)]
        return {"head": head, "rows": rows}
    rows = [[w.month(m), *(cells[m] for cells in hours)] for m in range(12)]
    return {"head": [w("month"), *names], "rows": rows}


LEAST_SUN_H = 0.5
"""Shorter stretches of sun between two of shade are told as shade. [h]"""


def shaded_hours(window: WindowResult) -> list[str]:
    """For each month the stretches of the solar window in which the sun is blocked."""
    unknown = sentences.unknown_months(window)
    cells = []
    for month in range(12):
        spans: list[list[float]] = []
        own = [b for b in window.blocked if b.month == month + 1]
        for start, end in sorted((b.from_solar_hour, b.to_solar_hour) for b in own):
            if spans and start <= spans[-1][1] + LEAST_SUN_H:
                spans[-1][1] = max(spans[-1][1], end)
            else:
                spans.append([start, end])
        told = [f"{hour_text(a)}–{hour_text(b)}" for a, b in spans]
        cells.append(", ".join([*told, *(["?"] if month in unknown else [])]) or DASH)
    return cells


def _planes(report: Report, w: Words) -> Page:
    found = {p.plane.name: p for point in report.points for p in point.access.planes}
    best = next(iter(found.values())).best_unshaded
    magnetic = report.points[0].declination.value_deg
    rows = [
        [
            name,
            w.number(p.plane.tilt_deg, 1),
            w.number(p.plane.azimuth_deg, 1),
            w.number(float(wrap360(p.plane.azimuth_deg - magnetic)), 1),
            DASH if p.plane.size_kwp is None else w.number(p.plane.size_kwp, 2),
            w.percent(p.orientation_factor),
        ]
        for name, p in found.items()
    ]
    note = w(
        "The best fixed plane without shade here has a tilt of {tilt}° and an azimuth of "
        "{azimuth}°; the orientation factor compares each plane with it.",
        tilt=w.number(best.tilt_deg),
        azimuth=w.number(best.azimuth_deg),
    )
    head = [
        w("plane"),
        w("tilt [°]"),
        w("azimuth [°]"),
        w("by compass [°]"),
        w("size [kWp]"),
        w("orientation factor"),
    ]
    return {"head": head, "rows": rows, "note": note}


def _places(report: Report, w: Words) -> Page:
    def metres(value: float | None, decimals: int = 2) -> str:
        return DASH if value is None else w.number(value, decimals)

    rows = []
    names = shortened([p.name for p in report.points], LONGEST_NAME)
    for p, name in zip(report.points, names, strict=True):
        known = report.job.point(p.name)
        place = [metres(v, 1) for v in (known.east_m, known.north_m, known.up_m)]
        heights = [metres(known.sight_height_m), metres(known.module_height_m)]
        rows.append([name, *place, *heights, ", ".join(x.plane.name for x in p.access.planes)])
    metres_of = (w("east [m]"), w("north [m]"), w("up [m]"), w("swept at [m]"), w("module at [m]"))
    head = [w("point"), *metres_of, w("planes")]
    note = w("Heights of sweep and module are above the same surface; a dash was not entered.")
    return {"head": head, "rows": rows, "note": note}


# For the verifier


def verifier(report: Report, w: Words) -> Page:
    """Method, data and versions, checks, hashes, the horizon in numbers, and how to repeat it."""
    return {
        "kind": "verifier",
        "title": w("For whoever checks this report"),
        "method_title": w("How the figures came about"),
        "method": [w(text) for text in (texts.swept(report.points), *texts.METHOD)],
        "limits_title": w("What they do not say"),
        "limits": [w(text) for text in texts.LIMITS],
        "data_title": w("Data and versions"),
        "data": _data(report, w),
        "steps_title": w("Corrections and changes, in order"),
        "steps": _steps(report),
        "checks_title": w("Checks"),
        "checks_count": _count(report, w),
        "checks": _checks(report, w),
        "rules_title": w("Rules"),
        "rules": _rules(report, w),
        "horizon_title": w("Horizon in degrees of elevation, every 5° of azimuth"),
        "horizons": [_horizon(p, w) for p in report.points],
        "files_title": w("Files"),
        "files": _files(report, w),
        "repeat_title": w("How to repeat it"),
        "repeat": w(texts.REPEAT),
        "command": report.command,
        "safety_title": w("Safety, codes and licences"),
        "safety": [[w(head), w(text)] for head, text in texts.CAUTIONS],
        "sign": [w("place and date"), w("name and signature")],
    }


def _data(report: Report, w: Words) -> list[list[str]]:
    import pvlib

    access = report.points[0].access
    settings = access.settings
    north = list(dict.fromkeys(sentences.true_north(p) for p in report.points))
    return [
        [w("program"), f"horizon-logger {__version__}, pvlib {pvlib.__version__}"],
        [w("sky"), access.sky],
        [w("year of the sun's positions"), str(settings.year)],
        [w("transposition"), settings.transposition],
        [w("random horizons, seed"), f"{settings.draws}, {settings.seed}"],
        [w("true north"), "; ".join(north)],
        [w("recipe, SHA-256"), report.recipe.sha256],
    ]


def _steps(report: Report) -> list[list[str]]:
    """What was done to each point's sweeps, in the program's own words; like points together."""
    found: dict[str, list[str]] = {}
    for point in report.points:
        found.setdefault("; ".join(point.horizon.profile.steps), []).append(point.name)
    return [[", ".join(names), steps] for steps, names in found.items()]


def _all_checks(report: Report, w: Words) -> list[tuple[str, Check]]:
    found = [(p.name, check) for p in report.points for check in p.checks]
    used = {c.file: c for p in report.points for one in p.chosen for c in one.used}
    found += [
        (w("{purpose} calibration", purpose=w(c.about.purpose)), check)
        for c in used.values()
        for check in c.checks
    ]
    return found


def is_near(check: Check) -> bool:
    """Whether a check came within a tenth of its limit."""
    if check.value is None or check.limit is None or check.limit == 0:
        return False
    return abs(check.value - check.limit) <= NEAR * abs(check.limit)


def _count(report: Report, w: Words) -> str:
    checks = [check for _, check in _all_checks(report, w)]
    passed = sum(check.passed and not is_near(check) for check in checks)
    return w(
        "{passed} of {n} checks passed with room to spare; shown are those that failed or came "
        "within a tenth of their limit. The file checks.csv has all of them.",
        passed=passed,
        n=len(checks),
    )


def _checks(report: Report, w: Words) -> Page:
    shown = [(of, c) for of, c in _all_checks(report, w) if not c.passed or is_near(c)]
    rows = [
        [
            of,
            w(c.check),
            w("passed") if c.passed else w("failed"),
            w.number(c.value, 2),
            w.number(c.limit, 2),
            c.unit,
            c.why,
        ]
        for of, c in sorted(shown, key=lambda pair: pair[1].passed)
    ]
    head = [w("of"), w("check"), "", w("found"), w("limit"), w("unit"), w("in words")]
    return {"head": head, "rows": rows}


def _rules(report: Report, w: Words) -> Page:
    rows = [
        [
            point.name,
            p.plane.name,
            w(sentences.RULES.get(v.rule, v.rule)),
            w.percent(v.limit),
            w.percent(v.value, 1),
            f"{w.number(v.low * 100, 1)}–{w.number(v.high * 100, 1)}",
            w(v.verdict),
        ]
        for point in report.points
        for p in point.access.planes
        for v in p.verdicts
    ]
    head = [
        w("point"),
        w("plane"),
        w("rule"),
        w("at least"),
        w("found"),
        w("95 % interval"),
        w("verdict"),
    ]
    source = report.recipe.rules.source
    note = w("Where the rules stand: {source}.", source=source) if source and rows else ""
    return {"head": head, "rows": rows, "note": note}


def _horizon(point: PointResult, w: Words) -> Page:
    """Elevation at every fifth degree, a row a quarter of the circle."""
    azimuth = np.arange(0.0, 360.0, 5.0)
    profile = point.horizon.profile
    known = np.asarray(profile.measured_at(azimuth), dtype=bool)
    values = np.where(known, profile.elevation_at(azimuth), np.nan).reshape(4, 18)
    head = ["", *(f"+{5 * k}" for k in range(18))]
    rows = [[f"{90 * q}°", *(w.number(v, 1) for v in row)] for q, row in enumerate(values)]
    return {"name": point.name, "head": head, "rows": rows}


def _files(report: Report, w: Words) -> Page:
    rows = [
        [p.name, s.recording.path.name, s.recording.sha256] for p in report.points for s in p.sweeps
    ]
    used = {c.file: c for p in report.points for one in p.chosen for c in one.used}
    rows += [
        [w("{purpose} calibration", purpose=w(c.about.purpose)), c.about.recording, c.about.sha256]
        for c in used.values()
    ]
    return {"head": [w("of"), w("file"), "SHA-256"], "rows": rows}
