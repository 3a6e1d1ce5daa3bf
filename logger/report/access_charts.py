"""Pictures of figures: access by month, hours of shade, loss by obstruction, tilt and azimuth."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from logger.angles import angle_between
from logger.columns import Bools, Floats, freeze_columns
from logger.report import style
from logger.report.figures import PlaneFigures
from logger.report.labels import Labels
from logger.report.monthly import plane_name
from logger.report.tables import DASH, shorten
from logger.shade import ShadeMap

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure


def monthly_access_chart(planes: Sequence[PlaneFigures], name: str = "") -> Figure:
    """Bars of solar access by month with their 95 % interval, a row a plane.

    Parameters
    ----------
    planes : sequence of PlaneFigures
        At least one.
    name : str
        Of the point, for the heading.
    """
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
    bars = axes.bar(x[known], value[known], width=0.74, color=style.SUN_PALE, lw=0)
    if known[-1]:
        bars[-1].set_color(style.SUN_YEAR)
    wide = known & (high > low)
    axes.vlines(x[wide], low[wide], high[wide], color=style.INK, lw=1.3, zorder=4)
    axes.plot(
        x + 0.22, beam_value, ls="none", marker="D", ms=3, mfc=style.PAPER, mec=style.SKYLINE_DEEP,
        mew=0.9, zorder=5,
    )  # fmt: skip
    for position, number in zip(x, value, strict=True):
        text = f"{number:.0f}" if np.isfinite(number) else DASH
        axes.annotate(
            text,
            (position, 0),
            xytext=(0, 3),
            textcoords="offset points",
            ha="center",
            color=style.INK,
        )
    axes.set_xlim(-0.6, 13.2)
    axes.set_xticks(x)
    axes.set_xticklabels([*style.MONTHS, "year"])
    axes.tick_params(axis="x", length=0)
    axes.set_ylim(0, 104)
    axes.set_yticks([0, 25, 50, 75, 100])
    axes.set_ylabel("solar access [%]")
    axes.grid(axis="y", color=style.RULE, lw=0.4)
    axes.spines["left"].set_visible(False)
    axes.tick_params(axis="y", length=0)


def shade_ramp() -> Any:
    """One hue from nearly white (nothing lost) to dark (all lost)."""
    from matplotlib.colors import LinearSegmentedColormap

    return LinearSegmentedColormap.from_list(
        "shade", ["#f5f2ea", "#cdd6e2", "#93a5bd", "#5c7492", "#2b3a4e"]
    )


def shade_chart(shade: ShadeMap, name: str = "") -> Figure:
    """Month by hour: how much of the sun's time the skyline takes.

    Parameters
    ----------
    shade : ShadeMap
    name : str
        Of the point, for the heading.
    """
    with style.house_style():
        figure = style.new_figure(height_mm=69)
        axes = style.add_axes(figure, right_mm=34)
        draw_shade(axes, shade)
        style.title(axes, "Hours in the shade", "month by hour of the day, in calendar order", name)
        _draw_shade_key(figure, axes)
    return figure


BLOCKED_FROM = 0.95
"""Share of the sun's time from which a cell of the shade map counts as blocked."""


def draw_shade(axes: Axes, shade: ShadeMap) -> None:
    """Draw tiles, darker the longer the sun is hidden, hatched where it is blocked throughout."""
    rows = np.arange(13) - 0.5
    axes.pcolormesh(
        shade.hour,
        rows,
        np.ma.masked_where(~(shade.unmeasured <= 0.5), shade.shaded),
        cmap=shade_ramp(),
        vmin=0,
        vmax=1,
        edgecolors=style.PAPER,
        linewidth=0.5,
    )
    for which, hatch, colour in (
        (shade.shaded >= BLOCKED_FROM, "xxxx", style.BAND),
        (shade.unmeasured > 0.5, "////", style.QUIET),
    ):
        for month, start, end in _stretches(which):
            left, right = shade.hour[start], shade.hour[end]
            axes.fill_between(
                [left, right], month - 0.47, month + 0.47, facecolor="none", edgecolor=colour,
                hatch=hatch, lw=0,
            )  # fmt: skip
    up = np.flatnonzero(np.isfinite(shade.shaded).any(axis=0))
    first, last = (int(up[0]), int(up[-1]) + 1) if up.size else (12, 36)
    axes.set_xlim(np.floor(shade.hour[first]), np.ceil(shade.hour[last]))
    axes.set_ylim(11.5, -0.5)
    axes.set_yticks(range(12))
    axes.set_yticklabels(style.MONTHS)
    step = 1 if shade.hour[last] - shade.hour[first] <= 18 else 2
    low, high = axes.get_xlim()
    axes.set_xticks(np.arange(np.ceil(low / step) * step, high + 0.1, step))
    axes.set_xlabel("apparent solar time [h]", labelpad=1)
    axes.tick_params(length=0)
    axes.spines[["left", "bottom"]].set_visible(False)
    for row in np.flatnonzero(~np.isfinite(shade.shaded).any(axis=1)):
        axes.annotate(
            "no sun", ((low + high) / 2, row), ha="center", va="center", color=style.QUIET
        )


def _draw_shade_key(figure: Figure, axes: Axes) -> None:
    """The ramp beside the tiles, with the two hatches named."""
    box = axes.get_position()
    left = box.x1 + 0.02
    key = figure.add_axes((left, box.y0 + 0.38 * box.height, 0.02, 0.56 * box.height))
    key.pcolormesh(
        [0, 1], np.linspace(0, 1, 11), np.linspace(0.05, 0.95, 10)[:, None], cmap=shade_ramp(),
        vmin=0, vmax=1,
    )  # fmt: skip
    key.set_xticks([])
    key.set_yticks([0, 0.5, 1])
    key.set_yticklabels(["0", "50", "100"])
    key.yaxis.tick_right()
    key.tick_params(length=0)
    key.spines[:].set_visible(False)
    key.annotate(
        "share of\nthe sun's\ntime [%]", (0, 0.5), xytext=(32, 0), xycoords="axes fraction",
        textcoords="offset points", va="center", linespacing=1.3,
    )  # fmt: skip
    signs = figure.add_axes((left, box.y0, 0.02, 0.28 * box.height))
    signs.set_axis_off()
    signs.set_ylim(0, 2)
    signs.set_xlim(0, 1)
    ramp = shade_ramp()
    for low, face, hatch, colour, text in (
        (1.1, ramp(1.0), "xxxx", style.BAND, "blocked"),
        (0.0, style.PAPER, "////", style.QUIET, "not measured"),
    ):
        signs.fill_between(
            [0, 1], low, low + 0.9, facecolor=face, edgecolor=colour, hatch=hatch, lw=0
        )
        signs.annotate(
            text, (1, low + 0.45), xytext=(4, 0), textcoords="offset points", va="center"
        )


def _stretches(which: Bools) -> list[tuple[int, int, int]]:
    """Runs of True in each row of a mask: row, first column, column after the last."""
    found = []
    for row, mask in enumerate(which):
        edges = np.flatnonzero(np.diff(np.r_[False, mask, False].astype(int))).reshape(-1, 2)
        found += [(row, int(a), int(b)) for a, b in edges]
    return found


def obstruction_chart(plane: PlaneFigures, name: str = "", most: int = 12) -> Figure:
    """Bars of what each obstruction takes of the year, the greatest first.

    Parameters
    ----------
    plane : PlaneFigures
        With at least one obstruction.
    name : str
        Of the point, for the heading.
    most : int
        Bars drawn; the rest is named as a number.
    """
    ranked = sorted(plane.by_obstruction, key=lambda o: -o.year)
    shown = ranked[:most]
    with style.house_style():
        figure = style.new_figure(height_mm=24 + 6.5 * len(shown))
        axes = style.add_axes(figure, left_mm=52, right_mm=14)
        values = np.array([o.year for o in shown]) * 100
        axes.barh(range(len(shown)), values, height=0.66, color=style.SKYLINE, lw=0)
        for k, (o, value) in enumerate(zip(shown, values, strict=True)):
            axes.annotate(
                f"{value:.1f}", (max(value, 0.0), k), xytext=(4, 0), textcoords="offset points",
                va="center",
            )  # fmt: skip
            axes.annotate(
                shorten(o.name or "skyline without a name", 26), (0, k), xytext=(-5, 3),
                textcoords="offset points", ha="right", va="center",
            )  # fmt: skip
            axes.annotate(
                f"azimuth {o.from_azimuth_deg:.0f} to {o.to_azimuth_deg:.0f}°", (0, k),
                xytext=(-5, -5), textcoords="offset points", ha="right", va="center",
                color=style.QUIET, fontsize=6,
            )  # fmt: skip
        axes.set_ylim(len(shown) - 0.4, -0.6)
        axes.set_yticks([])
        axes.set_xlim(0, max(float(values.max()) * 1.08, 1.0))
        axes.set_xlabel("loss of the year's irradiation on the plane [%]", labelpad=1)
        axes.grid(axis="x", color=style.RULE, lw=0.4)
        axes.tick_params(axis="x", length=0)
        axes.spines["bottom"].set_visible(False)
        more = f"{len(ranked) - most} smaller ones not shown" if len(ranked) > most else ""
        style.title(axes, "Loss by obstruction", more or plane_name(plane), name)
    return figure


@dataclass(frozen=True, eq=False)
class TiltMap:
    """A year's irradiation on planes of many tilts and azimuths.

    Parameters
    ----------
    tilt_deg : array, shape (T,)
        [deg]
    azimuth_deg : array, shape (A,)
        Over a full turn, both ends included. [deg]
    share : array, shape (T, A)
        Of the best plane on the map, 0 to 1.
    best_tilt_deg, best_azimuth_deg : float
        [deg]
    """

    tilt_deg: Floats
    azimuth_deg: Floats
    share: Floats
    best_tilt_deg: float
    best_azimuth_deg: float

    def __post_init__(self) -> None:
        tilts = freeze_columns(self, ("tilt_deg",))
        azimuths = freeze_columns(self, ("azimuth_deg",))
        freeze_columns(self, ("share",), length=tilts, width=azimuths)


def tilt_chart(
    tilts: TiltMap, planes: Sequence[PlaneFigures], middle_deg: float, name: str = ""
) -> Figure:
    """Lines of equal yearly irradiation over tilt and azimuth, with the planes marked.

    Parameters
    ----------
    tilts : TiltMap
    planes : sequence of PlaneFigures
    middle_deg : float
        Azimuth in the middle of the axis: the equator's side. [deg]
    name : str
        Of the point, for the heading.
    """
    with style.house_style():
        figure = style.new_figure(height_mm=79)
        axes = style.add_axes(figure)
        style.azimuth_axis(axes, middle_deg)
        axes.set_ylim(0, 90)
        axes.set_yticks(range(0, 91, 15))
        axes.set_ylabel("tilt from horizontal [°]")
        x = np.asarray(angle_between(tilts.azimuth_deg[:-1], middle_deg), dtype=float)
        order = np.argsort(x, kind="stable")
        x = np.concatenate([x[order], [x[order][0] + 360.0]])
        share = tilts.share[:, :-1][:, order]
        share = np.concatenate([share, share[:, :1]], axis=1) * 100
        levels = [0, 30, 40, 50, 60, 70, 80, 90, 95, 98, 100.001]
        axes.contourf(x, tilts.tilt_deg, share, levels, colors=_sun_ramp(len(levels) - 1))
        lines = axes.contour(
            x, tilts.tilt_deg, share, levels[1:-1], colors=style.SUN_DEEP, linewidths=0.5
        )
        axes.clabel(lines, fmt="%d", fontsize=6.5, colors=style.INK)
        labels = Labels(axes)
        marks = [("best", tilts.best_azimuth_deg, tilts.best_tilt_deg, "+", 8.0)]
        marks += [(shorten(p.name, 24), p.azimuth_deg, p.tilt_deg, "o", 4.5) for p in planes]
        for text, azimuth, tilt, marker, size in marks:
            at = float(angle_between(azimuth, middle_deg))
            axes.plot(
                at, tilt, marker=marker, ms=size, mfc=style.PAPER, mec=style.INK, mew=1.1,
                clip_on=False, zorder=6,
            )  # fmt: skip
            box = labels.raised_until_free(labels.place(text, at, tilt + 2.0, upward=True))
            labels.draw(text, box, color=style.INK, bbox=style.BACKING)
        axes.set_xlabel("azimuth the plane faces, clockwise from true north [°]", labelpad=1)
        note = "lines: the year's irradiation as a share of the best plane's [%]"
        style.title(axes, "Tilt and azimuth", note, name)
    return figure


def _sun_ramp(steps: int) -> list[Any]:
    from matplotlib.colors import LinearSegmentedColormap

    ramp = LinearSegmentedColormap.from_list("sun", [style.PAPER, style.SUN_FAINT, style.SUN_PALE])
    return [ramp(k / (steps - 1)) for k in range(steps)]


def comparison_chart(points: Sequence[tuple[str, PlaneFigures]]) -> Figure:
    """Solar access of the year at several points on one scale, each with its interval.

    Parameters
    ----------
    points : sequence of (name, plane)
        At least one; planes alike, so that only the place differs.
    """
    from matplotlib.ticker import MaxNLocator

    with style.house_style():
        figure = style.new_figure(height_mm=25 + 6.0 * len(points))
        axes = style.add_axes(figure, left_mm=46, right_mm=14)
        for k, (name, plane) in enumerate(points):
            year = plane.solar_access.year
            known = np.isfinite(year.value)
            if known:
                axes.hlines(k, year.low * 100, year.high * 100, color=style.BAND, lw=4.5)
                axes.plot(year.value * 100, k, marker="o", ms=5, color=style.SUN_DEEP, mew=0)
            axes.annotate(
                shorten(name, 26), (0, k), xycoords=("axes fraction", "data"), xytext=(-5, 0),
                textcoords="offset points", ha="right", va="center",
            )  # fmt: skip
            axes.annotate(
                f"{year.value * 100:.1f}" if known else DASH, (1, k),
                xycoords=("axes fraction", "data"), xytext=(8, 0), textcoords="offset points",
                va="center",
            )  # fmt: skip
        lows = [p.solar_access.year.low for _, p in points]
        lowest = min([v * 100 for v in lows if np.isfinite(v)], default=0.0)
        axes.set_xlim(max(0.0, np.floor(lowest / 10) * 10 - 2), 100.5)
        axes.xaxis.set_major_locator(MaxNLocator(10, integer=True, steps=[1, 2, 5, 10]))
        axes.set_ylim(len(points) - 0.4, -0.6)
        axes.set_yticks([])
        axes.grid(axis="x", color=style.RULE, lw=0.4)
        axes.tick_params(axis="x", length=0)
        axes.spines["bottom"].set_visible(False)
        axes.set_xlabel("solar access of the year [%]", labelpad=1)
        style.title(axes, "Points compared", "dot: estimate · bar: 95 % interval")
    return figure
