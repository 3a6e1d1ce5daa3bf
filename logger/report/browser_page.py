"""The report as one file for a browser: it opens offline, and a finger asks the sun's way."""

from __future__ import annotations

import base64
import html
import json
from collections.abc import Sequence
from importlib import resources
from typing import Any

import numpy as np

from logger.access import Bounded, Interval, carried
from logger.access.result import YEAR
from logger.geometry import in_sector
from logger.report import array, sentences, texts
from logger.report.array_chart import array_figure
from logger.report.charts import drawn
from logger.report.content import Report
from logger.report.language import Words
from logger.report.pictures import Pictures
from logger.report.tables import one_line
from logger.site import Site
from logger.sun import sun_track
from logger.sun_paths import utc_of_solar_hour
from logger.survey.array import ArrayResult
from logger.survey.result import PointResult

_STEP_H = 0.5
PICTURE_MM = 120.0
"""Width of a picture whose letters can still be read on a phone. [mm]"""
COMPASS = ("N", "NE", "E", "SE", "S", "SW", "W", "NW")


def browser_page(report: Report, language: str = "en") -> str:
    """One HTML file without a request to anywhere; everything in it is the report's own."""
    w = Words(language)
    body = [f"<h1>{_text(report.job.name)}</h1>"]
    body += [_paragraph(w.remark)] if w.remark else []
    body += [_array(report, found, w) for found in report.arrays]
    body += [_point(p, w) for p in report.points]
    body += [_paragraph(f"{name}: {why}") for name, why in report.left_out.items()]
    for heading, told in (
        (w("Sky"), [sentences.sky_sentence(report.points[0].access, w)]),
        (w("Limits"), [w(limit) for limit in texts.LIMITS]),
        (
            w("Safety, codes and licences"),
            [f"{w(head)}. {w(words)}" for head, words in texts.CAUTIONS],
        ),
    ):
        body.append(f"<h2>{_text(heading)}</h2>")
        body += map(_paragraph, told)
    data = {
        "sun": _sun(report.points[0].site, report.recipe.settings.year),
        "points": [_horizon(point) for point in report.points],
        "words": _script_words(w),
    }
    # Inside a script element only "<" could end it.
    script = json.dumps(data, separators=(",", ":"), allow_nan=False).replace("<", "\\u003c")
    template = resources.files(__package__).joinpath("browser_page.html").read_text("utf-8")
    for name, value in (
        ("LANGUAGE", w.language),
        ("TITLE", _text(report.job.name)),
        ("BODY", "\n".join(body)),
        ("DATA", script),
    ):
        template = template.replace(f"[[{name}]]", value, 1)
    return template


def _script_words(w: Words) -> dict[str, Any]:
    """What the script says; it fills in the fields."""
    return {
        "date": w("date"),
        "hour": w("hour, solar time"),
        "picture": w("The sun's path over the horizon at {point}"),
        "at": w("{date}, {hour} solar time: {told}"),
        "down": w("the sun is below the level"),
        "unknown": w(
            "the sun at {azimuth}°, {elevation}° high; the horizon was not measured there"
        ),
        "behind": w(
            "the sun at {azimuth}°, {elevation}° high, behind {name}, {height}° high there",
        ),
        "clear": w(
            "the sun at {azimuth}°, {elevation}° high, in sight above {name}, {height}° high there",
        ),
        "nameless": w("the horizon, without a name"),
        "compass": [w(name) for name in COMPASS],
    }


def _text(words: str) -> str:
    # The template's own places are not for what a job calls itself.
    return html.escape(one_line(words)).replace("[[", "&#91;[")


def _paragraph(words: str) -> str:
    return f"<p>{_text(words)}</p>"


def _point(point: PointResult, w: Words) -> str:
    """The answer, the picture to ask, and the months of each plane with their intervals."""
    planes = point.access.planes
    parts = [f"<section><h2>{_text(point.name)}</h2>"]
    parts.append(_paragraph(sentences.answer(point.name, planes, w)))
    if sentences.unfit(point):
        parts.append(f"<p><strong>{_text(sentences.unfit_reasons(point.checks, w))}</strong></p>")
    parts.append('<div class="sky"></div>')
    months = [*(w.month(month) for month in range(YEAR)), w("year")]
    rows = [
        [name, *(_share(plane.solar_access, row, w) for plane in planes)]
        for row, name in enumerate(months)
    ]
    caption = f"{w('solar access')} ({w('95 % interval')})"
    parts.append(_table(caption, ["", *(plane.plane.name for plane in planes)], rows))
    parts += [_paragraph(words) for plane in planes if (words := sentences.intervals(plane, w))]
    return "".join([*parts, "</section>"])


def _array(report: Report, found: ArrayResult, w: Words) -> str:
    """The document's page of an array: map and plan, mean and worst, what stands around."""
    page = array.page(found, Pictures(), w)
    svg = drawn(array_figure(found, w, (PICTURE_MM, 1.3 * PICTURE_MM)))
    parts = [f"<section><h2>{_text(page['name'])}</h2>"]
    if page["unfit"]:
        parts.append(f"<p><strong>{_text(page['unfit'])}</strong></p>")
    parts += map(_paragraph, page["lines"])
    source = f"data:image/svg+xml;base64,{base64.b64encode(svg).decode()}"
    parts.append(f'<img src="{source}" alt="{_text(page["picture"]["alt"])}">')
    blocks = page["blocks"]
    parts.append(_table(page["blocks_title"], blocks["head"], blocks["rows"]))
    return "".join([*parts, _paragraph(page["note"]), "</section>"])


def _table(caption: str, head: Sequence[str], rows: Sequence[Sequence[str]]) -> str:
    """A table that scrolls by itself where it is wider than the screen."""
    first, *others = map(_text, head)
    heads = f"<th scope=col>{first}</th>" if first else "<td></td>"
    heads += "".join(f"<th scope=col>{name}</th>" for name in others)
    lines = "".join(
        f"<tr><th scope=row>{_text(name)}</th>{''.join(f'<td>{_text(c)}</td>' for c in cells)}</tr>"
        for name, *cells in rows
    )
    return (
        f'<div class="wide" role="group" tabindex="0" aria-label="{_text(caption)}"><table>'
        f"<caption>{_text(caption)}</caption><thead><tr>{heads}</tr></thead>"
        f"<tbody>{lines}</tbody></table></div>"
    )


def _share(found: Bounded, row: int, w: Words) -> str:
    ends = (float(one[row]) for one in (found.value, found.low, found.high))
    return sentences.interval(Interval(*ends), w)


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
