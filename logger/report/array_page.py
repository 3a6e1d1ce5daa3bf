"""The page of the document that shows a whole array."""

from __future__ import annotations

import numpy as np

from logger.access import Interval
from logger.report.array import array_figure
from logger.report.charts import drawn, house_style
from logger.report.content import Report, can_go
from logger.report.language import DASH, Words
from logger.report.pictures import Page, Pictures
from logger.report.sentences import interval, place
from logger.survey.array import YEAR, ArrayResult

WORTH_TELLING = 0.001
"""Share of the year that an obstruction must cost the array to be told as what gains most."""


def answers(found: ArrayResult, w: Words) -> list[str]:
    """What the whole array keeps, and what its worst place does."""
    solar, worst = found.whole.solar, int(np.argmin(found.over_value))
    whole, least = (
        interval(Interval(*(float(end) for end in ends)), w)
        for ends in (
            (solar.value[0, YEAR], solar.low[0, YEAR], solar.high[0, YEAR]),
            (found.over_value[worst], found.over_low[worst], found.over_high[worst]),
        )
    )
    return [
        w(
            "Over its whole area {plane} keeps {share} of the year's light.",
            plane=found.plane.name,
            share=whole,
        ),
        w(
            "Its worst place keeps {share} and lies {place} from the job's origin.",
            share=least,
            place=place(found.over_m[worst].tolist(), w),
        ),
    ]


def page(report: Report, found: ArrayResult, pictures: Pictures, w: Words) -> Page:
    """Map, plan, mean and worst with intervals, and what stands around."""
    with house_style():
        picture = drawn(array_figure(found, w, (174.0, 176.0)))
    failed = [check for check in found.checks if not check.passed]
    lines = answers(found, w)
    kinds = {o.name: o.kind for o in found.here.obstructions}
    gain = next((g for g in found.gains if can_go(report.job, g.name, kinds[g.name])), None)
    if gain is not None and gain.gained >= WORTH_TELLING:
        lines.append(
            w(
                "Taking away {name} would gain most: {points} points over the whole array.",
                name=gain.name,
                points=w.number(100 * gain.gained, 1),
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
            "two places has a distance. Distances from the point named, to the nearest face; tops "
            "above the job's origin.",
            n=len(found.here.points),
        ),
    }


def _obstructions(found: ArrayResult, w: Words) -> Page:
    gained = {gain.name: gain.gained for gain in found.gains}
    rows = []
    for o in found.here.obstructions:
        low, high = o.distance_m.low, o.distance_m.high
        distance, top = w("far"), DASH
        if o.distance_m.value is not None and o.top_m.value is not None:
            between = f"{w.number(low or 0.0, 1)}–{w.number(high or 0.0, 1)}"
            distance = f"{w.number(o.distance_m.value, 1)} ({between})"
            top = w.number(o.top_m.value, 1)
        elif low is not None:
            distance = w("over {distance}", distance=w.number(low))
        gain = w.number(100 * gained[o.name], 1) if o.name in gained else DASH
        rows.append([o.name, o.from_point, distance, top, gain])
    return {
        "head": [w("obstruction"), w("seen from"), w("distance [m]"), w("top [m]"),
                 w("gain without it [points]")],
        "right": [False, False, True, True, True],
        "rows": rows,
    }  # fmt: skip
