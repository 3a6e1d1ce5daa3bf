"""Pictures of figures: access by month, hours of shade, loss by obstruction, tilt and azimuth."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

import numpy as np

from logger.report import style
from logger.report.figures import PlaneFigures
from logger.report.monthly import plane_name
from logger.report.tables import DASH

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
        row, above, below = 38.0, 10.0, 6.0
        figure = style.new_figure(height_mm=above + row * len(planes) + 1)
        for k, plane in enumerate(planes):
            axes = style.add_axes(
                figure,
                top_mm=above + row * k + (6 if len(planes) > 1 else 0),
                bottom_mm=below + row * (len(planes) - 1 - k),
            )
            draw_monthly_access(axes, plane)
            if len(planes) > 1:
                style.subtitle(axes, plane_name(plane))
            if k == 0:
                heading = f"Solar access by month{f' – {name}' if name else ''}"
                note = "bar: solar access · line: 95 % interval · diamond: beam access"
                style.title(axes, heading, note, lift_pt=17 if len(planes) > 1 else 7)
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
