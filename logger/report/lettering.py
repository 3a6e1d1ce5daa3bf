"""The words of a picture, all of one axes as one artist.

matplotlib's own text measures itself, lays itself out and keeps dozens of settings each time it is
made and drawn, which takes longer than all else in a chart of many words.
"""

from __future__ import annotations

import warnings
from collections.abc import Iterator
from dataclasses import dataclass
from functools import cache, lru_cache
from typing import TYPE_CHECKING, Any

from matplotlib.artist import Artist
from matplotlib.font_manager import FontProperties
from matplotlib.path import Path
from matplotlib.text import Text
from matplotlib.textpath import text_to_path
from matplotlib.transforms import Affine2D, Bbox, IdentityTransform

from logger.report.style import FAMILY

if TYPE_CHECKING:
    from matplotlib.axes import Axes

BACKING_PT = 0.8
BACKING_OPACITY = 0.92


@dataclass(frozen=True)
class Word:
    """A text at a distance from a position; more than one line where it has line ends."""

    text: str
    x: float
    y: float
    # [pt]
    right_pt: float = 0.0
    up_pt: float = 0.0
    # Of x and y: "data"; "axes", 0 to 1 across and up; "x" or "y", where only that one is data
    coordinates: str = "data"
    ha: str = "left"  # "left", "center" or "right": what of it stands there, across
    # "top", "center", "baseline" of the last line, or "center_baseline": the middle of the
    # first line's letters, without what hangs below them
    va: str = "baseline"
    size_pt: float = 7.5  # [pt]
    colour: str = "black"
    bold: bool = False
    linespacing: float = 1.2
    backing: str = ""  # Colour of the paper behind it; empty for none


@dataclass(frozen=True)
class _Room:
    """Where a word goes, in pixels up from the lower left corner of the picture."""

    x: float
    baselines: tuple[float, ...]
    box: Bbox


class Lettering(Artist):
    """Draws words in the order in which they were added."""

    def __init__(self, axes: Axes) -> None:
        super().__init__()
        self.words: list[Word] = []
        self.set_zorder(8)
        self.set_clip_on(False)
        self._base: dict[str, Any] = {
            "data": axes.transData,
            "axes": axes.transAxes,
            "x": axes.get_xaxis_transform(),
            "y": axes.get_yaxis_transform(),
        }

    def rooms(self, pixels_per_pt: float) -> Iterator[tuple[Word, _Room]]:
        """Each word with the room that it takes."""
        across = {kind: base.transform for kind, base in self._base.items()}
        for word in self.words:
            x, y = across[word.coordinates]((word.x, word.y))
            x += word.right_pt * pixels_per_pt
            y += word.up_pt * pixels_per_pt
            yield word, _room(word, float(x), float(y), pixels_per_pt)

    def get_window_extent(self, renderer: Any = None) -> Bbox:
        """What all of the words take together, in pixels."""
        figure: Any = self.get_figure(root=True)
        scale = figure.dpi / 72 if renderer is None else renderer.points_to_pixels(1.0)
        boxes = [room.box for _, room in self.rooms(scale)]
        return Bbox.union(boxes) if boxes else Bbox.null()

    def draw(self, renderer: Any) -> None:
        """See `matplotlib.artist.Artist.draw`."""
        if not self.get_visible():
            return
        scale = renderer.points_to_pixels(1.0)
        height = renderer.get_canvas_width_height()[1]
        renderer.open_group("lettering", self.get_gid())
        pen, paper = renderer.new_gc(), renderer.new_gc()
        paper.set_linewidth(0)
        paper.set_alpha(BACKING_OPACITY)
        # Tells a renderer that can align words by itself how to.
        anchor: Any = Text(transform=IdentityTransform())
        for word, room in self.rooms(scale):
            if word.backing:
                face = _rgba(word.backing, BACKING_OPACITY)
                around = room.box.padded(BACKING_PT * scale)
                renderer.draw_path(paper, _UNIT, _onto(around), face)
            pen.set_foreground(_rgba(word.colour), isRGBA=True)
            font = _font(word.size_pt, word.bold)
            anchor.set_horizontalalignment(word.ha)
            for line, baseline in zip(word.text.split("\n"), room.baselines, strict=True):
                wide = _width_em(line, word.bold) * word.size_pt * scale
                left = room.x - _BEFORE[word.ha] * wide
                anchor.set_position((room.x, baseline))
                y = height - baseline if renderer.flipy() else baseline
                renderer.draw_text(pen, left, y, line, font, 0, ismath=False, mtext=anchor)
        pen.restore()
        paper.restore()
        renderer.close_group("lettering")
        self.stale = False


def lettering(axes: Axes) -> Lettering:
    """The words of axes; made where they have none yet."""
    for artist in axes.artists:
        if isinstance(artist, Lettering):
            return artist
    made = Lettering(axes)
    axes.add_artist(made)
    return made


_BEFORE = {"left": 0.0, "center": 0.5, "right": 1.0}
"""Share of a line that stands before its position."""
_UNIT = Path.unit_rectangle()


def _room(word: Word, x: float, y: float, scale: float) -> _Room:
    lines = word.text.split("\n")
    size = word.size_pt * scale
    wide = max(_width_em(line, word.bold) for line in lines) * size
    rise, fall = (part * size for part in _rise_and_fall_em(word.bold))
    step = fall + rise * word.linespacing
    tall = rise + fall + step * (len(lines) - 1)
    top = (
        y
        + {
            "top": 0.0,
            "center": tall / 2,
            "center_baseline": rise / 2,
            "baseline": tall - fall,
        }[word.va]
    )
    left = x - _BEFORE[word.ha] * wide
    baselines = tuple(top - rise - step * k for k in range(len(lines)))
    return _Room(x, baselines, Bbox.from_extents(left, top - tall, left + wide, top))


def _onto(box: Bbox) -> Affine2D:
    """From the unit square to a box."""
    return Affine2D().scale(box.width, box.height).translate(box.x0, box.y0)


@cache
def _font(size_pt: float, bold: bool) -> FontProperties:
    return FontProperties(family=[FAMILY], size=size_pt, weight="bold" if bold else "normal")


@cache
def _rgba(colour: str, alpha: float | None = None) -> Any:
    from matplotlib.colors import to_rgba

    return to_rgba(colour, alpha)


_MEASURED_PT = 100.0


@lru_cache(maxsize=4096)
def _width_em(line: str, bold: bool) -> float:
    measured: Any = text_to_path
    with warnings.catch_warnings():
        # Whoever shows the picture may well have a letter that this typeface lacks.
        warnings.filterwarnings("ignore", "Glyph .* missing")
        wide, _, _ = measured.get_text_width_height_descent(line, _font(_MEASURED_PT, bold), False)
    return float(wide) / _MEASURED_PT


@cache
def _rise_and_fall_em(bold: bool) -> tuple[float, float]:
    """Of letters that reach highest and lowest, above and below the line they stand on."""
    measured: Any = text_to_path
    _, tall, fall = measured.get_text_width_height_descent("lp", _font(_MEASURED_PT, bold), False)
    return (tall - fall) / _MEASURED_PT, fall / _MEASURED_PT
