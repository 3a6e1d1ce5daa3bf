"""The report's pictures on matplotlib's axes: for a window, where they move."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

from matplotlib import rc_context, rcdefaults, rcParams
from matplotlib.axes import Axes
from matplotlib.collections import LineCollection, PathCollection
from matplotlib.figure import Figure
from matplotlib.path import Path
from matplotlib.transforms import ScaledTranslation

from logger.report import style
from logger.report.drawing import TYPEFACE, Areas, Frame, Lines, Mark, Marks, Panel, Words

_SETTINGS: Any = {
    "font.family": [TYPEFACE],
    "font.size": style.SIZE_PT,
    "text.color": style.INK,
    "hatch.linewidth": 0.5,
    "text.usetex": False,
    # A user's text may hold dollar signs: nothing in a picture is markup.
    "text.parse_math": False,
}


@contextmanager
def house_style() -> Iterator[None]:
    """Our settings for whatever is drawn or saved inside, whatever the caller's own are."""
    with rc_context():
        rcdefaults()
        rcParams.update(_SETTINGS)
        yield


def draw_panel(figure: Figure, panel: Panel) -> Axes:
    """Add axes that show a panel where it stands on its sheet, of which the figure is one.

    Parameters
    ----------
    figure : Figure
        As large as the panel's sheet.
    panel : Panel
    """
    width, height = (side * 72 for side in figure.get_size_inches())
    bottom = height - panel.top_pt - panel.height_pt
    axes: Axes = figure.add_axes(
        (
            panel.left_pt / width,
            bottom / height,
            panel.width_pt / width,
            panel.height_pt / height,
        )
    )
    axes.set_axis_off()
    axes.set(xlim=panel.x_limits, ylim=panel.y_limits)
    for item in panel.items:
        match item:
            case Lines():
                _lines(axes, item)
            case Areas():
                _areas(axes, item)
            case Marks():
                _marks(axes, item)
            case Words():
                _words(axes, item)
    return axes


def _transform(axes: Axes, frame: Frame) -> Any:
    return {
        "data": axes.transData,
        "panel": axes.transAxes,
        "x": axes.get_xaxis_transform(),
        "y": axes.get_yaxis_transform(),
    }[frame]


def _lines(axes: Axes, item: Lines) -> None:
    drawn = LineCollection(
        item.paths,
        colors=item.colour,
        linewidths=item.width_pt,
        linestyles=(0, item.dash_pt) if item.dash_pt else "solid",
        alpha=item.opacity,
        capstyle="round" if item.round_ends else "butt",
        joinstyle="round",
        transform=_transform(axes, item.frame),
        clip_on=item.clipped,
        zorder=item.order,
    )
    axes.add_collection(drawn, autolim=False)


_HATCHES = {"": None, "slanted": "////", "crossed": "xxxx"}


def _areas(axes: Axes, item: Areas) -> None:
    outlines = [Path(o, closed=False) for o in item.outlines]
    drawn = PathCollection(
        [Path.make_compound_path(*outlines)] if outlines else [],
        facecolors=item.fill,
        edgecolors=item.edge,
        linewidths=item.width_pt,
        hatch=_HATCHES[item.hatch],
        alpha=item.opacity,
        transform=_transform(axes, item.frame),
        clip_on=item.clipped,
        zorder=item.order,
    )
    axes.add_collection(drawn, autolim=False)


_SIGNS: dict[Mark, Any] = {
    "dot": "o",
    "diamond": "D",
    "cross": "+",
    "stroke down": 3,  # matplotlib's TICKDOWN
    "stroke left": 0,  # and TICKLEFT
}


def _marks(axes: Axes, item: Marks) -> None:
    axes.plot(
        *item.places.T,
        ls="none",
        marker=_SIGNS[item.sign],
        ms=item.size_pt,
        mfc=item.fill,
        mec=item.edge,
        mew=item.width_pt,
        transform=_transform(axes, item.frame),
        clip_on=False,
        zorder=item.order,
    )


_ACROSS = {"left": "left", "middle": "center", "right": "right"}
_UPRIGHT = {"base": "baseline", "middle": "center", "top": "top"}


def _words(axes: Axes, item: Words) -> None:
    figure: Any = axes.figure
    moved = ScaledTranslation(item.right_pt / 72, item.up_pt / 72, figure.dpi_scale_trans)
    backing = {"facecolor": item.backing, "edgecolor": "none", "pad": 0.8, "alpha": 0.92}
    axes.text(
        item.x,
        item.y,
        item.text,
        transform=_transform(axes, item.frame) + moved,
        color=item.colour,
        fontsize=item.size_pt,
        fontweight="bold" if item.bold else "normal",
        rotation=90 if item.turned else 0,
        ha="right" if item.turned else _ACROSS[item.across],
        va="center" if item.turned else _UPRIGHT[item.upright],
        bbox=backing if item.backing != "none" else None,
        linespacing=item.leading,
        zorder=item.order,
    )
