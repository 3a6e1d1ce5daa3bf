"""The picture of a whole array: the map of its solar access, and the plan of the place."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

from logger.arrays import Floats, floats
from logger.parallax import Placed
from logger.parallax.parts import name_of
from logger.report.charts import PAPER
from logger.report.language import Words
from logger.survey.array import ArrayResult

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

SMALL_M = 1.5
"""What is no wider has its name beside it in the plan. [m]"""

LABEL_APART = 0.9
"""Between labels around the map that stand equally far out. [rad]"""


LABEL_INSIDE = 0.04
"""How far inside the outline a contour's label stands at least, as a share of its width."""


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
    from matplotlib.patches import Rectangle

    axes.set_title(w("Solar access over the array [% of the year]"))
    axes.set_aspect("equal")
    axes.set_xlabel(w("across [m]"))
    axes.set_ylabel(w("up the slope [m]"))
    grid, outline = found.grid, found.outline
    assert grid is not None
    assert outline is not None
    # Out to the edges of the outermost cells.
    values = np.pad(100 * grid.spread_out(found.over_value), 1, mode="edge")
    across, up = (
        np.array([at[0] - step / 2, *at, at[-1] + step / 2])
        for at, step in zip((grid.across_m, grid.up_m), grid.step_m, strict=True)
    )
    if min(values.shape) > 3 and np.nanmax(values) > np.nanmin(values):
        shown = axes.contourf(across, up, values, levels=10, cmap="cividis")
        axes.figure.colorbar(shown, cax=axes.inset_axes((1.03, 0.1, 0.03, 0.8)))
        drawn_lines = axes.contour(across, up, values, levels=5, colors="k", linewidths=0.5)
        for label in axes.clabel(drawn_lines, fmt="%.0f", fontsize=8):
            # Across the outline it could not be read.
            x, y = label.get_position()
            aside = min(x - across[0], across[-1] - x, y - up[0], up[-1] - y)
            label.set_visible(bool(aside > LABEL_INSIDE * np.ptp(across)))
    ends = np.vstack([outline.corners_m, outline.corners_m[:1]])
    axes.plot(ends[:, 0], ends[:, 1], color="black", linewidth=1.2)
    for point in found.here.points:
        x, y = outline.places_of(point.at_m[None])[0]
        axes.plot(x, y, marker="o", color="white", markeredgecolor="black")
        _label(axes, point.name, floats([x, y]), xytext=(5, 5), textcoords="offset points")
    if found.best is not None:
        x, y, width, height, _ = found.best
        axes.add_patch(
            Rectangle((x, y), width, height, fill=False, edgecolor="tab:red", linewidth=1.5)
        )
    low, high = outline.corners_m.min(axis=0), outline.corners_m.max(axis=0)
    _directions(axes, found, floats((low + high) / 2), floats((high - low) / 2), w)


def _pair(at: Floats) -> tuple[float, float]:
    return float(at[0]), float(at[1])


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
        # Beside the outline a label ends where its arrow does; above and below it stands on it.
        beside = abs(np.sin(angle)) * half[1] > abs(np.cos(angle)) * half[0]
        aligned = ("right" if np.sin(angle) < 0 else "left") if beside else "center"
        at = around(angle, (0.2 if beside else near) * size)
        _label(axes, text, at, ha=aligned, va="center")
    room = size * floats([1.4, 0.9])  # A label is wide
    (left, bottom), (right, top) = middle - half - room, middle + half + room
    axes.set_xlim(left, right)
    axes.set_ylim(bottom, top)
    _north(axes, across_up(0.0, 1.0), 0.08)


def _away(o: Placed, w: Words) -> str:
    far = o.distance_m
    if far.value is None:
        if far.low is None:
            return w("far")
        return w("over {metres} m from {point}", metres=w.number(far.low), point=o.from_point)
    return w("{metres} m from {point}", metres=w.number(far.value, 1), point=o.from_point)


def _label(axes: Axes, text: str, at: Floats, **look: Any) -> None:
    """A text that is read on any ground."""
    ground = {"facecolor": PAPER, "lw": 0, "pad": 0.5, "alpha": 0.8}
    axes.annotate(text, _pair(at), fontsize=7, bbox=ground, **look)


def _named(found: ArrayResult) -> list[tuple[Any, Placed]]:
    by_name = {o.name: o for o in found.here.obstructions}
    return [(thing, by_name[name_of(thing.name)]) for thing in found.here.layout.things]


def _north(axes: Axes, way: Floats, across: float) -> None:
    foot = floats([across, 0.86])
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
    _north(axes, floats([0.0, 1.0]), 1.04)  # Beside the plan: anything may stand in it
