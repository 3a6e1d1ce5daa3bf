"""How every picture looks, and how it is saved: one palette, one typeface, no surprises.

The palette keeps its order in grey (ink, skyline, sun, sky, paper go from dark to light) and for
the common forms of colour blindness: blue against orange, never red against green; what matters
also differs by line, hatch or label. Figures are made with matplotlib's object interface.
"""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from logger.angles import wrap360
from logger.report.tables import shorten

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

PAPER = "#ffffff"
INK = "#1d2530"
QUIET = "#5d6875"
RULE = "#cfd5dc"
SKYLINE = "#46586f"
SKYLINE_DEEP = "#2b3a4e"
SKYLINE_PALE = "#e4e9f0"
BAND = "#8fa3bb"
SUN = "#c26a00"
SUN_DEEP = "#8a4700"
SUN_YEAR = "#d2924a"
SUN_PALE = "#f0c987"
SUN_FAINT = "#fbeeda"

MONTHS = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")

BACKING: Any = {"facecolor": PAPER, "edgecolor": "none", "pad": 0.8, "alpha": 0.92}
"""Paper behind a label that crosses lines."""

_COMPASS = {0: "N", 45: "NE", 90: "E", 135: "SE", 180: "S", 225: "SW", 270: "W", 315: "NW"}

WIDTH_MM = 174.0
"""Width of a picture that fills the text column of the document. [mm]"""

_SETTINGS: Any = {
    "font.family": ["DejaVu Sans"],
    "font.size": 7.5,
    "text.color": INK,
    "axes.labelcolor": INK,
    "axes.labelsize": 7.5,
    "axes.edgecolor": QUIET,
    "axes.linewidth": 0.6,
    "axes.unicode_minus": True,
    "xtick.color": QUIET,
    "ytick.color": QUIET,
    "xtick.labelcolor": INK,
    "ytick.labelcolor": INK,
    "xtick.labelsize": 7.0,
    "ytick.labelsize": 7.0,
    "xtick.major.size": 2.5,
    "ytick.major.size": 2.5,
    "xtick.major.width": 0.6,
    "ytick.major.width": 0.6,
    "hatch.linewidth": 0.5,
    "hatch.color": BAND,
    "path.simplify": True,
    "path.simplify_threshold": 0.2,
    "svg.hashsalt": "horizon-logger",
    "svg.image_inline": True,
    "mathtext.default": "regular",
    "text.usetex": False,
    # A user's text may hold dollar signs: nothing in a picture is markup.
    "text.parse_math": False,
}


@contextmanager
def house_style() -> Iterator[None]:
    """Our settings for whatever is drawn or saved inside, whatever the caller's own are."""
    import matplotlib

    with matplotlib.rc_context():
        matplotlib.rcdefaults()
        matplotlib.rcParams.update(_SETTINGS)
        yield


def new_figure(width_mm: float = WIDTH_MM, height_mm: float = 100.0) -> Figure:
    """A figure of a size on paper; axes are added by `add_axes`.

    Parameters
    ----------
    width_mm, height_mm : float
        [mm]
    """
    from matplotlib.figure import Figure

    figure: Figure = Figure(figsize=(width_mm / 25.4, height_mm / 25.4), facecolor=PAPER)
    return figure


def add_axes(
    figure: Figure,
    left_mm: float = 13.0,
    right_mm: float = 4.0,
    bottom_mm: float = 11.0,
    top_mm: float = 12.0,
) -> Axes:
    """Axes with margins in millimetres and only the two spines that carry a scale.

    Parameters
    ----------
    figure : Figure
    left_mm, right_mm, bottom_mm, top_mm : float
        [mm]
    """
    width, height = (side * 25.4 for side in figure.get_size_inches())
    axes: Axes = figure.add_axes(
        (
            left_mm / width,
            bottom_mm / height,
            1 - (left_mm + right_mm) / width,
            1 - (bottom_mm + top_mm) / height,
        )
    )
    axes.spines[["top", "right"]].set_visible(False)
    axes.set_axisbelow(True)
    return axes


def azimuth_axis(axes: Axes, middle_deg: float) -> None:
    """Full circle with one azimuth in the middle, ticks every 45 degrees by name and number."""
    ticks = np.arange(-180, 181, 45)
    axes.set_xlim(-180, 180)
    axes.set_xticks(ticks)
    azimuths = [round(float(wrap360(t + middle_deg))) for t in ticks]
    axes.set_xticklabels([f"{_COMPASS[a]}\n{a}" for a in azimuths])
    axes.set_xticks(np.arange(-180, 181, 15), minor=True)
    axes.tick_params(axis="x", which="minor", length=1.5, width=0.5)
    axes.set_xlabel("azimuth, clockwise from true north [°]", labelpad=1)


def subtitle(axes: Axes, text: str) -> None:
    """What one of several axes in a picture shows, flush left above it."""
    axes.annotate(text, (0, 1), xytext=(0, 4), xycoords="axes fraction", textcoords="offset points")


def title(axes: Axes, text: str, note: str = "", name: str = "", lift_pt: float = 6.0) -> None:
    """What the picture shows, flush left above it, and a quieter line of explanation below that.

    Parameters
    ----------
    axes : Axes
    text, note : str
    name : str
        Of the point; cut where it is too long for the line.
    lift_pt : float
        Above the axes. [pt]
    """
    for line, height, how in (
        (f"{text} – {shorten(name, 48)}" if name else text, lift_pt + (10.5 if note else 0), _HEAD),
        (note, lift_pt, {"color": QUIET}),
    ):
        axes.annotate(
            line,
            (0, 1),
            xytext=(0, height),
            xycoords="axes fraction",
            textcoords="offset points",
            va="bottom",
            **how,
        )


_HEAD: Any = {"fontsize": 8.5, "fontweight": "bold"}


def save(figure: Figure, path: Path | str, dots_per_inch: float = 200.0) -> Path:
    """Write a picture as SVG or PNG, by its suffix; the same figure gives the same bytes.

    Text in an SVG stays text, set in DejaVu Sans.

    Parameters
    ----------
    figure : Figure
    path : Path or str
        Ends in ``.svg`` or ``.png``.
    dots_per_inch : float
        Of a PNG. [1/inch]

    Raises
    ------
    ValueError
        Another suffix.
    """
    import matplotlib

    path = Path(path)
    with house_style():
        if path.suffix == ".svg":
            from matplotlib.backends.backend_svg import FigureCanvasSVG

            matplotlib.rcParams["svg.fonttype"] = "none"
            nothing = dict.fromkeys(("Creator", "Date", "Format", "Type"))
            with path.open("w", encoding="utf-8", newline="\n") as out:
                svg: Any = FigureCanvasSVG(figure)
                svg.print_svg(out, metadata=nothing)
        elif path.suffix == ".png":
            from matplotlib.backends.backend_agg import FigureCanvasAgg

            figure.set_dpi(dots_per_inch)
            png: Any = FigureCanvasAgg(figure)
            png.print_png(path, metadata={"Software": None})
        else:
            raise ValueError(f"pictures are saved as .svg or .png, not {path.suffix!r}")
    return path
