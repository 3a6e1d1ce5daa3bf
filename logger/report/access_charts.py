"""Pictures of figures: access by month, hours of shade, loss by obstruction, tilt and azimuth."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

import numpy as np

from logger.access import UNNAMED, PlaneMap
from logger.access.shade import ShadeMap
from logger.arrays import Bools, Floats, floats
from logger.geometry import angle_between
from logger.report import style
from logger.report.figures import PlaneFigures, by_name
from logger.report.labels import Labels
from logger.report.monthly import plane_name
from logger.report.tables import DASH, shorten

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure


def monthly_access_chart(planes: Sequence[PlaneFigures], name: str = "") -> Figure:
    """Bars of solar access by month with their 95 % interval, a row a plane."""
    with style.house_style():
        row, above, below = 38.0, 12.0, 6.0
        several = len(planes) > 1
        figure = style.new_figure(height_mm=above + row * len(planes) + 1)
        for k, plane in enumerate(planes):
            axes = style.add_axes(
                figure,
                top_mm=above + row * k + (5 if several else 0),
                bottom_mm=below + row * (len(planes) - 1 - k),
            )
            draw_monthly_access(axes, plane)
            if several:
                style.subtitle(axes, plane_name(plane))
            if k == 0:
                note = "bar: solar access · line: its 95 % interval · diamond: beam access"
                style.title(axes, "Solar access by month", note, name, 18 if several else 6)
    return figure


def draw_monthly_access(axes: Axes, plane: PlaneFigures) -> None:
    """Draw one plane's bars, months and the year, into axes."""
    solar, beam = plane.solar_access, plane.beam_access
    x = np.append(np.arange(12.0), 12.6)
    value = np.append(solar.value, solar.year.value) * 100
    low = np.append(solar.low, solar.year.low) * 100
    high = np.append(solar.high, solar.year.high) * 100
    beam_value = np.append(beam.value, beam.year.value) * 100
    known = np.isfinite(value)
    axes.set_xlim(-0.6, 13.2)
    axes.set_ylim(0, 104)
    bars = [(a - 0.37, a + 0.37, 0.0, v) for a, v in zip(x, value, strict=True)]
    for which, colour in ((slice(0, 12), style.SUN_PALE), (slice(12, 13), style.SUN_YEAR)):
        shown = [bar for bar, is_known in zip(bars[which], known[which], strict=True) if is_known]
        style.boxes(axes, shown, facecolor=colour, lw=0)
    wide = known & (high > low)
    # Interval, number and diamond stand side by side: a low bar holds them on one height.
    spans = [[(x[k] - _ASIDE, low[k]), (x[k] - _ASIDE, high[k])] for k in np.flatnonzero(wide)]
    style.lines(axes, spans, colour=style.INK, width_pt=1.3, zorder=4)
    axes.plot(
        x + _ASIDE, beam_value, ls="none", marker="D", ms=3, mfc=style.PAPER,
        mec=style.SKYLINE_DEEP, mew=0.9, zorder=5, clip_on=False,
    )  # fmt: skip
    for position, number in zip(x, value, strict=True):
        text = f"{number:.0f}" if np.isfinite(number) else DASH
        style.write(axes, text, float(position), 0, 0, 3, ha="center")
    style.scale_x(axes, x, [*style.MONTHS, "year"], ticks=False)
    shares = [0, 25, 50, 75, 100]
    style.scale_y(
        axes, shares, [str(s) for s in shares], "solar access [%]", ticks=False, grid=True
    )


_ASIDE = 0.29
"""From the middle of a bar, whose half is 0.37 wide."""

SHADE_STEPS = ("#f5f2ea", "#dfe3e8", "#cdd6e2", "#b8c5d6", "#a0b1c8", "#8599b4", "#6b829f",
               "#54698a", "#3f5270", "#2b3a4e")  # fmt: skip
"""One hue from nearly white (nothing lost) to dark (all lost), in tenths."""

BLOCKED_FROM = 0.95
"""Share of the sun's time from which a cell of the shade map counts as blocked."""


def shade_chart(shade: ShadeMap, name: str = "") -> Figure:
    """Month by hour: how much of the sun's time the skyline takes."""
    with style.house_style():
        figure = style.new_figure(height_mm=62)
        axes = style.add_axes(figure, right_mm=34)
        draw_shade(axes, shade)
        style.title(axes, "Hours in the shade", "month by hour of the day, in calendar order", name)
        _draw_shade_key(axes)
    return figure


def draw_shade(axes: Axes, shade: ShadeMap) -> None:
    """Draw tiles, darker the longer the sun is hidden, hatched where it is blocked throughout."""
    up = np.flatnonzero(np.isfinite(shade.shaded).any(axis=0))
    first, last = (int(up[0]), int(up[-1]) + 1) if up.size else (12, 36)
    low, high = np.floor(shade.hour[first]), np.ceil(shade.hour[last])
    axes.set_xlim(low, high)
    axes.set_ylim(11.5, -0.5)
    unmeasured = shade.unmeasured > 0.5
    tenth = np.minimum(np.nan_to_num(shade.shaded) * 10, 9).astype(int)
    shown = np.isfinite(shade.shaded) & ~unmeasured
    for step, colour in enumerate(SHADE_STEPS):
        tiles = _tiles(shade, shown & (tenth == step), join=False)
        style.boxes(axes, tiles, facecolor=colour, edgecolor=style.PAPER, lw=0.5)
    for which, hatch in ((shade.shaded >= BLOCKED_FROM, "xxxx"), (unmeasured, "////")):
        tiles = _tiles(shade, which, join=True)
        style.boxes(axes, tiles, facecolor="none", edgecolor=style.BAND, hatch=hatch, lw=0)
    step = 1 if high - low <= 18 else 2
    hours = np.arange(np.ceil(low / step) * step, high + 0.1, step)
    style.scale_x(axes, hours, [f"{h:.0f}" for h in hours], "apparent solar time [h]", ticks=False)
    style.scale_y(axes, range(12), style.MONTHS, ticks=False)
    for row in np.flatnonzero(~np.isfinite(shade.shaded).any(axis=1)):
        how: Any = {"ha": "center", "va": "center", "colour": style.QUIET}
        style.write(axes, "no sun", (low + high) / 2, float(row), **how)


def _tiles(shade: ShadeMap, which: Bools, join: bool) -> list[tuple[float, float, float, float]]:
    """Rectangles of the marked cells, neighbours of one month joined on demand."""
    if not join:
        return [
            (shade.hour[k], shade.hour[k + 1], month - 0.5, month + 0.5)
            for month, k in np.argwhere(which)
        ]
    found = []
    for month, mask in enumerate(which):
        edges = np.flatnonzero(np.diff(np.r_[False, mask, False].astype(int))).reshape(-1, 2)
        found += [(shade.hour[a], shade.hour[b], month - 0.47, month + 0.47) for a, b in edges]
    return found


def _draw_shade_key(axes: Axes) -> None:
    """The ramp beside the tiles, with the two hatches named."""
    how: Any = {"transform": axes.transAxes, "clip_on": False, "lw": 0}
    left, right = 1.027, 1.053
    for k, colour in enumerate(SHADE_STEPS):
        low = 0.38 + 0.056 * k
        style.boxes(axes, [(left, right, low, low + 0.056)], facecolor=colour, **how)
    for share in (0, 50, 100):
        style.write(
            axes, str(share), right, 0.38 + 0.0056 * share, 4, 0, "axes", va="center_baseline"
        )
    words: Any = {"va": "center", "linespacing": 1.3}
    style.write(axes, "share of\nthe sun's\ntime [%]", right, 0.66, 26, 0, "axes", **words)
    for low, face, hatch, text in (
        (0.16, SHADE_STEPS[-1], "xxxx", "blocked"),
        (0.0, "none", "////", "not measured"),
    ):
        shape = [(left, right, low, low + 0.12)]
        style.boxes(axes, shape, facecolor=face, edgecolor=style.BAND, hatch=hatch, **how)
        style.write(axes, text, right, low + 0.06, 4, 0, "axes", **words)


def obstruction_chart(plane: PlaneFigures, name: str = "", most: int = 12) -> Figure:
    """Bars of what each obstruction takes of the year, the greatest first."""
    ranked = by_name(plane.by_obstruction)
    shown = ranked[:most]
    with style.house_style():
        figure = style.new_figure(height_mm=24 + 6.5 * len(shown))
        axes = style.add_axes(figure, left_mm=52, right_mm=14)
        values = np.nan_to_num(np.array([o.year for o in shown])) * 100
        widest = max(float(values.max()) * 1.08, 1.0)
        axes.set_xlim(0, widest)
        axes.set_ylim(len(shown) - 0.4, -0.6)
        bars = [(0.0, v, k - 0.33, k + 0.33) for k, v in enumerate(values)]
        style.boxes(axes, bars, facecolor=style.SKYLINE, lw=0)
        for k, (o, value) in enumerate(zip(shown, values, strict=True)):
            left: Any = {"ha": "right", "va": "center"}
            style.write(axes, f"{value:.1f}", max(value, 0.0), k, 4, va="center")
            sector = (
                f"azimuth {o.from_azimuth_deg:.0f} to {o.to_azimuth_deg:.0f}°"
                if np.isfinite(o.from_azimuth_deg)
                else "all its sectors together"
            )
            text = shorten(o.name or UNNAMED, 26)
            style.write(axes, text, 0, k, -5, 3, **left)
            style.write(axes, sector, 0, k, -5, -5, colour=style.QUIET, size_pt=6, **left)
        ticks = _round_ticks(0.0, widest)
        name_of_scale = "loss of the year's irradiation on the plane [%]"
        style.scale_x(axes, ticks, [f"{t:g}" for t in ticks], name_of_scale, ticks=False, grid=True)
        style.lines(
            axes, [[(0, 0), (0, 1)]], transform=axes.transAxes, colour=style.QUIET, width_pt=0.6
        )
        more = f"{len(ranked) - most} smaller ones not shown" if len(ranked) > most else ""
        style.title(axes, "Loss by obstruction", more or plane_name(plane), name)
    return figure


def _round_ticks(low: float, high: float, most: int = 10) -> Floats:
    """Multiples of 1, 2 or 5 times a power of ten within limits, at most so many."""
    for power in range(-3, 4):
        for factor in (1, 2, 5):
            step = factor * 10.0**power
            if (high - low) / step <= most:
                first, last = np.ceil(low / step - 1e-9), np.floor(high / step + 1e-9)
                return floats(np.arange(first, last + 0.5) * step + 0.0)  # + 0.0: no negative zero
    return floats([low, high])


def tilt_chart(
    tilts: PlaneMap, planes: Sequence[PlaneFigures], middle_deg: float, name: str = ""
) -> Figure:
    """Lines of equal yearly irradiation over tilt and azimuth, with the planes marked."""
    with style.house_style():
        figure = style.new_figure(height_mm=70)
        axes = style.add_axes(figure)
        style.azimuth_axis(
            axes, middle_deg, "azimuth the plane faces, clockwise from true north [°]"
        )
        axes.set_ylim(0, 90)
        tilts_shown = range(0, 91, 15)
        style.scale_y(axes, tilts_shown, [str(t) for t in tilts_shown], "tilt from horizontal [°]")
        x = np.asarray(angle_between(tilts.azimuth_deg, middle_deg), dtype=float)
        order = np.argsort(x, kind="stable")
        # Both ends of the axis are one azimuth, which the grid holds once.
        x = np.concatenate([x[order], [x[order][0] + 360.0]])
        share = tilts.irradiation_kwh_m2[:, order] / tilts.best.irradiation_kwh_m2 * 100
        share = np.concatenate([share, share[:, :1]], axis=1)
        levels = [0, 30, 40, 50, 60, 70, 80, 90, 95, 98, 100.001]
        axes.contourf(x, tilts.tilt_deg, share, levels, colors=_sun_ramp(len(levels) - 1))
        lines = axes.contour(
            x, tilts.tilt_deg, share, levels[1:-1], colors=style.SUN_DEEP, linewidths=0.5
        )
        axes.clabel(lines, fmt="%d", fontsize=6.5, colors=style.INK)
        labels = Labels(axes)
        marks = [("best", tilts.best.azimuth_deg, tilts.best.tilt_deg, "+", 8.0)]
        marks += [(shorten(p.name, 24), p.azimuth_deg, p.tilt_deg, "o", 4.5) for p in planes]
        for text, azimuth, tilt, marker, size in marks:
            at = float(angle_between(azimuth, middle_deg))
            axes.plot(
                at, tilt, marker=marker, ms=size, mfc=style.PAPER, mec=style.INK, mew=1.1,
                clip_on=False, zorder=6,
            )  # fmt: skip
            box = labels.place(text, at, tilt + 2.0, upward=True)
            if box.high > labels.high:
                box = labels.place(text, at, tilt - 7.0)
            box = labels.free_above(box)
            labels.draw(text, box, colour=style.INK, backed=True)
        note = "lines: the year's irradiation as a share of the best plane's [%]"
        style.title(axes, "Tilt and azimuth", note, name)
    return figure


def _sun_ramp(steps: int) -> list[Any]:
    from matplotlib.colors import LinearSegmentedColormap

    ramp = LinearSegmentedColormap.from_list("sun", [style.PAPER, style.SUN_FAINT, style.SUN_PALE])
    return [ramp(k / (steps - 1)) for k in range(steps)]


def comparison_chart(points: Sequence[tuple[str, PlaneFigures]]) -> Figure:
    """Solar access of the year at several points on one scale, each with its interval."""
    with style.house_style():
        figure = style.new_figure(height_mm=25 + 6.0 * len(points))
        axes = style.add_axes(figure, left_mm=46, right_mm=14)
        lows = [p.solar_access.year.low * 100 for _, p in points]
        lowest = min([v for v in lows if np.isfinite(v)], default=0.0)
        least = max(0.0, np.floor(lowest / 10) * 10 - 2)
        axes.set_xlim(least, 100.5)
        axes.set_ylim(len(points) - 0.4, -0.6)
        for k, (name, plane) in enumerate(points):
            year = plane.solar_access.year
            known = np.isfinite(year.value)
            text = f"{year.value * 100:.1f}" if known else DASH
            style.write(axes, shorten(name, 26), 0, k, -5, 0, "y", ha="right", va="center")
            style.write(axes, text, 1, k, 8, 0, "y", va="center")
        years = [(k, p.solar_access.year) for k, (_, p) in enumerate(points)]
        years = [(k, y) for k, y in years if np.isfinite(y.value)]
        spans = [[(y.low * 100, k), (y.high * 100, k)] for k, y in years]
        style.lines(axes, spans, colour=style.BAND, width_pt=4.5, zorder=2)
        axes.plot(
            [y.value * 100 for _, y in years], [k for k, _ in years], ls="none", marker="o", ms=5,
            color=style.SUN_DEEP, mew=0, zorder=3,
        )  # fmt: skip
        ticks = _round_ticks(least, 100.0)
        label = "solar access of the year [%]"
        style.scale_x(axes, ticks, [f"{t:g}" for t in ticks], label, ticks=False, grid=True)
        style.lines(
            axes, [[(0, 0), (0, 1)]], transform=axes.transAxes, colour=style.QUIET, width_pt=0.6
        )
        style.title(axes, "Points compared", "dot: estimate · bar: 95 % interval")
    return figure
