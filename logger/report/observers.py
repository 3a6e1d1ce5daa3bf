"""How several sweeps of a point agree: in words and tables, and as a picture."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

import numpy as np

from logger.agreement import Estimate, Observers, Precision, Spread
from logger.agreement.observers import ENOUGH_OBSERVERS, MIDDLE_DEG, SECTOR_DEG, SweepOf
from logger.checks import NORMAL_95
from logger.geometry import angle_between
from logger.report.charts import (
    HORIZON,
    HORIZON_EDGE,
    INK,
    QUIET,
    SUN_DEEP,
    WIDTH_MM,
    house_style,
    new_axes,
    new_figure,
    note,
)
from logger.report.language import Words
from logger.report.sky_chart import sky_axes
from logger.report.tables import Column, Table, as_text, in_words, shortened

if TYPE_CHECKING:
    from matplotlib.figure import Figure

Row = tuple[str, Precision, float]
"""What is told the spread of, and its factor from the data to print."""


def observers_text(found: Observers, point: str, reference: str) -> str:
    """Everything that the sweeps of a point say of each other."""
    against = f"against {reference}" if reference else "against what they say together"
    n = len(found.sweeps)
    head = f"{point}: {_counted(len(found.names), 'observer')}, {_counted(n, 'sweep')}, {against}"
    rows: list[Row] = [
        ("turn [°]", found.turn, 1.0),
        ("lift [°]", found.lift, 1.0),
        ("solar access of the year [points]", found.access, 100.0),
        *(
            (f"elevation, {k * SECTOR_DEG:.0f} to {(k + 1) * SECTOR_DEG:.0f}° [°]", sector, 1.0)
            for k, sector in enumerate(found.sectors)
        ),
    ]
    parts = [head, as_text(_sweep_table(found)), _spread_table(rows)]
    return "\n\n".join(
        part.rstrip() for part in [*parts, "\n".join([*_outliers(found, rows), *_bias(found)])]
    )


def _counted(n: int, what: str) -> str:
    return f"{n} {what}{'' if n == 1 else 's'}"


def _sweep_table(found: Observers) -> Table[SweepOf]:
    def within(*errors_deg: float) -> float:
        return NORMAL_95 * math.hypot(*errors_deg)

    columns: list[Column[SweepOf]] = [
        Column("observer", lambda one: one.traced.observer),
        Column("turn", lambda one: one.turn_deg.value, "°", 2),
        Column("±", lambda one: within(one.turn_deg.error, one.traced.heading_error_deg), "°", 2),
        Column("bias" if found.reference else "lift", lambda one: one.lift_deg.value, "°", 2),
        Column("±", lambda one: within(one.lift_deg.error, one.traced.level_error_deg), "°", 2),
        Column("shape left", lambda one: one.shape_rms_deg, "°", 2),
        Column("passes", lambda one: one.traced.passes, "", 0),
        Column("year's access", lambda one: float(one.traced.access[12]), "%", 1, 100.0),
        Column("failed checks", lambda one: ", ".join(one.traced.failed)),
    ]
    return Table("Each sweep (± is 95 %)", found.sweeps, columns)


def _spread_table(rows: Sequence[Row]) -> str:
    told = [
        (what, spread_text(p.repeatability, factor), spread_text(p.reproducibility, factor))
        for what, p, factor in rows
    ]
    return in_words(
        "Repeatability and reproducibility: one standard deviation and its 95 % interval",
        ("what", "same observer again", "another observer"),
        told,
    )


def spread_text(spread: Spread | None, factor: float = 1.0) -> str:
    """A standard deviation with its interval, or that it is not known."""
    if spread is None:
        return "not known"
    value, low, high = (f"{factor * v:.2f}" for v in (spread.value, spread.low, spread.high))
    return f"{value} ({low} to {high})"


def _outliers(found: Observers, rows: Sequence[Row]) -> list[str]:
    """Who stands apart from the others or scatters more than they, by Mandel's h and k."""
    words = {"h": "stands apart in", "k": "scatters more than the others in"}
    told: dict[tuple[int, str], list[str]] = {}
    for what, spread, _ in rows:
        for i, statistic, value, limit in spread.outlying():
            name = what.rsplit(" [", 1)[0]
            text = f"{name} ({statistic} = {value:.2f}, limit {limit:.2f})"
            told.setdefault((i, statistic), []).append(text)
    lines = [f"{found.names[i]} {words[s]} {'; '.join(all_)}" for (i, s), all_ in told.items()]
    if lines:
        lines.append("They stay in every figure; `edit exclude-sweep` takes a sweep out.")
    return lines


def _bias(found: Observers) -> list[str]:
    lines = []
    if found.reference and len(found.names) > 1:
        lines.append(f"All observers together trace {_high(found.common_bias_deg)}.")
    if found.tracing is None:
        return lines
    tracing = found.tracing
    lines.append(
        f"Tracing bias found: {tracing.found_deg:.2f}° (one standard deviation, "
        f"{_counted(tracing.observers, 'observer')}); to use: {tracing.to_use_deg:.2f}°."
    )
    if tracing.freedom < ENOUGH_OBSERVERS:
        lacking = 1 - tracing.freedom / ENOUGH_OBSERVERS
        lines.append(
            f"That is too few: the assumed bias weighs {100 * lacking:.0f} % in what to use."
        )
    if not tracing.against_truth:
        lines.append("What all observers do alike does not show without --reference HORIZON.csv.")
    return lines


def _high(bias: Estimate) -> str:
    low, high = bias.interval
    word = "high" if bias.value >= 0 else "low"
    return f"{abs(bias.value):.2f}° too {word} (95 % interval {low:+.2f} to {high:+.2f}°)"


@house_style()
def observers_chart(
    found: Observers, middle_deg: float, height_mm: float = 120.0, width_mm: float = WIDTH_MM
) -> Figure:
    """All horizons thin, what they are held against thick, the differences below."""
    w = Words()
    order = np.argsort(angle_between(MIDDLE_DEG, middle_deg))
    x = np.asarray(angle_between(MIDDLE_DEG, middle_deg))[order]
    held = found.held_deg
    rows = [one.traced.elevation_deg for one in found.sweeps]
    top = max(10.0, *(float(np.nanmax(row)) for row in rows if np.isfinite(row).any())) + 4.0
    marked = _most_off(found)
    below = 0.3 * height_mm + 12
    figure = new_figure(height_mm, width_mm)
    axes = new_axes(figure, 13, 3, below + 2, 6)
    sky_axes(axes, middle_deg, min(0.0, float(np.nanmin(rows)) - 1.0), top, w)
    axes.set_xlabel("")
    axes.tick_params(labelbottom=False)
    differences = new_axes(figure, 13, 3, 11, height_mm - below + 1)
    off = [row - held for row in rows]
    # Beside an edge a difference is as high as the house: what matters is level with it.
    reach = float(np.ceil(np.clip(np.nanpercentile(np.abs(off), 95), 1.0, 10.0)))
    sky_axes(differences, middle_deg, -reach, reach, w)
    heights = np.array([-1.0, -0.5, 0.0, 0.5, 1.0]) * reach
    differences.set_yticks(heights, [f"{w.number(h, 1)}°" for h in heights])
    differences.set_ylabel("difference", labelpad=1)
    differences.axhline(0, color=HORIZON_EDGE, lw=1.4, zorder=4)
    for k, (row, less) in enumerate(zip(rows, off, strict=True)):
        look: Any = {"color": SUN_DEEP, "lw": 0.9} if k in marked else {"color": QUIET, "lw": 0.45}
        axes.plot(x, row[order], zorder=3 if k in marked else 2, **look)
        differences.plot(x, less[order], zorder=3 if k in marked else 2, **look)
    axes.fill_between(x, axes.get_ylim()[0], held[order], color=HORIZON, alpha=0.18, lw=0)
    axes.plot(x, held[order], color=HORIZON_EDGE, lw=1.8, zorder=4)
    names = shortened([found.sweeps[k].traced.observer for k in marked], 22)
    told = f"; brown: {', '.join(names)}" if names else ""
    what = "the reference" if found.reference else "what they say together"
    note(axes, f"thin: each sweep; thick: {what}{told}")
    axes.title.set_color(INK)
    return figure


def _most_off(found: Observers) -> list[int]:
    """The sweeps whose observer stands apart in turn or lift, by the outlier's limit."""
    apart = {i for p in (found.turn, found.lift) for i, *_ in p.outlying()}
    names = {found.names[i] for i in apart}
    return [k for k, one in enumerate(found.sweeps) if one.traced.observer in names]
