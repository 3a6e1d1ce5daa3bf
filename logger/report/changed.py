"""What changed at a point since an earlier survey: the document's page."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any

from logger.agreement import Estimate
from logger.agreement.growth import REST, SHORTEST_YEARS, Change
from logger.report.language import DASH, Words
from logger.survey.growth import Changed


def changed_page(found: Sequence[Changed], w: Words) -> dict[str, Any]:
    """A table a point, and what it comes to."""
    return {
        "kind": "changed",
        "title": w("What changed"),
        "points": [
            {
                "name": w(
                    "{point}, {then} to {now}",
                    point=one.point,
                    then=w.date(one.then),
                    now=w.date(one.now),
                ),
                "head": [
                    w("obstruction"),
                    w("then [°]"),
                    w("now [°]"),
                    w("difference [°]"),
                    w("a year"),
                    w("what it means"),
                ],
                "rows": [_row(change, w) for change in one.changes],
                "answers": _answers(one, w),
            }
            for one in found
        ],
        "note": w(
            "Each elevation is the mean over the obstruction's sector, and in brackets stands its "
            "95 % interval: the errors of both surveys, taken as independent."
        ),
    }


def _row(change: Change, w: Words) -> list[str]:
    name = w("everything else") if change.name == REST else change.name
    rate = change.rate_m or change.rate_deg
    unit, decimals = ("m", 2) if change.rate_m else ("°", 2)
    return [
        name,
        w.number(change.then_deg, 1),
        w.number(change.now_deg, 1),
        _interval(change.difference_deg, w, 1),
        f"{_interval(rate, w, decimals)} {unit}" if rate and change.significant else DASH,
        _meaning(change, w),
    ]


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
