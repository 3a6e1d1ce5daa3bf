"""Labels that keep out of each other's way, on axes of azimuth and elevation."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.transforms import Bbox

from logger.arrays import Floats, floats
from logger.horizon import HorizonProfile
from logger.report.charts import INK, PAPER

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.text import Text


class Placer:
    """Writes labels over a horizon and remembers the room they take, in pixels."""

    def __init__(self, axes: Axes, profile: HorizonProfile, middle_deg: float) -> None:
        self.middle_deg = middle_deg
        self._axes = axes
        figure: Any = axes.figure
        canvas: Any = FigureCanvasAgg(figure)
        self._renderer = canvas.get_renderer()
        self._point = figure.dpi / 72  # [pixels]
        across = np.linspace(-180.0, 180.0, 1441)
        bottom = axes.get_ylim()[0]
        height = np.nan_to_num(profile.elevation_at(across + middle_deg, np.nan), nan=bottom)
        self._x, self._top = axes.transData.transform(np.stack([across, height], axis=1)).T
        self._taken: list[Bbox] = []

    def on_path(self, text: str, x: Floats, y: Floats, **look: Any) -> None:
        """Write on one of some places: free, little over the horizon, and early in their order."""
        label = self._axes.text(0, 0, text, ha="center", va="center", **look)
        rooms = [self._around(label, a, b) for a, b in zip(x, y, strict=True)]
        hidden = [np.clip((self._tops(r) - r.y0) / r.height, 0.0, 1.0).mean() for r in rooms]
        worse = [share + k / len(rooms) / 4 for k, share in enumerate(hidden)]
        best = min(range(len(rooms)), key=lambda k: (not self._free(rooms[k]), worse[k]))
        label.set_position((float(x[best]), float(y[best])))
        self._taken.append(rooms[best])

    def beside(
        self, text: str, x: float, y: float, right_pt: float, up_pt: float, **look: Any
    ) -> None:
        """Write at a distance from a place, unless something stands there or the horizon does."""
        how: Any = {"textcoords": "offset points", "ha": "center", "va": "center"}
        label = self._axes.annotate(text, (x, y), (right_pt, up_pt), **how, **look)
        room = label.get_window_extent(self._renderer)
        if self._free(room) and self._tops(room).max() <= room.y0:
            self._taken.append(room)
        else:
            label.remove()

    def name(self, text: str, x: float, span_deg: float) -> None:
        """Write a name on the dark of the horizon where it fits there, else above on a stem."""
        axes, pixels = self._axes, self._axes.transData
        bottom = axes.get_ylim()[0]
        label = axes.text(x, bottom, text, ha="center", va="bottom", color=PAPER, zorder=7)
        inside = self._inside(label, x, bottom)
        width_deg = inside.width * np.ptp(axes.get_xlim()) / axes.bbox.width
        is_dark = span_deg >= width_deg and self._tops(inside).min() >= inside.y1
        if is_dark and self._free(inside):
            middle = pixels.inverted().transform((inside.x0 + inside.width / 2, 0))[0]
            label.set_position((float(middle), bottom))
            self._taken.append(inside)
            return
        label.remove()
        room = self._raised(inside)
        if room is None:
            return
        foot_px = pixels.transform((x, bottom))
        foot_px[1] = max(foot_px[1], np.interp(foot_px[0], self._x, self._top))
        foot, head = pixels.inverted().transform((foot_px, (room.x0 + room.width / 2, room.y0)))
        axes.annotate(
            text, foot, head, ha="center", va="bottom", color=INK, zorder=8,
            arrowprops={"arrowstyle": "-", "lw": 0.6, "color": INK, "shrinkA": 0, "shrinkB": 0},
            bbox={"facecolor": PAPER, "lw": 0, "pad": 0.6, "alpha": 0.92},
        )  # fmt: skip
        ends = sorted((foot_px[0], room.x0 + room.width / 2))
        stem = Bbox.from_extents(ends[0], foot_px[1], ends[1], room.y0)
        self._taken += [room, stem.padded(self._point)]

    def _around(self, label: Text, x: float, y: float) -> Bbox:
        size = label.get_window_extent(self._renderer)
        px, py = self._axes.transData.transform((x, y))
        half = size.width / 2, size.height / 2
        return Bbox.from_extents(px - half[0], py - half[1], px + half[0], py + half[1])

    def _inside(self, label: Text, x: float, bottom: float) -> Bbox:
        """Room of a label at the foot of the axes, pushed inside sideways."""
        size = label.get_window_extent(self._renderer)
        px, py = self._axes.transData.transform((x, bottom))
        ends = self._axes.bbox
        left = min(max(px - size.width / 2, ends.x0 + 1), ends.x1 - size.width - 1)
        low = py + 2 * self._point
        return Bbox.from_extents(left, low, left + size.width, low + size.height)

    def _raised(self, room: Bbox) -> Bbox | None:
        """The lowest free room above the horizon, moved aside a little where that helps."""
        found = []
        for aside in (0.0, -0.3, 0.3, -0.5, 0.5):
            low = self._tops(room).max() + 4 * self._point
            moved = room.translated(aside * room.width, low - room.y0)
            while moved.y1 <= self._axes.bbox.y1 and not self._free(moved):
                moved = moved.translated(0, self._point)
            if self._free(moved):
                found.append(moved)
        return min(found, key=lambda box: box.y0, default=None)

    def _free(self, room: Bbox) -> bool:
        ends = self._axes.bbox
        within = (
            room.x0 >= ends.x0 and room.x1 <= ends.x1 and ends.y0 <= room.y0 and room.y1 <= ends.y1
        )
        beside = room.padded(2 * self._point, self._point)
        return bool(within and not any(beside.overlaps(taken) for taken in self._taken))

    def _tops(self, room: Bbox) -> Floats:
        """The horizon below, behind or above a room, from its left to its right."""
        start, end = np.searchsorted(self._x, (room.x0, room.x1))
        return floats(self._top[max(int(start) - 1, 0) : int(end) + 1])
