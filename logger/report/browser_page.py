"""The report as one file for a browser: it opens offline, and a finger asks the sun's way."""

from __future__ import annotations

import html
import json
import math
from importlib import resources
from typing import Any

import numpy as np

from logger.access import carried
from logger.access.result import YEAR
from logger.geometry import in_sector
from logger.report import sentences, texts
from logger.report.content import Report
from logger.report.language import Words
from logger.safety import LONG_NOTICE
from logger.site import Site
from logger.sun import sun_track
from logger.sun_paths import utc_of_solar_hour
from logger.survey.result import PointResult

_STEP_H = 0.5


def browser_page(report: Report) -> str:
    """One HTML file without a request to anywhere; everything in it is the report's own."""
    w = Words("en")
    body = [f"<h1>{_text(report.job.name)}</h1>", *(_point(p, w) for p in report.points)]
    left = [f"<li>{_text(name)}: {_text(why)}</li>" for name, why in report.left_out.items()]
    if left:
        body.append(f"<ul>{''.join(left)}</ul>")
    body.append("<h2>The sky</h2>")
    body.append(_paragraph(sentences.sky_sentence(report.points[0].access, w)))
    body.append("<h2>Limits</h2>")
    body += [_paragraph(limit) for limit in texts.LIMITS]
    body.append("<h2>Safety</h2>")
    body += [_paragraph(f"{heading}. {words}") for heading, words in LONG_NOTICE]
    data = {
        "sun": _sun(report.points[0].site, report.recipe.settings.year),
        "points": [_horizon(point) for point in report.points],
    }
    # Inside a script element only "<" could end it.
    told = json.dumps(data, separators=(",", ":"), allow_nan=False).replace("<", "\\u003c")
    template = resources.files(__package__).joinpath("browser_page.html").read_text("utf-8")
    for name, value in (
        ("TITLE", _text(report.job.name)),
        ("BODY", "\n".join(body)),
        ("DATA", told),
    ):
        template = template.replace(f"[[{name}]]", value, 1)
    return template


def _text(words: str) -> str:
    # The template's own places are not for what a job calls itself.
    return html.escape(words).replace("[[", "&#91;[")


def _paragraph(words: str) -> str:
    return f"<p>{_text(words)}</p>"


def _point(point: PointResult, w: Words) -> str:
    """The answer, the picture to ask, and the months of each plane with their intervals."""
    planes = point.access.planes
    parts = [f"<section><h2>{_text(point.name)}</h2>"]
    parts.append(_paragraph(sentences.answer(point.name, planes, w)))
    if sentences.unfit(point):
        parts.append(f"<p><strong>{_text(sentences.unfit_reasons(point, w))}</strong></p>")
    parts.append('<div class="sky"></div>')
    heads = "".join(f'<th scope="col">{_text(plane.plane.name)}</th>' for plane in planes)
    rows = []
    for row in range(YEAR + 1):
        name = w.month(row) if row < YEAR else "year"
        cells = "".join(f"<td>{_text(_share(plane.solar_access, row, w))}</td>" for plane in planes)
        rows.append(f'<tr><th scope="row">{_text(name)}</th>{cells}</tr>')
    caption = "solar access (95 % interval)"
    parts.append(f"<table><caption>{caption}</caption><thead><tr><td></td>{heads}</tr></thead>")
    parts.append(f"<tbody>{''.join(rows)}</tbody></table>")
    parts += [_paragraph(words) for plane in planes if (words := sentences.intervals(plane, w))]
    return "".join([*parts, "</section>"])


def _share(found: Any, row: int, w: Words) -> str:
    value, low, high = (float(one[row]) for one in (found.value, found.low, found.high))
    if math.isnan(high):
        return "–"
    ends = f"{w.number(100 * low)} – {w.number(100 * high)} %"
    return ends if math.isnan(value) else f"{w.number(100 * value)} % ({ends})"


def _sun(site: Site, year: int) -> dict[str, Any]:
    """Where the sun stands every half hour of solar time of every day; null below level."""
    first, next_first = (np.datetime64(f"{y}-01-01") for y in (year, year + 1))
    days = np.arange(first, next_first)
    hours = np.arange(0.0, 24.0, _STEP_H)
    every_day, every_hour = np.repeat(days, hours.size), np.tile(hours, days.size)
    track = sun_track(utc_of_solar_hour(every_day, every_hour, site.longitude_deg), site)
    up = track.elevation_deg > 0

    def column(values: Any) -> list[float | None]:
        return [round(float(v), 1) if u else None for v, u in zip(values, up, strict=True)]

    return {
        "year": year,
        "step": _STEP_H,
        "middle": site.equatorward_azimuth_deg,
        "azimuth": column(track.azimuth_deg),
        "elevation": column(track.elevation_deg),
    }


def _horizon(point: PointResult) -> dict[str, Any]:
    """As the module sees it, degree by degree: how high, null where not measured, what stands."""
    profile, middle = carried(point.horizon.profile), np.arange(360.0)
    height, known = profile.elevation_at(middle), profile.measured_at(middle)
    names = [""] * 360
    for one in profile.obstructions:
        for i in np.flatnonzero(in_sector(middle, one.from_azimuth_deg, one.to_azimuth_deg)):
            names[i] = one.name
    heights = [round(float(h), 1) if k else None for h, k in zip(height, known, strict=True)]
    return {"name": point.name, "height": heights, "names": names}
