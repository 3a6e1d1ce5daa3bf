"""The cover, for the client: the answers, the sky they rest on, and what one change would gain."""

from __future__ import annotations

import math
import re
from collections.abc import Mapping, Sequence

import numpy as np

from logger.access import FAIL, PASS, TOO_CLOSE
from logger.report import array_page, sentences, texts
from logger.report.charts import cover_chart, drawn
from logger.report.content import Gain, Report
from logger.report.language import N_, Words
from logger.report.pictures import Page, Pictures
from logger.report.result_tables import checks_of, planes_of
from logger.report.sentences import RULES, capital
from logger.report.tables import shortened
from logger.survey.compare import Difference, difference
from logger.survey.result import PointResult

ON_COVER = 12
"""Points on the cover; more go to a page behind it."""


def cover(report: Report, pictures: Pictures, w: Words) -> Page:
    """The answers, the sky they rest on, verdicts, and what one change would gain most."""
    points, people = report.points, report.job.people
    shown = dict.fromkeys(p.access.planes[0].plane.name for p in points)
    plane = next(iter(shown)) if len(shown) == 1 else w("each point's first plane")
    unfit = [p for p in points if sentences.unfit(p)]
    first, compared = points[0], comparison(points, w)
    arrays = [row for found in report.arrays for row in array_page.answers(found, w)]
    return {
        "kind": "cover",
        "over": w("Horizon survey and solar access"),
        "title": report.job.name,
        "facts": facts(report, w),
        "fit": not (unfit or report.left_out or any(row[1] for row in arrays)),
        "verdict": _verdict(report, unfit, w),
        "arrays": arrays,
        "answers": answers(report, w)[:ON_COVER],
        "more": answers(report, w)[ON_COVER:],
        "more_title": w("Further points"),
        "clock": [
            w(
                "In brackets and as black lines stand 95 % intervals. A point is one hundredth of "
                "the light under an open, level horizon."
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
            *([[w("Compared on {plane}", plane=plane), compared]] if compared else []),
            *(
                [w("Rules") if k == 0 else "", line]
                for k, line in enumerate(rule_sentences(points, w) or [w(NO_RULE)])
            ),
            [w("What could be changed"), _gain(report, w)],
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
    best = ranking(points)[:2]
    if len(best) < 2:
        return ""
    return sentences.compared(best[0].name, best[1].name, gap(*best), w)


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


LETTERS_ON_COVER = 84
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
    if report.arrays:
        return " ".join(array_page.gain_sentence(report, found, w) for found in report.arrays)
    fit = [p for p in report.points if not sentences.unfit(p)]
    if not fit:
        return w("Not told, because no point is fit for use.")
    gains = [(p, g) for p in fit if (g := report.beside[p.name].gain) is not None]
    return gain_sentence(gains, w)


def _whom_to_ask(people: Mapping[str, str], w: Words) -> str:
    surveyor, contact = people.get("surveyor", ""), people.get("contact", "")
    if not surveyor:
        return w("Ask whoever handed you this report.")
    if not contact:
        return w("Ask {surveyor}, who did the survey.", surveyor=surveyor)
    return w("Ask {surveyor}, who did the survey: {contact}.", surveyor=surveyor, contact=contact)


NO_RULE = N_("No rule of a programme or permit was given to hold these shares against.")
MONTHLY = N_("monthly means of daily global horizontal irradiation")
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


def gain_sentence(gains: Sequence[tuple[PointResult, Gain]], w: Words) -> str:
    """What one change would gain most, of all points."""
    if not gains:
        return w("Nothing that could be cut or moved takes more than half a point of the year.")
    point, gain = max(gains, key=lambda pair: pair[1].most)
    changes = [
        after.annual - before.annual for before, after in zip(gain.before, gain.after, strict=True)
    ]
    k = int(np.argmax(changes))
    return w(
        "Of what could be removed, taking away {obstruction} would gain most: {gain} points of the "
        "year on {plane} at {point}, from {before} to {after} ({low} to {high}).",
        obstruction=gain.without,
        gain=w.number(changes[k] * 100, 1),
        plane=point.access.planes[k].plane.name,
        point=point.name,
        before=w.number(gain.before[k].annual * 100, 1),
        after=w.percent(gain.after[k].annual, 1),
        low=w.number(gain.after[k].year.low * 100, 1),
        high=w.percent(gain.after[k].year.high, 1),
    )
