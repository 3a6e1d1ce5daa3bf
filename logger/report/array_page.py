"""The page of the document that shows a whole array."""

from __future__ import annotations

import numpy as np

from logger.access import Interval
from logger.parallax import Range
from logger.report.array import array_figure
from logger.report.charts import drawn, house_style
from logger.report.content import Report, can_go
from logger.report.language import DASH, Words
from logger.report.pictures import Page, Pictures
from logger.report.sentences import capital, interval, place
from logger.survey.array import YEAR, ArrayResult

WORTH_TELLING = 0.005
"""Share of the year that an obstruction must cost the array to be told as what gains most."""


def answers(found: ArrayResult, w: Words) -> list[list[str]]:
    """Whether the array is not fit for use; what all of it and its worst and best place keep."""
    solar = found.whole.solar
    whole = Interval(*(float(end[0, YEAR]) for end in (solar.value, solar.low, solar.high)))
    worst, best = (_place(found, int(k(found.over_value)), w) for k in (np.argmin, np.argmax))
    failed = ", ".join(w(check.check) for check in found.checks if not check.passed)
    over = w(
        "Over its whole area {plane} keeps {share} of the year's light.",
        plane=found.plane.name,
        share=interval(whole, w),
    )
    ends = w("Its worst place keeps {worst}, its best {best}.", worst=worst, best=best)
    unfit = w("Not fit for use: failed {checks}.", checks=failed) if failed else ""
    return [[found.plane.name, unfit, f"{over} {ends}"]]


def _place(found: ArrayResult, k: int, w: Words) -> str:
    """What a place keeps, and where it is."""
    ends = (found.over_value[k], found.over_low[k], found.over_high[k])
    share = interval(Interval(*map(float, ends)), w)
    at = found.over_m[k]
    if found.outline is None:
        return w("{share}, {place} from the job's origin", share=share, place=place(at.tolist(), w))
    across, up = found.outline.places_of(at[None])[0].tolist()
    return w(
        "{share}, {across} m across and {up} m up the slope",
        share=share,
        across=w.number(across, 1),
        up=w.number(up, 1),
    )


def gain_sentence(report: Report, found: ArrayResult, w: Words) -> str:
    """What one change would gain most over the whole array, among what can be changed."""
    kinds = {o.name: o.kind for o in found.here.obstructions}
    gain = next((g for g in found.gains if can_go(report.job, g.name, kinds[g.name])), None)
    if gain is None or gain.gained < WORTH_TELLING:
        return w("Nothing that could be cut or moved takes more than half a point of the year.")
    return w(
        "Of what could be removed, taking away {name} would gain most: {points} points of the "
        "year over all of {plane}.",
        name=gain.name,
        points=w.number(100 * gain.gained, 1),
        plane=found.plane.name,
    )


def page(report: Report, found: ArrayResult, pictures: Pictures, w: Words) -> Page:
    """Map, plan, mean and worst with intervals, and what stands around."""
    with house_style():
        picture = drawn(array_figure(found, w, (174.0, 176.0)))
    failed = [check for check in found.checks if not check.passed]
    lines = [answers(found, w)[0][2], gain_sentence(report, found, w)]
    if found.outline is not None:
        size = np.ptp(found.outline.corners_m, axis=0).tolist()
        lines.append(
            w(
                "{plane} is {wide} m across and {high} m up the slope. Across and up the slope "
                "count from its lower left corner, as you look up the slope.",
                plane=capital(found.plane.name),
                wide=w.number(size[0], 1),
                high=w.number(size[1], 1),
            )
        )
    return {
        "kind": "array",
        "name": w("{plane}: the whole array", plane=found.plane.name),
        "unfit": " ".join(check.why for check in failed)
        if w.language == "en"
        else ", ".join(w(check.check) for check in failed),
        "lines": lines,
        "picture": pictures.add(
            picture, w("Contours of solar access over the array, and the place from above.")
        ),
        "blocks_title": w("What stands around"),
        "blocks": _obstructions(found, w),
        "note": w(
            "Worked out from the horizons of {n} points and their positions: what is seen from "
            "two places has a distance, to its nearest face. Tops are above the job's origin, from "
            "which all positions count. Arrows point towards what stands there and are not to "
            "scale. What stands around is taken as boxes, gables, crowns and poles, so that the "
            "map may differ from a point's own figure by a point or two.",
            n=len(found.here.points),
        ),
    }


def _obstructions(found: ArrayResult, w: Words) -> Page:
    gained = {gain.name: gain.gained for gain in found.gains}
    rows = []
    for o in found.here.obstructions:
        low = o.distance_m.low
        distance, top = w("far"), DASH
        if o.distance_m.value is not None and o.top_m.value is not None:
            distance = f"{w.number(o.distance_m.value, 1)} ({_span(o.distance_m, w)})"
            top = f"{w.number(o.top_m.value, 1)} ({_span(o.top_m, w)})"
        elif low is not None:
            distance = w("over {distance}", distance=w.number(low))
        gain = w.number(100 * gained[o.name], 1) if o.name in gained else DASH
        rows.append([o.name, distance, o.from_point, top, gain])
    return {
        "head": [w("obstruction"), w("distance [m]"), w("from"), w("top [m]"),
                 w("gain without it [points]")],
        "right": [False, True, False, True, True],
        "rows": rows,
    }  # fmt: skip


def _span(length: Range, w: Words) -> str:
    return f"{w.number(length.low, 1)}–{w.number(length.high, 1)}"
