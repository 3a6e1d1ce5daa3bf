"""How every picture looks, and how it is saved: one palette, one typeface, no surprises.

The palette keeps its order in grey (ink, skyline, sun, sky, paper go from dark to light) and for
the common forms of colour blindness: blue against orange, never red against green; what matters
also differs by line, hatch or label. Figures are made with matplotlib's object interface.
"""

from __future__ import annotations

import io
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from threading import RLock
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import ArrayLike

from logger.arrays import Floats
from logger.geometry import wrap360
from logger.report.tables import MONTHS as MONTHS
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

_COMPASS = {0: "N", 45: "NE", 90: "E", 135: "SE", 180: "S", 225: "SW", 270: "W", 315: "NW"}

FAMILY = "DejaVu Sans"

WIDTH_MM = 174.0
"""Width of a picture that fills the text column of the document. [mm]"""

_SETTINGS: Any = {
    "font.family": [FAMILY],
    "font.size": 7.5,
    "text.color": INK,
    "axes.unicode_minus": True,
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


_INSIDE = RLock()


@contextmanager
def house_style() -> Iterator[None]:
    """Our settings for whatever is drawn or saved inside, whatever the caller's own are.

    Settings are the whole process's: one thread at a time is inside.
    """
    import matplotlib

    with _INSIDE:
        if matplotlib.rcParams["svg.hashsalt"] == _SETTINGS["svg.hashsalt"]:
            yield  # already inside: to enter costs as much as to draw a small chart
            return
        with matplotlib.rc_context():
            matplotlib.rcdefaults()
            matplotlib.rcParams.update(_SETTINGS)
            yield


def load() -> None:
    """Load what pictures and the document are made with; it takes a while, once."""
    import typst  # noqa: F401
    from matplotlib.backends import backend_svg  # noqa: F401
    from matplotlib.figure import Figure  # noqa: F401
    from matplotlib.font_manager import findfont

    findfont(FAMILY)


def new_figure(width_mm: float = WIDTH_MM, height_mm: float = 100.0) -> Figure:
    """A figure of a size on paper; axes are added by `add_axes`."""
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
    """Bare axes with margins in millimetres; `scale_x` and `scale_y` draw what they need.

    matplotlib's own axis makes three lines and two texts a tick, which would take most of the
    time of a report.
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
    axes.set_axis_off()
    return axes


def write(
    axes: Axes,
    text: str,
    x: float,
    y: float,
    right_pt: float = 0.0,
    up_pt: float = 0.0,
    coordinates: str = "data",
    *,
    colour: str = INK,
    backed: bool = False,
    **how: Any,
) -> None:
    """Text at a distance from a position; see `Word`."""
    from logger.report.lettering import Word, lettering

    backing = PAPER if backed else ""
    word = Word(text, x, y, right_pt, up_pt, coordinates, colour=colour, backing=backing, **how)
    lettering(axes).words.append(word)


def lines(
    axes: Axes, segments: Sequence[ArrayLike], colour: str, width_pt: float, **how: Any
) -> None:
    """Several lines of one look as one path; the limits of the axes stay as they are."""
    look: Any = {"facecolor": "none", "edgecolor": colour, "lw": width_pt}
    look |= {"capstyle": "butt", "joinstyle": "round", "zorder": 2}
    _draw_path(axes, [np.asarray(s, dtype=float) for s in segments], False, look | how)


def boxes(axes: Axes, corners: Sequence[tuple[float, float, float, float]], **how: Any) -> None:
    """Rectangles of one look as one path, each given as left, right, low and high."""
    shapes = [np.array([(a, c), (b, c), (b, d), (a, d), (a, c)]) for a, b, c, d in corners]
    _draw_path(axes, shapes, True, how)


def _draw_path(axes: Axes, parts: Sequence[Floats], closed: bool, how: dict[str, Any]) -> None:
    from matplotlib.patches import PathPatch
    from matplotlib.path import Path

    parts = [part for part in parts if len(part)]
    if not parts:
        return
    points = np.concatenate(parts)
    codes = np.full(len(points), Path.LINETO)
    ends = np.cumsum([len(part) for part in parts])
    codes[np.r_[0, ends[:-1]]] = Path.MOVETO
    if closed:
        codes[ends - 1] = Path.CLOSEPOLY
    # add_patch would look for the extent of every part.
    axes.add_artist(PathPatch(Path(points, codes), **how))


def scale_x(
    axes: Axes,
    positions: ArrayLike,
    labels: Sequence[str],
    name: str = "",
    *,
    minor: ArrayLike = (),
    ticks: bool = True,
    grid: bool = False,
    lines_of_labels: int = 1,
) -> None:
    """Tick marks, labels and the name of the horizontal axis, below the axes."""
    across = axes.get_xaxis_transform()
    at = np.asarray(positions, dtype=float)
    if grid:
        lines(axes, [[(v, 0), (v, 1)] for v in at], transform=across, zorder=0.5, **_GRID)
    if ticks:
        how: Any = {"transform": across, "clip_on": False, "ls": "none", "color": QUIET}
        axes.plot(at, np.zeros(at.shape), marker=3, ms=2.5, mew=0.6, **how)
        short = np.asarray(minor, dtype=float)
        axes.plot(short, np.zeros(short.shape), marker=3, ms=1.5, mew=0.5, **how)
        lines(axes, [[(0, 0), (1, 0)]], transform=axes.transAxes, clip_on=False, **_SPINE)
    for value, label in zip(at, labels, strict=True):
        write(axes, label, float(value), 0, 0, -4, "x", ha="center", va="top", size_pt=_TICK_PT)
    if name:
        write(axes, name, 0.5, 0, 0, -4.0 - 9.3 * lines_of_labels, "axes", ha="center", va="top")


def scale_y(
    axes: Axes,
    positions: ArrayLike,
    labels: Sequence[str],
    name: str = "",
    *,
    ticks: bool = True,
    grid: bool = False,
) -> None:
    """Tick marks, labels and the name of the vertical axis, left of the axes."""
    from matplotlib.transforms import ScaledTranslation

    across = axes.get_yaxis_transform()
    at = np.asarray(positions, dtype=float)
    if grid:
        lines(axes, [[(0, v), (1, v)] for v in at], transform=across, zorder=0.5, **_GRID)
    if ticks:
        how: Any = {"transform": across, "clip_on": False, "ls": "none", "color": QUIET}
        axes.plot(np.zeros(at.shape), at, marker=0, ms=2.5, mew=0.6, **how)
        lines(axes, [[(0, 0), (0, 1)]], transform=axes.transAxes, clip_on=False, **_SPINE)
    for value, label in zip(at, labels, strict=True):
        how = {"ha": "right", "va": "center_baseline", "size_pt": _TICK_PT}
        write(axes, label, 0, float(value), -4.5, 0, "y", **how)
    if name:
        figure: Any = axes.figure
        aside = ScaledTranslation(-21 / 72, 0, figure.dpi_scale_trans)
        turned: Any = {"ha": "right", "va": "center", "rotation": 90}
        axes.text(0, 0.5, name, transform=axes.transAxes + aside, **turned)


def azimuth_axis(axes: Axes, middle_deg: float, name: str) -> None:
    """Full circle with one azimuth in the middle, ticks every 45 degrees by name and number."""
    ticks = np.arange(-180, 181, 45)
    axes.set_xlim(-180, 180)
    azimuths = [round(float(wrap360(t + middle_deg))) for t in ticks]
    labels = [f"{_COMPASS[a]}\n{a}" for a in azimuths]
    scale_x(axes, ticks, labels, name, minor=np.arange(-180, 181, 15), lines_of_labels=2)


def subtitle(axes: Axes, text: str) -> None:
    """What one of several axes in a picture shows, flush left above it."""
    write(axes, text, 0, 1, 0, 4, "axes")


def title(axes: Axes, text: str, note: str = "", name: str = "", lift_pt: float = 6.0) -> None:
    """What the picture shows, flush left above it, and a quieter line of explanation below that."""
    head = f"{text} – {shorten(name, 48)}" if name else text
    up = lift_pt + (10.5 if note else 0)
    write(axes, head, 0, 1, 0, up, "axes", size_pt=8.5, bold=True)
    if note:
        write(axes, note, 0, 1, 0, lift_pt, "axes", colour=QUIET)


_TICK_PT = 7.0
_GRID: Any = {"colour": RULE, "width_pt": 0.4}
_SPINE: Any = {"colour": QUIET, "width_pt": 0.6}


def save(figure: Figure, path: Path | str, dots_per_inch: float = 200.0) -> Path:
    """Write a picture as SVG or PNG, by its suffix; the same figure gives the same bytes.

    Text in an SVG stays text, set in DejaVu Sans.
    """
    path = Path(path)
    if path.suffix == ".svg":
        path.write_bytes(svg(figure))
    elif path.suffix == ".png":
        from matplotlib.backends.backend_agg import FigureCanvasAgg

        with house_style():
            figure.set_dpi(dots_per_inch)
            png: Any = FigureCanvasAgg(figure)
            png.print_png(path, metadata={"Software": None})
    else:
        raise ValueError(f"pictures are saved as .svg or .png, not {path.suffix!r}")
    return path


def svg(figure: Figure) -> bytes:
    """A picture as SVG; see `save`."""
    import matplotlib
    from matplotlib.backends.backend_svg import FigureCanvasSVG

    out = io.StringIO()
    with house_style():
        matplotlib.rcParams["svg.fonttype"] = "none"
        canvas: Any = FigureCanvasSVG(figure)
        canvas.print_svg(out, metadata=dict.fromkeys(("Creator", "Date", "Format", "Type")))
    return out.getvalue().encode("utf-8")
