"""The picture of a far horizon: computed and swept line together, and how well each turn fits."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from logger.checks import NORMAL_95
from logger.report.charts import (
    BAND,
    HORIZON_EDGE,
    INK,
    PAPER,
    QUIET,
    SUN,
    house_style,
    new_axes,
    new_figure,
    note,
)

if TYPE_CHECKING:
    from matplotlib.figure import Figure

    from logger.survey.ridge import Ridge
    from logger.survey.terrain import PointTerrain

MOST_WORSE = 100.0
"""Squared standard errors shown of a turn that fits worse."""


@house_style()
def terrain_chart(one: PointTerrain) -> Figure:
    """The far horizon of a point, the sweep that fits it best, and the turns tried."""
    far = one.far
    best = min(one.ridges, key=lambda r: r.fix.standard_error_deg, default=None)
    figure = new_figure(62 if best is None else 88)
    axes = new_axes(figure, 11, 3, 8 if best is None else 34, 6)
    low, high = (far.elevation_deg + side * NORMAL_95 * far.standard_error_deg for side in (-1, 1))
    axes.fill_between(far.azimuth_deg, low, high, color=BAND, alpha=0.5, lw=0, label="95 %")
    axes.plot(far.azimuth_deg, far.elevation_deg, color=HORIZON_EDGE, lw=1.0,
              label="far horizon by elevation data")  # fmt: skip
    if best is not None:
        swept = best.profile.turned(0.0 if best.fix.declined else best.fix.turn_deg)
        label = "swept" if best.fix.declined else f"swept, turned by {best.fix.turn_deg:+.2f}°"
        elevation = np.where(swept.known, swept.elevation_deg, np.nan)
        axes.plot(swept.azimuth_deg, elevation, color=SUN, lw=0.8, label=label)
        _draw_turns(figure, best)
    top = np.nanmax(far.elevation_deg)
    axes.set_ylim(min(0.0, float(np.nanmin(low))) - 0.5, float(top) * 1.6 + 2.0)
    axes.set_xlim(0, 360)
    axes.set_xticks(range(0, 361, 45), ["N", "NE", "E", "SE", "S", "SW", "W", "NW", "N"])
    axes.set_ylabel("elevation [°]")
    axes.grid()
    axes.legend(
        facecolor=PAPER, framealpha=1, edgecolor=PAPER, fontsize=6, loc="upper right", ncols=3
    )
    note(axes, f"{one.point}: what the sweep shows above the line of elevation data is near")
    return figure


def _draw_turns(figure: Figure, ridge: Ridge) -> None:
    axes = new_axes(figure, 11, 3, 8, 64)
    fix = ridge.fix
    axes.plot(fix.turns_deg, np.minimum(fix.worse, MOST_WORSE), color=INK, lw=0.8)
    if not fix.declined:
        half = NORMAL_95 * fix.standard_error_deg
        axes.axvspan(fix.turn_deg - half, fix.turn_deg + half, color=SUN, alpha=0.6, lw=0)
    axes.set_ylim(0, MOST_WORSE)
    axes.set_xlim(fix.turns_deg[0], fix.turns_deg[-1])
    axes.set_xlabel("turn of the compass [°]", labelpad=1)
    axes.set_ylabel("misfit [σ²]", labelpad=0)
    axes.grid(color=QUIET, alpha=0.3)
    note(axes, f"{ridge.recording}: {fix.declined or ridge.said}")
