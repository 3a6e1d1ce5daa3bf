"""How every picture looks: one palette, one typeface, no surprises.

The palette keeps its order in grey (ink, skyline, sun, sky, paper go from dark to light) and for
the common forms of colour blindness: blue against orange, never red against green; what matters
also differs by line, hatch or label.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import Any

import numpy as np
from numpy.typing import ArrayLike

from logger.angles import wrap360
from logger.report.drawing import Areas, Frame, Lines, Marks, Panel, Sheet, Words, boxes
from logger.report.tables import shorten

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

_COMPASS = {0: "N", 45: "NE", 90: "E", 135: "SE", 180: "S", 225: "SW", 270: "W", 315: "NW"}

WIDTH_MM = 174.0
"""Width of a picture that fills the text column of the document. [mm]"""

SIZE_PT = 7.5
"""Of the type, where nothing else is said. [pt]"""


def new_sheet(height_mm: float = 100.0) -> Sheet:
    """Paper for a picture as wide as the document's text; panels are added by `add_panel`.

    Parameters
    ----------
    height_mm : float
        [mm]
    """
    return Sheet(WIDTH_MM, height_mm, PAPER)


def add_panel(
    sheet: Sheet,
    left_mm: float = 13.0,
    right_mm: float = 4.0,
    bottom_mm: float = 11.0,
    top_mm: float = 12.0,
) -> Panel:
    """A bare panel; `scale_x` and `scale_y` draw what it needs.

    Parameters
    ----------
    sheet : Sheet
    left_mm, right_mm, bottom_mm, top_mm : float
        Its margins. [mm]
    """
    return sheet.panel(left_mm, right_mm, bottom_mm, top_mm)


def write(
    panel: Panel,
    text: str,
    x: float,
    y: float,
    right_pt: float = 0.0,
    up_pt: float = 0.0,
    frame: Frame = "data",
    **how: Any,
) -> None:
    """Text in ink, at a distance from a place.

    Parameters
    ----------
    panel : Panel
    text : str
    x, y : float
    right_pt, up_pt : float
        [pt]
    frame : Frame
        Of x and y.
    **how
        Further fields of `Words`.
    """
    look: Any = {"colour": INK, "size_pt": SIZE_PT} | how
    panel.add(Words(text, float(x), float(y), right_pt, up_pt, frame, **look))


def lines(
    panel: Panel, paths: Iterable[ArrayLike], colour: str, width_pt: float, **how: Any
) -> None:
    """Several lines of one look.

    Parameters
    ----------
    panel : Panel
    paths : iterable of array, each of shape (N, 2)
    colour : str
    width_pt : float
        [pt]
    **how
        Further fields of `Lines`.
    """
    panel.add(
        Lines(tuple(np.asarray(path, dtype=float) for path in paths), colour, width_pt, **how)
    )


def bars(panel: Panel, corners: Iterable[Sequence[float]], **how: Any) -> None:
    """Rectangles of one look, each given as left, right, low and high.

    Parameters
    ----------
    panel : Panel
    corners : iterable of four floats
    **how
        Further fields of `Areas`.
    """
    panel.add(Areas(boxes(corners), **how))


def scale_x(
    panel: Panel,
    positions: ArrayLike,
    labels: Sequence[str],
    name: str = "",
    *,
    minor: ArrayLike = (),
    ticks: bool = True,
    grid: bool = False,
    lines_of_labels: int = 1,
) -> None:
    """Tick marks, labels and the name of the horizontal axis, below the panel.

    Parameters
    ----------
    panel : Panel
        With its limits set.
    positions : array_like
        In data coordinates.
    labels : sequence of str
        One a position.
    name : str
        With its unit.
    minor : array_like
        Positions of short marks without a label.
    ticks, grid : bool
        Whether to draw marks, and lines across the panel.
    lines_of_labels : int
        How tall the labels are.
    """
    at = np.asarray(positions, dtype=float)
    if grid:
        lines(panel, [[(v, 0), (v, 1)] for v in at], frame="x", order=0.5, **_GRID)
    if ticks:
        for where, size in ((at, 2.5), (np.asarray(minor, dtype=float), 1.5)):
            places = np.stack([where, np.zeros(where.shape)], axis=1)
            panel.add(Marks(places, "stroke down", size, edge=QUIET, width_pt=0.6, frame="x"))
        lines(panel, [[(0, 0), (1, 0)]], frame="panel", clipped=False, **_SPINE)
    for value, label in zip(at, labels, strict=True):
        how: Any = {"across": "middle", "upright": "top", "size_pt": _TICK_PT}
        write(panel, label, float(value), 0, 0, -4, "x", **how)
    if name:
        up = -4.0 - 9.3 * lines_of_labels
        write(panel, name, 0.5, 0, 0, up, "panel", across="middle", upright="top")


def scale_y(
    panel: Panel,
    positions: ArrayLike,
    labels: Sequence[str],
    name: str = "",
    *,
    ticks: bool = True,
    grid: bool = False,
) -> None:
    """Tick marks, labels and the name of the vertical axis, left of the panel.

    Parameters
    ----------
    panel : Panel
        With its limits set.
    positions : array_like
        In data coordinates.
    labels : sequence of str
        One a position.
    name : str
        With its unit.
    ticks, grid : bool
        Whether to draw marks, and lines across the panel.
    """
    at = np.asarray(positions, dtype=float)
    if grid:
        lines(panel, [[(0, v), (1, v)] for v in at], frame="y", order=0.5, **_GRID)
    if ticks:
        places = np.stack([np.zeros(at.shape), at], axis=1)
        panel.add(Marks(places, "stroke left", 2.5, edge=QUIET, width_pt=0.6, frame="y"))
        lines(panel, [[(0, 0), (0, 1)]], frame="panel", clipped=False, **_SPINE)
    for value, label in zip(at, labels, strict=True):
        how: Any = {"across": "right", "upright": "middle", "size_pt": _TICK_PT}
        write(panel, label, 0, float(value), -4.5, 0, "y", **how)
    if name:
        write(panel, name, 0, 0.5, -21, 0, "panel", across="middle", turned=True)


def azimuth_axis(panel: Panel, middle_deg: float, name: str) -> None:
    """Full circle with one azimuth in the middle, ticks every 45 degrees by name and number.

    Parameters
    ----------
    panel : Panel
    middle_deg : float
        [deg]
    name : str
        With its unit.
    """
    ticks = np.arange(-180, 181, 45)
    panel.x_limits = (-180.0, 180.0)
    azimuths = [round(float(wrap360(t + middle_deg))) for t in ticks]
    labels = [f"{_COMPASS[a]}\n{a}" for a in azimuths]
    scale_x(panel, ticks, labels, name, minor=np.arange(-180, 181, 15), lines_of_labels=2)


def subtitle(panel: Panel, text: str) -> None:
    """What one of several panels in a picture shows, flush left above it."""
    write(panel, text, 0, 1, 0, 4, "panel")


def title(panel: Panel, text: str, note: str = "", name: str = "", lift_pt: float = 6.0) -> None:
    """What the picture shows, flush left above it, and a quieter line of explanation below that.

    Parameters
    ----------
    panel : Panel
    text, note : str
    name : str
        Of the point; cut where it is too long for the line.
    lift_pt : float
        Above the panel. [pt]
    """
    head = f"{text} – {shorten(name, 48)}" if name else text
    up = lift_pt + (10.5 if note else 0)
    write(panel, head, 0, 1, 0, up, "panel", size_pt=8.5, bold=True)
    if note:
        write(panel, note, 0, 1, 0, lift_pt, "panel", colour=QUIET)


_TICK_PT = 7.0
_GRID: Any = {"colour": RULE, "width_pt": 0.4}
_SPINE: Any = {"colour": QUIET, "width_pt": 0.6}
