"""The cover, for the client: the answers, the sky they rest on, and what one change would gain."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence

from logger.access import FAIL, PASS, TOO_CLOSE
from logger.access.notes import unnamed_share
from logger.report import array, sentences, texts
from logger.report.charts import cover_chart, drawn
from logger.report.comparison import compared
from logger.report.content import Report
from logger.report.language import N_, Words
from logger.report.pictures import Page, Pictures
from logger.report.result_tables import checks_of, planes_of
from logger.report.sentences import RULES, capital
from logger.report.tables import shortened
from logger.survey.compare import best_of
from logger.survey.result import PointResult

ON_COVER = 12
"""Points on the cover; more go to a page behind it."""


def cover(report: Report, pictures: Pictures, w: Words) -> Page:
    """The answers, the sky they rest on, verdicts, and what one change would gain most."""
    points, people = report.points, report.job.people
    shown = dict.fromkeys(p.access.planes[0].plane.name for p in points)
    plane = next(iter(shown)) if len(shown) == 1 else w("each point's first plane")
    unfit = [p for p in points if sentences.unfit(p)]
    first, apart = points[0], comparison(points, w)
    arrays = [row for found in report.arrays for row in array.answers(found, w)]
    return {
        "kind": "cover",
        "facts": facts(report, w),
        "fit": not (unfit or report.left_out or any(row[1] for row in arrays)),
        "verdict": _verdict(report, unfit, w),
        "arrays": arrays,
        "answers": answers(report, w)[:ON_COVER],
        "more": answers(report, w)[ON_COVER:],
        "clock": [
            w(
                "In brackets and as black lines stand 95 % intervals. A percentage point is one "
                "hundredth of the light under an open, level horizon."
            ),
            sentences.clock_sentence(first.access, report.recipe.timezone, w),
        ],
        "picture": _cover_picture(points[:ON_COVER], pictures, w),
        "picture_title": w(
            "Solar access on {plane} month by month: light in % of that under an open, level "
            "horizon",
            plane=plane,
        ),
        "lines": [
            [w("Sky"), _sky(report, w)],
            *([[w("Compared on {plane}", plane=plane), apart]] if apart else []),
            *(
                [w("Rules") if k == 0 else "", line]
                for k, line in enumerate(rule_sentences(points, w) or [w(NO_RULE)])
            ),
            [w("What could be changed"), _gain(report, w)],
            [w("Light and power"), w(texts.LIGHT_AND_POWER)],
            [w("Not looked at"), w(texts.NOT_LOOKED_AT)],
            [w("Questions"), _whom_to_ask(people, w)],
            [w("Safety"), w(texts.SAFETY_LINE)],
        ],
    }


def _sky(report: Report, w: Words) -> str:
    """The sky that the shares rest on, without the name of its file."""
    access, weather = report.points[0].access, report.recipe.weather
    if weather is None or not access.sky.is_known:
        return sentences.sky_sentence(access, w)
    source = re.sub(f",? {re.escape(weather.path.name)}", "", access.sky.source)
    return w("The shares rest on {sky}.", sky=w(source))


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
    known = {
        "client": w("client"),
        "surveyor": w("surveyor"),
        "address": w("address"),
        "note": w("note"),
    }
    parts += [
        f"{known.get(key, key.replace('_', ' '))}: {value}"
        for key, value in report.job.people.items()
        if value.strip() and key not in ("contact",)
    ]
    return " · ".join(parts)


def _verdict(report: Report, unfit: Sequence[PointResult], w: Words) -> str:
    bad, n = len(unfit) + len(report.left_out), len(report.points) + len(report.left_out)
    if not bad:
        checks = checks_of(report.points)
        return w("The survey is sound: all {n} checks of its measurements passed.", n=len(checks))
    if n == 1:
        return w("The survey is not fit for use as it stands.")
    return w("The survey is not fit for use as it stands: {bad} of {n} points.", bad=bad, n=n)


def answers(report: Report, w: Words) -> list[list[str]]:
    """For each point whether it is not fit for use, and its answer."""
    found = [
        [p.name, sentences.unfit_reasons(p.checks, w), sentences.answer(p.name, p.access.planes, w)]
        for p in report.points
    ]
    found += [
        [name, w("{point} has no answer.", point=name), why.removeprefix(f"{name}: ")]
        for name, why in report.left_out.items()
    ]
    waiting = (
        (name, w("{point} has not been swept yet.", point=name)) for name in report.not_swept
    )
    return found + [[name, "", told] for name, told in waiting]


def comparison(points: Sequence[PointResult], w: Words) -> str:
    """Which point has the most solar access, and by how much; points not fit are left out."""
    best = best_of(
        (p.name, p.access.planes[0].solar_access.year.ends)
        for p in points
        if not sentences.unfit(p)
    )
    return compared(best, w) if best else ""


LETTERS_ON_COVER = 84
"""That fit side by side above the panels of the cover's picture."""


def _cover_picture(points: Sequence[PointResult], pictures: Pictures, w: Words) -> dict[str, str]:
    columns = min(len(points), 4 if len(points) > 6 else 3)
    rows = -(-len(points) // columns)
    longest = LETTERS_ON_COVER // columns
    ends = [
        "" if sentences.unfit(p) else f": {w.percent(p.access.planes[0].solar_access.annual)}"
        for p in points
    ]
    names = shortened([p.name for p in points], longest - max(map(len, ends)))
    panels = [
        (f"{name}{end}", "" if end else w("not fit"), point.access.planes[0])
        for name, end, point in zip(names, ends, points, strict=True)
    ]
    height = {1: 62.0, 2: 36.0}.get(rows, 22.0) * rows
    alt = w("Bars of solar access by month for each point; the figures stand on its page.")
    return pictures.add(drawn(cover_chart(panels, w, height, columns)), alt)


def _gain(report: Report, w: Words) -> str:
    if report.arrays:
        return " ".join(array.gain(found, w) for found in report.arrays)
    fit = [p for p in report.points if not sentences.unfit(p)]
    if not fit:
        return w("Not told, because no point is fit for use.")
    gains = [
        (one, w("{plane} at {point}", plane=one.plane, point=point.name))
        for point in fit
        if (one := report.beside[point.name].gain) is not None
    ]
    return sentences.gain(gains, w, max(unnamed_share(p.access.planes) for p in fit))


def _whom_to_ask(people: Mapping[str, str], w: Words) -> str:
    surveyor, contact = people.get("surveyor", ""), people.get("contact", "")
    if not surveyor:
        return w("Ask whoever handed you this report.")
    if not contact:
        return w("Ask {surveyor}, who did the survey.", surveyor=surveyor)
    return w("Ask {surveyor}, who did the survey: {contact}.", surveyor=surveyor, contact=contact)


NO_RULE = N_("No rule of a programme or permit was given to hold these shares against.")
VERDICTS = {
    PASS: N_("{rule}, at least {limit}: met ({places})."),
    FAIL: N_("{rule}, at least {limit}: not met ({places})."),
    TOO_CLOSE: N_("{rule}, at least {limit}: too close to call ({places})."),
}


def rule_sentences(points: Sequence[PointResult], w: Words) -> list[str]:
    """For each rule asked for the planes that meet it, that do not, and that cannot be told."""
    found: dict[tuple[str, float, str], list[tuple[str, str]]] = {}
    for point, p in planes_of(points):
        for v in p.verdicts:
            key = (v.rule, v.limit, v.verdict)
            found.setdefault(key, []).append((point.name, p.plane.name))
    order = [FAIL, TOO_CLOSE, PASS]
    told = sorted(found.items(), key=lambda item: (item[0][0], order.index(item[0][2])))
    return [
        w(
            VERDICTS[verdict],
            rule=capital(w(RULES.get(rule, rule))),
            limit=w.percent(limit),
            places=_places(places, w),
        )
        for (rule, limit, verdict), places in told
    ]


def _places(places: Sequence[tuple[str, str]], w: Words) -> str:
    """Planes by point: all planes of a point that share a verdict stand together."""
    by_point: dict[str, list[str]] = {}
    for point, plane in places:
        by_point.setdefault(point, []).append(plane)
    return "; ".join(
        w("{point}: {planes}", point=point, planes=", ".join(planes))
        for point, planes in by_point.items()
    )
