"""The pictures of a point: the sun's paths over its horizon, hours of shade, access by month.

The palette keeps its order in grey (ink, horizon, sun, paper go from dark to light) and for the
common forms of colour blindness: blue against orange, never red against green; what matters also
differs by line, number or label. The same figure gives the same bytes.
"""

from __future__ import annotations

import io
import warnings
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from typing import TYPE_CHECKING, Any

import numpy as np

from logger.access import PlaneResult
from logger.access.shade import ShadeMap
from logger.report.language import Words

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

PAPER, INK, QUIET, RULE = "#ffffff", "#1d2530", "#5d6875", "#cfd5dc"
HORIZON, HORIZON_EDGE, BAND = "#46586f", "#2b3a4e", "#8fa3bb"
SUN, SUN_DEEP = "#c26a00", "#8a4700"
PLANES = ("#f0c987", "#d2924a", "#8a4700")
"""Bars of up to three planes, light to dark."""
SHADES = ("#ffffff", "#e3e8ee", "#c3cedb", "#9fb0c5", "#7688a1", "#3f5270")
"""Nothing blocked to all blocked."""

FAMILY = "DejaVu Sans"
WIDTH_MM = 174.0
"""Width of a picture that fills the text column of the document. [mm]"""

_SETTINGS: Any = {
    "font.family": [FAMILY],
    "font.size": 7.0,
    "text.color": INK,
    "axes.edgecolor": QUIET,
    "axes.labelcolor": INK,
    "axes.linewidth": 0.6,
    "axes.spines.top": False,
    "axes.spines.right": False,
    "axes.titlelocation": "left",
    "axes.titlesize": 8.0,
    "axes.titleweight": "bold",
    "grid.color": RULE,
    "grid.linewidth": 0.4,
    "xtick.color": QUIET,
    "ytick.color": QUIET,
    "xtick.labelcolor": INK,
    "ytick.labelcolor": INK,
    "xtick.major.size": 2.5,
    "ytick.major.size": 2.5,
    "xtick.minor.size": 1.5,
    "hatch.linewidth": 0.5,
    "svg.fonttype": "none",  # text stays text
    "svg.hashsalt": "horizon-logger",
    # A user's text may hold dollar signs: nothing in a picture is markup.
    "text.parse_math": False,
    "text.usetex": False,
}


@contextmanager
def house_style() -> Iterator[None]:
    """Our settings for whatever is drawn or saved inside, whatever the caller's own are."""
    import matplotlib

    with matplotlib.rc_context(), warnings.catch_warnings():
        matplotlib.rcdefaults()
        matplotlib.rcParams.update(_SETTINGS)
        # Whoever shows the picture may well have a letter that this typeface lacks.
        warnings.filterwarnings("ignore", "Glyph .* missing")
        yield


def drawn(figure: Figure, kind: str = "svg") -> bytes:
    """A picture as the bytes of a file, ``svg``, ``png`` or ``pdf``."""
    out = io.BytesIO()
    dated = {"svg": ("Date", "Creator"), "pdf": ("CreationDate", "Creator", "Producer")}
    nothing: Any = dict.fromkeys(dated.get(kind, ("Software",)))
    with house_style():
        figure.savefig(out, format=kind, dpi=150.0, metadata=nothing)
    return out.getvalue()


def new_figure(height_mm: float, width_mm: float = WIDTH_MM) -> Figure:
    """A figure of a size on paper."""
    from matplotlib.figure import Figure

    return Figure(figsize=(width_mm / 25.4, height_mm / 25.4), facecolor=PAPER)


def new_axes(
    figure: Figure, left_mm: float, right_mm: float, bottom_mm: float, top_mm: float
) -> Axes:
    """Axes with margins in millimetres."""
    width, height = (side * 25.4 for side in figure.get_size_inches())
    axes: Axes = figure.add_axes(
        (
            left_mm / width,
            bottom_mm / height,
            1 - (left_mm + right_mm) / width,
            1 - (bottom_mm + top_mm) / height,
        )
    )
    return axes


def note(axes: Axes, text: str) -> None:
    """How to read a picture, in a quiet line above it."""
    axes.set_title(text, fontsize=6.5, fontweight="normal", color=QUIET, pad=3)


@house_style()
def shade_chart(shade: ShadeMap, w: Words, width_mm: float = WIDTH_MM) -> Figure:
    """Month by hour: how much of the sun's time is blocked, as colour and number."""
    from matplotlib.colors import BoundaryNorm, ListedColormap

    figure = new_figure(50, width_mm)
    axes = new_axes(figure, 11, 3, 8, 5)
    sunny = np.isfinite(shade.shaded)
    up = np.flatnonzero(sunny.any(axis=0))
    first, last = (int(up[0]), int(up[-1]) + 1) if up.size else (6, 18)
    unknown = sunny & (shade.unmeasured > 0.5)
    shown = np.ma.masked_where(~sunny | unknown, shade.shaded)[:, first:last]
    steps = [0.0, 0.005, 0.2, 0.4, 0.6, 0.8, 1.0001]
    colours, norm = ListedColormap(list(SHADES)), BoundaryNorm(steps, len(SHADES))
    edges = shade.hour[first : last + 1]
    axes.pcolormesh(edges, np.arange(13) - 0.5, shown, cmap=colours, norm=norm,
                    edgecolors=RULE, linewidth=0.4)  # fmt: skip
    middle = (shade.hour[:-1] + shade.hour[1:]) / 2
    for m, h in np.argwhere(sunny & (unknown | (shade.shaded >= 0.005))):
        text = "?" if unknown[m, h] else f"{100 * shade.shaded[m, h]:.0f}"
        dark = not unknown[m, h] and shade.shaded[m, h] >= 0.6
        look: Any = {"ha": "center", "va": "center", "fontsize": 5.2}
        axes.text(float(middle[h]), float(m), text, color=PAPER if dark else INK, **look)
    for m in np.flatnonzero(~sunny.any(axis=1)):
        axes.text(
            (edges[0] + edges[-1]) / 2, float(m), w("no sun"), ha="center", va="center", color=QUIET
        )
    axes.set_ylim(11.5, -0.5)
    axes.set_yticks(range(12), [w.month(m, "abbreviated") for m in range(12)])
    axes.set_xticks(edges[:: 1 if len(edges) < 20 else 2])
    axes.tick_params(length=0)
    axes.spines[:].set_visible(False)
    axes.set_xlabel(w("apparent solar time [h]"), labelpad=1)
    read = w("sun out of sight, % of the time it is up")
    if unknown.any():
        read = w("sun out of sight, % of the time it is up; ? not measured")
    note(axes, read)
    return figure


MARGIN_MM = 30.0
"""Left of the first month's bars; the document's table below has its names there. [mm]"""


@house_style()
def months_chart(planes: Sequence[PlaneResult], w: Words, height_mm: float = 30.0) -> Figure:
    """Bars of solar access by month and for the year with their interval, up to three planes."""
    figure = new_figure(height_mm)
    axes = new_axes(figure, MARGIN_MM, 0, 1, 4)
    draw_months(axes, planes)
    if height_mm >= 30:  # Else it would be cut; the table below says it
        axes.set_ylabel(w("solar access [%]"))
    return figure


def draw_months(axes: Axes, planes: Sequence[PlaneResult], year: bool = True) -> None:
    """Draw `months_chart` into axes: a column of width one for each month, and for the year."""
    wide = 0.84 / len(planes)
    for k, (plane, colour) in enumerate(zip(planes, PLANES, strict=False)):
        access = plane.solar_access
        n = 13 if year else 12
        at = np.arange(n) + 0.5 + wide * (k - (len(planes) - 1) / 2)
        axes.bar(at, access.value[:n] * 100, wide * 0.94, color=colour, lw=0.5, edgecolor=SUN_DEEP)
        axes.vlines(at, access.low[:n] * 100, access.high[:n] * 100, color=INK, lw=1.0, zorder=3)
    if year:
        axes.axvline(12, color=QUIET, lw=0.6)
    axes.set_xlim(0, 13 if year else 12)
    axes.set_ylim(0, 104)
    axes.set_xticks([])
    axes.set_yticks([0, 25, 50, 75, 100])
    axes.grid(axis="y")
    axes.set_axisbelow(True)
    axes.spines[["left", "bottom"]].set_visible(False)
    axes.tick_params(length=0)


@house_style()
def cover_chart(
    points: Sequence[tuple[str, str, PlaneResult]], w: Words, height_mm: float, columns: int
) -> Figure:
    """For each point a panel: how much of the light is left, month by month; a remark across it."""
    rows = -(-len(points) // columns)
    figure = new_figure(height_mm)
    panels = figure.subplots(rows, columns, squeeze=False).ravel()
    figure.subplots_adjust(
        left=0.04, right=1, bottom=5 / height_mm, top=1 - 5 / height_mm, wspace=0.14,
        hspace=11 * rows / height_mm,
    )  # fmt: skip
    for panel, (name, remark, plane) in zip(panels, points, strict=False):
        draw_months(panel, [plane], year=False)
        panel.set_xticks(np.arange(12) + 0.5, [w.month(m, "narrow") for m in range(12)])
        panel.set_yticks([0, 50, 100])
        panel.set_title(name, pad=3, fontsize=7 if columns > 3 else 8)
        if remark:
            ground: Any = {"facecolor": PAPER, "lw": 0, "pad": 1}
            panel.text(6, 50, remark, ha="center", va="center", bbox=ground, zorder=4)
    for panel in panels[len(points) :]:
        panel.set_axis_off()
    return figure
