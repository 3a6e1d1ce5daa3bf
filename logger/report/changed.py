"""What changed at a point since an earlier survey: the document's page."""

from __future__ import annotations

import math
from collections.abc import Sequence

from logger.agreement import Estimate
from logger.agreement.growth import REST, SHORTEST_YEARS, Change
from logger.report.language import DASH, Words
from logger.report.pictures import Page
from logger.report.tables import grid
from logger.survey.growth import Changed


def changed_page(found: Sequence[Changed], w: Words) -> Page:
    """A table a point, and what it comes to."""
    return {"kind": "changed", "points": [_point(one, w) for one in found]}


def _point(one: Changed, w: Words) -> Page:
    name = w(
        "{point}, {then} to {now}", point=one.point, then=w.date(one.then), now=w.date(one.now)
    )
    table = grid(
        one.changes,
        [
            (w("obstruction"), lambda c: w("everything else") if c.name == REST else c.name),
            (w("then [°]"), lambda c: w.number(c.then_deg, 1)),
            (w("now [°]"), lambda c: w.number(c.now_deg, 1)),
            (w("difference [°]"), lambda c: _interval(c.difference_deg, w, 1)),
            (w("a year"), lambda c: _rate(c, w)),
            (w("what it means"), lambda c: _meaning(c, w)),
        ],
    )
    return {"name": name, **table, "answers": _answers(one, w)}


def _rate(change: Change, w: Words) -> str:
    rate = change.rate_m or change.rate_deg
    if not (rate and change.significant):
        return DASH
    return f"{_interval(rate, w, 2)} {'m' if change.rate_m else '°'}"


def _interval(found: Estimate, w: Words, decimals: int) -> str:
    if math.isnan(found.value):
        return DASH
    low, high = (w.number(end, decimals) for end in found.interval)
    named = {"value": w.number(found.value, decimals), "low": low, "high": high}
    return w("{value} ({low} to {high})", **named)


def _meaning(change: Change, w: Words) -> str:
    if change.significant is None:
        return w("not measured in both")
    if change.only_leaf:
        return w("in leaf against bare: no growth")
    if not change.significant:
        return w("no significant change")
    if change.rate_deg is None and change.years < SHORTEST_YEARS:
        return w("changed; too short a time for a rate")
    if change.difference_deg.value < 0:
        return w("lower: cut, fallen or traced otherwise")
    return w("grown") if change.rate_deg else w("higher: built, or traced otherwise")


def _answers(one: Changed, w: Words) -> list[str]:
    gap = one.access
    told = []
    if not math.isnan(gap.value):
        points = {name: w.number(100 * getattr(gap, name), 1) for name in ("low", "high")}
        told.append(
            w(
                "Solar access of the year differs by {points} percentage points (95 % interval "
                "{low} to {high}).",
                points=w.number(100 * gap.value, 1),
                **points,
            )
        )
    for fails in one.fails:
        latest = w.number(fails.latest) if fails.latest else w("never within 30")
        told.append(
            w(
                "At this growth {rule} on {plane} fails in {years} years (earliest {earliest}, "
                "latest {latest}).",
                rule=w(fails.rule),
                plane=fails.plane,
                years=w.number(fails.years),
                earliest=w.number(fails.earliest),
                latest=latest,
            )
        )
    return told
