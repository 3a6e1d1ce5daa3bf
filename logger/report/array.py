"""A whole array for people: the map in characters, the table of places, and the picture."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

from logger.arrays import Floats, floats
from logger.parallax import Placed, Range
from logger.parallax.parts import name_of
from logger.report.charts import PAPER, drawn, house_style
from logger.report.language import Words
from logger.report.survey_csv import csv_text
from logger.report.tables import MONTHS, Cell, Column, Table, as_text
from logger.survey.array import YEAR, ArrayResult

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

SHADES = "0123456789"
"""Of the map: each is a tenth of the way from the least to the most."""

WIDEST_MAP = 60

SMALL_M = 1.5
"""What is no wider has its name beside it in the plan. [m]"""

LABEL_APART = 0.9
"""Between labels around the map that stand equally far out. [rad]"""


def array_text(found: ArrayResult) -> str:
    """What was found, in words, with a map of the array in characters."""
    year = _per_cent(found.whole.solar.value[0, YEAR])
    low, high = (float(x[0, YEAR]) for x in (found.whole.solar.low, found.whole.solar.high))
    over = "over its outline" if found.grid is not None else "over the places told"
    parts = [
        f"Solar access of {found.plane.name} {over}: {year} of the year "
        f"(95 %: {_per_cent(low)} to {_per_cent(high)})",
        _extremes(found),
    ]
    if found.grid is not None:
        parts.append(_map(found))
    if found.best is not None and found.outline is not None:
        left, bottom, width, height, mean = found.best
        at = found.outline.at_m(floats([[left, bottom]]))[0]
        parts.append(
            f"The best place for {width:g} by {height:g} m has {_per_cent(mean)}: its lower left "
            f"corner is at {_place(at)} m"
        )
    if found.rows:
        parts.append(
            f"Rows {found.rows['slant_m']:g} m high along the slope, {found.rows['pitch_m']:g} m "
            "from front to front: the foot of a row is in shade while the sun's profile angle is "
            f"below {found.rows['shade_angle_deg']:.1f}°; over the year the foot keeps "
            f"{_per_cent(found.rows['solar_access_foot'])}, the middle "
            f"{_per_cent(found.rows['solar_access_middle'])}"
        )
    if len(found.places_m) <= 12 or found.grid is None:
        parts.append(as_text(places_table(found)))
    parts.append(as_text(obstruction_table(found)))
    return "\n\n".join(part for part in parts if part)


def _extremes(found: ArrayResult) -> str:
    ends = []
    for word, k in (("least", np.argmin(found.over_value)), ("most", np.argmax(found.over_value))):
        at, value = found.over_m[int(k)], float(found.over_value[int(k)])
        ends.append(f"the {word} is {_per_cent(value)} at {_place(at)} m")
    return f"{ends[0].capitalize()}; {ends[1]} (east, north, up)"


def _map(found: ArrayResult) -> str:
    """The outline as seen up the slope, a digit a cell."""
    grid, outline = found.grid, found.outline
    if grid is None or outline is None:
        return ""
    values = grid.spread_out(found.over_value)
    every = max(1, int(np.ceil(values.shape[1] * 2 / WIDEST_MAP)))
    low, high = float(np.nanmin(values)), float(np.nanmax(values))
    span = max(high - low, 1e-9)
    lines = []
    for row in values[::-every]:
        tenth = np.minimum((row[::every] - low) / span * 10, 9)
        lines.append("".join("  " if np.isnan(x) else SHADES[int(x)] * 2 for x in tenth).rstrip())
    step = grid.step_m[0] * every
    return (
        "The array as you look up its slope, eaves below:\n"
        + "\n".join(lines)
        + f"\n0 is {_per_cent(low)}, 9 is {_per_cent(high)}; two characters are {step:.2f} m"
    )


def _place_rows(found: ArrayResult) -> list[tuple[Cell, ...]]:
    """Places with the year's solar access, its interval, beam access, and the months."""
    rows: list[tuple[Cell, ...]] = []
    solar, beam = found.at_places.solar, found.at_places.beam
    for i, at in enumerate(found.places_m):
        figures = np.array([solar.value[i, YEAR], solar.low[i, YEAR], solar.high[i, YEAR],
                            beam.value[i, YEAR], *solar.value[i, :YEAR]])  # fmt: skip
        if not found.known[i]:
            figures[[0, 3, *range(4, 16)]] = np.nan
        word = str(i + 1) if found.known[i] else f"{i + 1}, not known"
        rows.append((word, *at.tolist(), *figures.tolist()))
    return rows


def places_table(found: ArrayResult) -> Table:
    """Places with their solar access, a row each; months stand in the CSV alone."""
    columns = (
        Column("place"),
        *(Column(way, "m", 1) for way in ("east", "north", "up")),
        *(Column(share, "%", 1, 100.0) for share in ("solar access", "low", "high", "beam access")),
    )
    return Table("places", columns, tuple(row[: len(columns)] for row in _place_rows(found)))


def obstruction_table(found: ArrayResult) -> Table:
    """Obstructions with distance and height, and what the array would gain without each."""
    columns = (
        Column("obstruction"),
        Column("distance"),
        Column("top, up from the origin"),
        Column("from"),
        Column("taken as"),
        Column("gain if gone", "points", 1, 100.0),
    )
    gained = {gain.name: gain.gained for gain in found.gains}
    rows = [
        (o.name, distance_words(o), _metres(o.top_m), o.from_point, o.taken_as, gained.get(o.name))
        for o in found.here.obstructions
    ]
    return Table("what stands around", columns, tuple(rows))


def distance_words(o: Placed) -> str:
    """With its interval, or what it is farther than."""
    if o.distance_m.value is None:
        return "far" if o.distance_m.low is None else f"over {o.distance_m.low:.0f} m"
    return _metres(o.distance_m)


def _metres(length: Range) -> str:
    if length.value is None:
        return "-"
    return f"{length.value:.1f} m ({length.low:.1f} to {length.high:.1f})"


def _per_cent(share: float) -> str:
    return f"{100 * share:.1f} %" if np.isfinite(share) else "-"


def _place(at_m: Floats) -> str:
    return ", ".join(f"{x:.1f}" for x in at_m)


def array_csv(found: ArrayResult) -> str:
    """Places with their annual and monthly solar access."""
    months = " ".join(f"solar_access_{month.lower()}" for month in MONTHS)
    header = f"place east_m north_m up_m solar_access low high beam_access {months}"
    return csv_text(header, _place_rows(found))


def array_picture(found: ArrayResult) -> bytes:
    """Map of the array and plan of the place side by side, as PNG."""
    with house_style():
        return drawn(array_figure(found, Words(), (240.0, 120.0)), "png")


def array_figure(found: ArrayResult, w: Words, size_mm: tuple[float, float]) -> Figure:
    """Map of the array and plan of the place side by side; the plan alone without an outline."""
    from matplotlib.figure import Figure

    figure = Figure(figsize=(size_mm[0] / 25.4, size_mm[1] / 25.4), layout="constrained")
    if found.grid is None or found.outline is None:
        draw_plan(figure.subplots(), found, w)
        return figure
    upright = size_mm[1] > size_mm[0]
    left, right = figure.subplots(*((2, 1) if upright else (1, 2)))
    draw_map(left, found, w)
    draw_plan(right, found, w)
    for axes in (left, right):
        axes.locator_params(integer=True)
        axes.set_anchor("W" if upright else "C")
    return figure


def draw_map(axes: Axes, found: ArrayResult, w: Words) -> None:
    """Contours of annual solar access over the outline, up the slope, with what stands around."""
    axes.set_title(w("Solar access over the array [% of the year]"))
    axes.set_aspect("equal")
    axes.set_xlabel(w("across [m]"))
    axes.set_ylabel(w("up the slope [m]"))
    if found.grid is None or found.outline is None:
        return
    grid, outline = found.grid, found.outline
    values = 100 * grid.spread_out(found.over_value)
    if min(values.shape) > 1 and np.nanmax(values) > np.nanmin(values):
        shown = axes.contourf(grid.across_m, grid.up_m, values, levels=10, cmap="cividis")
        axes.figure.colorbar(shown, cax=axes.inset_axes((1.03, 0.1, 0.03, 0.8)))
        lines = axes.contour(grid.across_m, grid.up_m, values, levels=5, colors="k", linewidths=0.5)
        axes.clabel(lines, fmt="%.0f", fontsize=8)
    ends = np.vstack([outline.corners_m, outline.corners_m[:1]])
    axes.plot(ends[:, 0], ends[:, 1], color="black", linewidth=1.2)
    for point in found.here.points:
        x, y = outline.places_of(point.at_m[None])[0]
        axes.plot(x, y, marker="o", color="white", markeredgecolor="black")
        _label(axes, point.name, floats([x, y]), xytext=(5, 5), textcoords="offset points")
    if found.best is not None:
        x, y, width, height, _ = found.best
        axes.add_patch(_rectangle(x, y, width, height))
    low, high = outline.corners_m.min(axis=0), outline.corners_m.max(axis=0)
    _directions(axes, found, floats((low + high) / 2), floats((high - low) / 2), w)


def _pair(at: Floats) -> tuple[float, float]:
    return float(at[0]), float(at[1])


def _rectangle(x: float, y: float, width: float, height: float) -> Any:
    from matplotlib.patches import Rectangle

    return Rectangle((x, y), width, height, fill=False, edgecolor="tab:red", linewidth=1.5)


def _directions(axes: Axes, found: ArrayResult, middle: Floats, half: Floats, w: Words) -> None:
    """Arrows around the outline towards obstructions, with their distances; and north."""
    assert found.outline is not None
    a = np.radians(found.plane.azimuth_deg)
    centre = found.outline.at_m(middle[None])[0]

    def across_up(east: float, north: float) -> Floats:
        # As seen from above with the slope's foot below.
        return floats(
            [-east * np.cos(a) + north * np.sin(a), -east * np.sin(a) - north * np.cos(a)]
        )

    def around(angle: float, gap: float) -> Floats:
        """In a direction from the middle, at a distance from the rectangle about the outline."""
        way = floats([np.sin(angle), np.cos(angle)])
        return floats(middle + way * np.min((half + gap) / np.maximum(np.abs(way), 1e-9)))

    size, last, near, ways = float(np.linalg.norm(half)), -np.inf, 0.4, []
    for thing, shown in _named(found):
        body = thing.bodies()
        x, y = across_up(body.east_m[0] - centre[0], body.north_m[0] - centre[1])
        ways.append((float(np.arctan2(x, y)), f"{shown.name}\n{_away(shown, w)}"))
    for angle, text in sorted(ways):
        # Of things in nearly one direction every other label stands farther out.
        out = 0.3 if near <= 0.4 and angle - last < LABEL_APART else 0.0
        near, last = 0.4 + out, angle
        foot, tip = around(angle, 0.06 * size), around(angle, 0.18 * size)
        axes.annotate("", _pair(tip), _pair(foot), arrowprops={"arrowstyle": "->"})
        _label(axes, text, around(angle, near * size), ha="center", va="center")
    (left, bottom), (right, top) = middle - half - 0.9 * size, middle + half + 0.9 * size
    axes.set_xlim(left, right)
    axes.set_ylim(bottom, top)
    _north(axes, across_up(0.0, 1.0))


def _away(o: Placed, w: Words) -> str:
    far = o.distance_m
    if far.value is None:
        return w("far") if far.low is None else w("over {metres} m away", metres=w.number(far.low))
    return w("{metres} m away", metres=w.number(far.value, 1))


def _label(axes: Axes, text: str, at: Floats, **look: Any) -> None:
    """A text that is read on any ground."""
    ground = {"facecolor": PAPER, "lw": 0, "pad": 0.5, "alpha": 0.8}
    axes.annotate(text, _pair(at), fontsize=7, bbox=ground, **look)


def _named(found: ArrayResult) -> list[tuple[Any, Placed]]:
    by_name = {o.name: o for o in found.here.obstructions}
    return [(thing, by_name[name_of(thing.name)]) for thing in found.here.layout.things]


def _north(axes: Axes, way: Floats) -> None:
    foot = floats([0.08, 0.86])
    tip = foot + 0.07 * way
    axes.annotate("", _pair(tip), _pair(foot), xycoords="axes fraction",
                  arrowprops={"arrowstyle": "-|>", "color": "black"})  # fmt: skip
    axes.text(*_pair(foot + 0.1 * way), "N", transform=axes.transAxes, ha="center", va="center")


def draw_plan(axes: Axes, found: ArrayResult, w: Words) -> None:
    """The place from above, to scale: what stands where, the points, and the array."""
    axes.set_title(w("The place from above, as understood"))
    axes.set_aspect("equal")
    axes.set_xlabel(w("east [m]"))
    axes.set_ylabel(w("north [m]"))
    for thing, shown in _named(found):
        corners = thing.bodies().corners_m()[0]
        colour = {"deciduous": "tab:green", "evergreen": "darkgreen"}.get(thing.kind, "tab:gray")
        axes.fill(*corners.T, facecolor=colour, alpha=0.4 if shown.is_placed else 0.15,
                  edgecolor="black", linestyle="-" if shown.is_placed else ":")  # fmt: skip
        text = shown.name
        if shown.top_m.value is not None:
            text += "\n" + w("top at {metres} m", metres=w.number(shown.top_m.value, 1))
        is_small = np.ptp(corners, axis=0).max() < SMALL_M  # A pole stays to be seen
        look = {"xytext": (4, 0), "ha": "left"} if is_small else {"xytext": (0, 0), "ha": "center"}
        middle = floats(corners.mean(axis=0))
        _label(axes, text, middle, textcoords="offset points", va="center", **look)
    if found.outline is not None:
        corners = found.outline.at_m(found.outline.corners_m)[:, :2]
        axes.fill(*corners.T, facecolor="tab:blue", alpha=0.3, edgecolor="tab:blue")
    for point in found.here.points:
        axes.plot(*point.at_m[:2], marker="o", color="white", markeredgecolor="black")
        _label(axes, point.name, point.at_m, xytext=(5, 5), textcoords="offset points")
    axes.margins(0.05)
    _north(axes, floats([0.0, 1.0]))
