"""Pictures as lists of shapes: a `Sheet` of paper, the `Panel` on it, and their SVG.

A chart of the report is lines, areas, marks and words at places known beforehand. Written out as
they are, they take a tenth of the time that a plotting library needs to be loaded and to lay the
same chart out. A panel's shapes stay readable, so that a test, or a window, can look at them.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field
from html import escape
from typing import Literal, TypeAlias

import numpy as np
from numpy.typing import ArrayLike

from logger.columns import Bools, Floats, floats

POINTS_A_MM = 72 / 25.4

TYPEFACE = "DejaVu Sans"

Frame: TypeAlias = Literal["data", "panel", "x", "y"]
"""What coordinates mean: data; 0 to 1 across and up the panel; or only x, only y in data."""

Mark: TypeAlias = Literal["dot", "diamond", "cross", "stroke down", "stroke left"]


@dataclass(frozen=True, eq=False)
class Lines:
    """Lines of one look.

    Parameters
    ----------
    paths : tuple of array, each of shape (N, 2)
        A NaN breaks a line.
    colour : str
    width_pt : float
        [pt]
    dash_pt : tuple of float
        Lengths drawn and left out in turn; none is a whole line. [pt]
    opacity : float
    order : float
        What has more is drawn over what has less.
    frame : Frame
    clipped : bool
        Not drawn outside the panel.
    round_ends : bool
    """

    paths: tuple[Floats, ...]
    colour: str
    width_pt: float
    dash_pt: tuple[float, ...] = ()
    opacity: float = 1.0
    order: float = 2.0
    frame: Frame = "data"
    clipped: bool = True
    round_ends: bool = False


@dataclass(frozen=True, eq=False)
class Areas:
    """Filled shapes of one look.

    Parameters
    ----------
    outlines : tuple of array, each of shape (N, 2)
        Inside those of an even number is outside: so a shape has holes.
    fill, edge : str
        Colours, or "none".
    width_pt : float
        Of the edge. [pt]
    hatch : str
        A name of `HATCHES`, drawn in the edge's colour, or nothing.
    opacity, order, frame, clipped
        As of `Lines`.
    """

    outlines: tuple[Floats, ...]
    fill: str = "none"
    edge: str = "none"
    width_pt: float = 0.0
    hatch: str = ""
    opacity: float = 1.0
    order: float = 1.0
    frame: Frame = "data"
    clipped: bool = True


@dataclass(frozen=True, eq=False)
class Marks:
    """One sign at many places, never clipped.

    Parameters
    ----------
    places : array, shape (N, 2)
    sign : Mark
    size_pt : float
        Across, or the length of a stroke. [pt]
    fill, edge : str
    width_pt : float
        Of the edge or stroke. [pt]
    order : float
    frame : Frame
    """

    places: Floats
    sign: Mark
    size_pt: float
    fill: str = "none"
    edge: str = "none"
    width_pt: float = 0.0
    order: float = 2.0
    frame: Frame = "data"


@dataclass(frozen=True)
class Words:
    """A text; its lines are parted by line feeds.

    Parameters
    ----------
    text : str
    x, y : float
    right_pt, up_pt : float
        Moved by so much on paper. [pt]
    frame : Frame
    colour : str
    size_pt : float
        [pt]
    across : {"left", "middle", "right"}
        Which part of it stands at x.
    upright : {"base", "middle", "top"}
        Which part of it stands at y.
    bold : bool
    turned : bool
        Reads from below upwards, its right-hand end up; x is then its lower side.
    backing : str
        Colour of the paper behind it, or "none".
    order : float
    leading : float
        From line to line, in sizes of the type.
    """

    text: str
    x: float
    y: float
    right_pt: float = 0.0
    up_pt: float = 0.0
    frame: Frame = "data"
    colour: str = "#000000"
    size_pt: float = 7.5
    across: Literal["left", "middle", "right"] = "left"
    upright: Literal["base", "middle", "top"] = "base"
    bold: bool = False
    turned: bool = False
    backing: str = "none"
    order: float = 3.0
    leading: float = 1.2


Item: TypeAlias = Lines | Areas | Marks | Words


@dataclass(eq=False)
class Panel:
    """A rectangle with its own coordinates, and what is drawn in it.

    Parameters
    ----------
    left_pt, top_pt : float
        Of its corner on the sheet. [pt]
    width_pt, height_pt : float
        [pt]
    x_limits, y_limits : tuple of float
        Data at the left and right, at the bottom and top.
    items : list of Item
    """

    left_pt: float
    top_pt: float
    width_pt: float
    height_pt: float
    x_limits: tuple[float, float] = (0.0, 1.0)
    y_limits: tuple[float, float] = (0.0, 1.0)
    items: list[Item] = field(default_factory=list)

    def add(self, item: Item) -> None:
        """Draw something; an empty shape is nothing."""
        self.items.append(item)

    @property
    def words(self) -> list[Words]:
        """The texts, in the order in which they were added."""
        return [item for item in self.items if isinstance(item, Words)]

    @property
    def lines(self) -> list[Lines]:
        """The lines, likewise."""
        return [item for item in self.items if isinstance(item, Lines)]

    @property
    def areas(self) -> list[Areas]:
        """The areas, likewise."""
        return [item for item in self.items if isinstance(item, Areas)]

    @property
    def marks(self) -> list[Marks]:
        """The marks, likewise."""
        return [item for item in self.items if isinstance(item, Marks)]

    def on_paper(self, places: ArrayLike, frame: Frame = "data") -> Floats:
        """Places on the sheet, from its left upper corner. Shape (N, 2) in and out. [pt]"""
        at = np.asarray(places, dtype=float).reshape(-1, 2)
        x_low, x_high = self.x_limits if frame in ("data", "x") else (0.0, 1.0)
        y_low, y_high = self.y_limits if frame in ("data", "y") else (0.0, 1.0)
        return floats(
            np.stack(
                [
                    self.left_pt + (at[:, 0] - x_low) * (self.width_pt / (x_high - x_low)),
                    self.top_pt + (y_high - at[:, 1]) * (self.height_pt / (y_high - y_low)),
                ],
                axis=1,
            )
        )


@dataclass(eq=False)
class Sheet:
    """A picture.

    Parameters
    ----------
    width_mm, height_mm : float
        [mm]
    paper : str
        Its colour.
    panels : list of Panel
    """

    width_mm: float
    height_mm: float
    paper: str
    panels: list[Panel] = field(default_factory=list)

    def panel(self, left_mm: float, right_mm: float, bottom_mm: float, top_mm: float) -> Panel:
        """A new panel with margins to the edges of the sheet.

        Parameters
        ----------
        left_mm, right_mm, bottom_mm, top_mm : float
            [mm]
        """
        made = Panel(
            left_mm * POINTS_A_MM,
            top_mm * POINTS_A_MM,
            (self.width_mm - left_mm - right_mm) * POINTS_A_MM,
            (self.height_mm - bottom_mm - top_mm) * POINTS_A_MM,
        )
        self.panels.append(made)
        return made

    def svg(self) -> bytes:
        """The picture as SVG; text stays text. The same picture gives the same bytes."""
        width, height = (f"{side * POINTS_A_MM:.2f}" for side in (self.width_mm, self.height_mm))
        hatched = {(a.hatch, a.edge) for p in self.panels for a in p.areas if a.hatch}
        written = [
            f'<svg xmlns="http://www.w3.org/2000/svg" width="{width}pt" height="{height}pt" '
            f'viewBox="0 0 {width} {height}" font-family="{TYPEFACE}">',
            "<defs>",
            *(_hatch(name, colour) for name, colour in sorted(hatched)),
            *(
                f'<clipPath id="panel{k}"><rect x="{p.left_pt:.2f}" y="{p.top_pt:.2f}" '
                f'width="{p.width_pt:.2f}" height="{p.height_pt:.2f}"/></clipPath>'
                for k, p in enumerate(self.panels)
            ),
            "</defs>",
            f'<rect width="{width}" height="{height}" fill="{self.paper}"/>',
        ]
        for k, panel in enumerate(self.panels):
            for item in sorted(panel.items, key=lambda one: one.order):
                written += _written(item, panel, f' clip-path="url(#panel{k})"')
        written.append("</svg>\n")
        return "\n".join(written).encode("utf-8")


HATCHES = {"slanted": ("M0 6L6 0",), "crossed": ("M0 6L6 0", "M0 0L6 6")}
"""Paths in a tile of 6 by 6 pt, by name."""

_HATCH_WIDTH_PT = 0.5


def _hatch(name: str, colour: str) -> str:
    # Each line leaves the tile at its corners, so the neighbours' ends are drawn as well.
    ends = "M-1 1L1 -1M5 7L7 5" + ("M-1 5L1 7M5 -1L7 1" if name == "crossed" else "")
    return (
        f'<pattern id="{_hatch_id(name, colour)}" width="6" height="6" '
        f'patternUnits="userSpaceOnUse"><path d="{"".join(HATCHES[name])}{ends}" fill="none" '
        f'stroke="{colour}" stroke-width="{_HATCH_WIDTH_PT}"/></pattern>'
    )


def _hatch_id(name: str, colour: str) -> str:
    return f"{name}{colour.lstrip('#')}"


def _written(item: Item, panel: Panel, clip: str) -> Iterator[str]:
    match item:
        case Lines():
            yield from _lines(item, panel, clip if item.clipped else "")
        case Areas():
            yield from _areas(item, panel, clip if item.clipped else "")
        case Marks():
            yield from _marks(item, panel)
        case Words():
            yield from _words(item, panel)


def _lines(item: Lines, panel: Panel, clip: str) -> Iterator[str]:
    d = "".join(_path(run) for path in item.paths for run in _runs(panel, path, item.frame))
    if not d:
        return
    dash = " ".join(f"{part:g}" for part in item.dash_pt)
    yield (
        f'<path d="{d}" fill="none" stroke="{item.colour}" stroke-width="{item.width_pt:g}"'
        + (f' stroke-dasharray="{dash}"' if dash else "")
        + (' stroke-linecap="round"' if item.round_ends else "")
        + (f' stroke-opacity="{item.opacity:g}"' if item.opacity < 1 else "")
        + f' stroke-linejoin="round"{clip}/>'
    )


def _areas(item: Areas, panel: Panel, clip: str) -> Iterator[str]:
    d = "".join(_path(panel.on_paper(o, item.frame)) + "Z" for o in item.outlines if len(o) > 2)
    if not d:
        return
    fills = [item.fill] if item.fill != "none" or not item.hatch else []
    if item.hatch:
        fills.append(f"url(#{_hatch_id(item.hatch, item.edge)})")
    edge = f' stroke="{item.edge}" stroke-width="{item.width_pt:g}"' if item.width_pt > 0 else ""
    opacity = f' fill-opacity="{item.opacity:g}"' if item.opacity < 1 else ""
    for fill in fills:
        yield f'<path d="{d}" fill="{fill}" fill-rule="evenodd"{opacity}{edge}{clip}/>'


_SIGNS: dict[Mark, str] = {
    "dot": "M-.5 0A.5 .5 0 1 1 .5 0A.5 .5 0 1 1 -.5 0Z",
    "diamond": "M0 -.707L.707 0L0 .707L-.707 0Z",
    "cross": "M-.5 0L.5 0M0 -.5L0 .5",
    "stroke down": "M0 0L0 1",
    "stroke left": "M0 0L-1 0",
}
"""Paths of a sign of size 1."""


def _marks(item: Marks, panel: Panel) -> Iterator[str]:
    stroke = item.width_pt / item.size_pt
    for x, y in panel.on_paper(item.places, item.frame).tolist():
        if x == x and y == y:
            yield (
                f'<path d="{_SIGNS[item.sign]}" '
                f'transform="translate({x:.2f} {y:.2f}) scale({item.size_pt:g})" '
                f'fill="{item.fill}" stroke="{item.edge}" stroke-width="{stroke:.3g}"/>'
            )


# Of DejaVu Sans, in sizes of the type: its capitals are 0.73 high.
_CAPITALS, _ASCENT, _DESCENT = 0.73, 0.76, 0.24

_BACKING_MARGIN_PT = 0.8


def _words(item: Words, panel: Panel) -> Iterator[str]:
    rows = item.text.translate(_UNPRINTABLE).split("\n")
    ((x, y),) = panel.on_paper([(item.x, item.y)], item.frame).tolist()
    x, y, size = x + item.right_pt, y - item.up_pt, item.size_pt
    step = item.leading * size
    if item.turned:
        x -= _DESCENT * size
    elif item.upright == "top":
        y += _ASCENT * size
    elif item.upright == "middle":
        y += (_CAPITALS * size - step * (len(rows) - 1)) / 2
    if item.backing != "none":
        wide = max(width_em(row, item.bold) for row in rows) * size
        left = x - wide * {"left": 0.0, "middle": 0.5, "right": 1.0}[item.across]
        margin = _BACKING_MARGIN_PT
        high = (_ASCENT + _DESCENT) * size + step * (len(rows) - 1)
        yield (
            f'<rect x="{left - margin:.2f}" y="{y - _ASCENT * size - margin:.2f}" '
            f'width="{wide + 2 * margin:.2f}" height="{high + 2 * margin:.2f}" '
            f'fill="{item.backing}" fill-opacity=".92"/>'
        )
    anchor = {"left": "start", "middle": "middle", "right": "end"}[item.across]
    look = f'font-size="{size:g}" fill="{item.colour}" text-anchor="{anchor}"' + (
        ' font-weight="bold"' if item.bold else ""
    )
    for k, row in enumerate(rows):
        if item.turned:
            place = f'transform="translate({x:.2f} {y:.2f}) rotate(-90)"'
        else:
            place = f'x="{x:.2f}" y="{y + k * step:.2f}"'
        yield f"<text {place} {look}>{escape(row, quote=False)}</text>"


# What XML has no place for.
_UNPRINTABLE = dict.fromkeys([*range(9), 11, 12, *range(14, 32), 0xFFFE, 0xFFFF])


def _runs(panel: Panel, path: Floats, frame: Frame) -> Iterator[Floats]:
    """The parts of a path between its breaks, on paper."""
    at = panel.on_paper(path, frame)
    for part in unbroken(np.isfinite(at[:, 0] + at[:, 1])):
        if part.stop - part.start > 1:
            yield at[part]


def unbroken(known: Bools) -> Iterator[slice]:
    """Where something is true without a break.

    Parameters
    ----------
    known : bool array, shape (N,)
    """
    edges = np.flatnonzero(np.diff(np.concatenate([[False], known, [False]]).astype(np.int8)))
    for start, stop in edges.reshape(-1, 2).tolist():
        yield slice(start, stop)


def _path(at: Floats) -> str:
    return ("M" + "%.2f %.2fL" * len(at))[:-1] % tuple(at.ravel().tolist())


def between(x: Floats, low: ArrayLike, high: ArrayLike) -> tuple[Floats, ...]:
    """Outlines of the area between two curves, one for each stretch where both are known.

    Parameters
    ----------
    x : array, shape (N,)
    low, high : array_like, shape (N,) or ()
    """
    low = np.broadcast_to(np.asarray(low, dtype=float), x.shape)
    high = np.broadcast_to(np.asarray(high, dtype=float), x.shape)
    found = []
    for part in unbroken(np.isfinite(low + high)):
        there = np.stack([x[part], high[part]], axis=1)
        back = np.stack([x[part], low[part]], axis=1)[::-1]
        found.append(floats(np.concatenate([there, back])))
    return tuple(found)


def boxes(corners: Iterable[Sequence[float]]) -> tuple[Floats, ...]:
    """Outlines of rectangles, each given as left, right, low and high."""
    return tuple(floats([(a, c), (b, c), (b, d), (a, d)]) for a, b, c, d in corners)


def width_em(text: str, bold: bool = False) -> float:
    """How wide a line of type is, in sizes of the type.

    Parameters
    ----------
    text : str
    bold : bool
    """
    wide = sum(_WIDTHS.get(character, _OTHER_WIDTH) for character in text) / 1000
    return wide * _BOLD_IS_WIDER if bold else wide


# Advance widths of DejaVu Sans from the space to the tilde, and of our own signs, in thousandths.
_WIDTHS = dict(
    zip(
        map(chr, range(32, 127)),
        (
            318, 401, 460, 838, 636, 950, 780, 275, 390, 390, 500, 838, 318, 361, 318, 337, 636,
            636, 636, 636, 636, 636, 636, 636, 636, 636, 337, 337, 838, 838, 838, 531, 1000, 684,
            686, 698, 770, 632, 575, 775, 752, 295, 295, 656, 557, 863, 748, 787, 603, 787, 695,
            635, 611, 732, 684, 989, 685, 611, 685, 390, 337, 390, 838, 500, 500, 613, 635, 550,
            635, 615, 352, 635, 634, 278, 278, 579, 278, 974, 634, 612, 635, 635, 411, 521, 392,
            634, 592, 818, 592, 592, 525, 636, 337, 636, 838,
        ),
        strict=True,
    ),
    **{"°": 500, "·": 318, "–": 500, "−": 838, "µ": 636, "…": 1000},
)  # fmt: skip
_OTHER_WIDTH = 700
_BOLD_IS_WIDER = 1.12
