"""A whole array in words and tables: for the terminal, and for the document's page of it."""

from __future__ import annotations

from operator import itemgetter
from typing import TypeAlias

import numpy as np

from logger.access.result import YEAR
from logger.parallax import Placed, Range
from logger.report import sentences
from logger.report.array_chart import array_figure
from logger.report.charts import drawn, house_style
from logger.report.language import DASH, N_, Words
from logger.report.pictures import Page, Pictures
from logger.report.sentences import capital, interval, place
from logger.report.survey_csv import csv_text
from logger.report.tables import MONTHS, Cell, Column, Table, as_text, grid, in_words
from logger.survey.array import ArrayResult

SHADES = "0123456789"
"""Of the map in characters: each is a tenth of the way from the least to the most."""

WIDEST_MAP = 60

MOST_PLACES = 12
"""Places over an outline that the terminal tells one by one; the CSV has them all."""


THIRDS = (
    (N_("at the lower left"), N_("low in the middle"), N_("at the lower right")),
    (N_("at the left"), N_("in the middle"), N_("at the right")),
    (N_("at the upper left"), N_("high in the middle"), N_("at the upper right")),
)
"""Of an outline as one looks up the slope: its lower third, the middle one and the upper one."""


def ends(found: ArrayResult, w: Words) -> str:
    """What the worst and the best place keep, and where they are."""
    worst, best = (_place(found, int(k(found.over_value)), w) for k in (np.argmin, np.argmax))
    if found.outline is None:
        return w("The worst place keeps {worst}, the best {best}.", worst=worst, best=best)
    return w(
        "As you look up the slope, the worst place is {worst}, the best is {best}.",
        worst=worst,
        best=best,
    )


def answers(found: ArrayResult, w: Words) -> list[list[str]]:
    """Whether the array is not fit for use; what all of it and its worst and best place keep."""
    return [[found.plane.name, sentences.unfit_reasons(found.checks, w), _answer(found, w)]]


def _answer(found: ArrayResult, w: Words) -> str:
    named = {"share": interval(found.whole.solar.year, w), "plane": found.plane.name}
    over = (
        w("Over the places asked for {plane} keeps {share} of the year's light.", **named)
        if found.outline is None
        else w("Over its whole area {plane} keeps {share} of the year's light.", **named)
    )
    return f"{over} {ends(found, w)}"


def _place(found: ArrayResult, k: int, w: Words) -> str:
    """What a place keeps, and where it is."""
    share = interval(found.over[k].year, w)
    at = found.over_m[k]
    if found.outline is None:
        return w("{share}, {place} from the job's origin", share=share, place=place(at.tolist(), w))
    across, up = found.outline.places_of(at[None])[0].tolist()
    low, size = found.outline.corners_m.min(axis=0), np.ptp(found.outline.corners_m, axis=0)
    column, row = np.clip((np.array([across, up]) - low) / size * 3, 0, 2).astype(int).tolist()
    return w(
        "{where} ({across} m across and {up} m up) with {share}",
        where=w(THIRDS[row][column]),
        share=share,
        across=w.number(across, 1),
        up=w.number(up, 1),
    )


def gain(found: ArrayResult, w: Words) -> str:
    """What one change would gain most over the whole array, among what can be changed."""
    over = w("all of {plane}", plane=found.plane.name)
    return sentences.gain([(one, over) for one in found.gains if one.removable], w)


def lines(found: ArrayResult, w: Words) -> list[str]:
    """What a reader is told of an array, a paragraph each."""
    return [_answer(found, w), gain(found, w), *_size(found, w)]


def _size(found: ArrayResult, w: Words) -> list[str]:
    """How large the outline is, where its figures count from, and that nobody measured it."""
    first = found.here.points[0]
    origin = sentences.origin(first.name, first.at_m.tolist(), w)
    if found.outline is None:
        return [origin]
    corners = found.outline.corners_m
    size = np.ptp(corners, axis=0).tolist()
    is_lower_left = not (corners.min(axis=0) < -0.05).any()
    told = w(
        "{plane} is {wide} m across and {high} m up the slope: its outline is as the job tells it, "
        "not measured by the sweeps. Across and up the slope count from its {corner} as you look "
        "up the slope, which stands {place} from the job's origin.",
        plane=capital(found.plane.name),
        wide=w.number(size[0], 1),
        high=w.number(size[1], 1),
        corner=w("lower left corner") if is_lower_left else w("first corner"),
        place=place(found.outline.origin_m.tolist(), w),
    )
    return [told, origin]


@house_style()
def page(found: ArrayResult, pictures: Pictures, w: Words) -> Page:
    """Map, plan, mean and worst with intervals, and what stands around."""
    picture = drawn(array_figure(found, w, (174.0, 176.0)))
    failed = [check for check in found.checks if not check.passed]
    return {
        "kind": "array",
        "name": w("{plane}: the whole array", plane=found.plane.name),
        "unfit": " ".join(check.why for check in failed)
        if w.language == "en"
        else ", ".join(w(check.check) for check in failed),
        "lines": lines(found, w),
        "picture": pictures.add(
            picture, w("Contours of solar access over the array, and the place from above.")
        ),
        "blocks_title": w("What stands around"),
        "blocks": obstructions(found, w),
        "note": w(
            "Worked out from the horizons of {n} points and their positions: what is seen from "
            "two places has a distance, to its nearest face. Tops are above the job's origin. In "
            "brackets stand 95 % intervals. Arrows point towards what stands there and are not to "
            "scale. What stands around is taken as boxes, gables, crowns and poles, so that the "
            "map may differ from a point's own figure by one or two percentage points.",
            n=len(found.here.points),
        ),
    }


def obstructions(found: ArrayResult, w: Words) -> Page:
    """Obstructions with distance and height, and what the array would gain without each."""
    gains = {one.name: one for one in found.gains}

    def can_go(o: Placed) -> str:
        return w("yes") if o.name in gains and gains[o.name].removable else w("no")

    def gained(o: Placed) -> str:
        if o.name not in gains:
            return DASH
        one = gains[o.name]
        return _within(Range(100 * one.value, 100 * one.low, 100 * one.high), w)

    return grid(
        found.here.obstructions,
        [
            (w("obstruction"), lambda o: sentences.obstruction(o.name, w)),
            (w("distance [m]"), lambda o: _away(o, w)),
            (w("from"), lambda o: o.from_point),
            (w("top [m]"), lambda o: _within(o.top_m, w)),
            (w("removable"), can_go),
            (w("gain without it [percentage points]"), gained),
        ],
    )


def _away(o: Placed, w: Words) -> str:
    if o.distance_m.value is not None:
        return _within(o.distance_m, w)
    if o.distance_m.low is None:
        return w("far")
    return w("over {distance}", distance=w.number(o.distance_m.low))


def _within(found: Range, w: Words) -> str:
    """With its 95 % interval."""
    if found.value is None:
        return DASH
    return f"{w.number(found.value, 1)} ({w.number(found.low, 1)}–{w.number(found.high, 1)})"


# For the terminal


def array_text(found: ArrayResult) -> str:
    """What was found, in words, with a map of the array in characters."""
    w = Words()
    parts = [*lines(found, w)]
    if found.grid is not None:
        parts.append(_map(found))
    if found.best is not None and found.outline is not None:
        left, bottom, width, height, mean = found.best
        at = found.outline.at_m(np.array([[left, bottom]]))[0]
        parts.append(
            f"The best place for {width:g} by {height:g} m has {w.percent(mean, 1)}: its lower "
            f"left corner is {place(at.tolist(), w)} from the job's origin"
        )
    if found.rows:
        foot, middle = (
            w.percent(found.rows[f"solar_access_{part}"], 1) for part in ("foot", "middle")
        )
        parts.append(
            f"Rows {found.rows['slant_m']:g} m high along the slope, {found.rows['pitch_m']:g} m "
            "from front to front: the foot of a row is in shade while the sun's profile angle is "
            f"below {found.rows['shade_angle_deg']:.1f}°; over the year the foot keeps {foot}, the "
            f"middle {middle}"
        )
    if len(found.places_m) <= MOST_PLACES or found.grid is None:
        parts.append(as_text(places_table(found)).rstrip())
    around = obstructions(found, w)
    rows = [
        (*row, o.taken_as or DASH)
        for row, o in zip(around["rows"], found.here.obstructions, strict=True)
    ]
    parts.append(in_words("What stands around", (*around["head"], "taken as"), rows))
    return "\n\n".join(part for part in parts if part)


def _map(found: ArrayResult) -> str:
    """The outline as seen up the slope, a digit a cell."""
    grid = found.grid
    assert grid is not None
    values = grid.spread_out(found.over_value)
    every = max(1, int(np.ceil(values.shape[1] * 2 / WIDEST_MAP)))
    low, high = float(np.nanmin(values)), float(np.nanmax(values))
    span = max(high - low, 1e-9)
    shown = []
    for row in values[::-every]:
        tenth = np.minimum((row[::every] - low) / span * 10, 9)
        shown.append("".join("  " if np.isnan(x) else SHADES[int(x)] * 2 for x in tenth).rstrip())
    step = grid.step_m[0] * every
    return (
        "The array as you look up its slope, eaves below:\n"
        + "\n".join(shown)
        + f"\n0 is {100 * low:.1f} %, 9 is {100 * high:.1f} %; two characters are {step:.2f} m"
    )


Place: TypeAlias = tuple[Cell, ...]


def _place_rows(found: ArrayResult) -> list[Place]:
    """Places with the year's solar access, its interval, beam access, and the months."""
    rows: list[Place] = []
    for i, (at, access) in enumerate(zip(found.places_m, found.at_places, strict=True)):
        solar, word = access.solar, f"{i + 1}"
        figures = np.array([*solar.year.ends, access.beam.annual, *solar.value[:YEAR]])
        if not found.known[i]:
            word += ", not known"
            figures[[0, *range(3, 16)]] = np.nan
        rows.append((word, *at.tolist(), *figures.tolist()))
    return rows


def places_table(found: ArrayResult) -> Table[Place]:
    """Places with their solar access, a row each; months stand in the CSV alone."""
    shares = ("solar access", "low", "high", "beam access")
    columns = [
        Column[Place]("place", itemgetter(0)),
        Column[Place]("east", itemgetter(1), "m", 1),
        Column[Place]("north", itemgetter(2), "m", 1),
        Column[Place]("up", itemgetter(3), "m", 1),
        *(Column[Place](name, itemgetter(k), "%", 1, 100.0) for k, name in enumerate(shares, 4)),
    ]
    return Table("places", _place_rows(found), columns)


def array_csv(found: ArrayResult) -> str:
    """Places with their annual and monthly solar access."""
    months = " ".join(f"solar_access_{month.lower()}" for month in MONTHS)
    header = f"place east_m north_m up_m solar_access low high beam_access {months}"
    return csv_text(header, _place_rows(found))


@house_style()
def array_picture(found: ArrayResult) -> bytes:
    """Map of the array and plan of the place side by side, as PNG."""
    return drawn(array_figure(found, Words(), (240.0, 120.0)), "png")
