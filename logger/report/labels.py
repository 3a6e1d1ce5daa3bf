"""Labels that keep out of each other's way."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, NamedTuple

from logger.report import style

if TYPE_CHECKING:
    from matplotlib.axes import Axes

_WIDTH_EM = 0.62
_HEIGHT_EM = 1.35


class Box(NamedTuple):
    """Room for a label, in data coordinates."""

    left: float
    right: float
    low: float
    high: float


class Labels:
    """Places labels on axes of fixed limits and remembers the room they take.

    Sizes come from the number of characters (a mean DejaVu Sans character is 0.6 em wide), so
    that nothing need be rendered to place a label.
    """

    def __init__(self, axes: Axes, size: float = 7.0) -> None:
        self.axes = axes
        self.size = size
        figure: Any = axes.figure
        points = figure.dpi / 72
        self.left, self.right = axes.get_xlim()
        self.low, self.high = axes.get_ylim()
        self.per_point_x = (self.right - self.left) / axes.bbox.width * points
        self.per_point_y = (self.high - self.low) / axes.bbox.height * points
        self.taken: list[Box] = []

    def place(self, text: str, x: float, y: float, upward: bool = False) -> Box:
        """Room around a position, or just above it; pushed inside the axes sideways."""
        half = (_WIDTH_EM / 2 * len(text) + 0.2) * self.size * self.per_point_x
        tall = _HEIGHT_EM * self.size * self.per_point_y
        x = min(max(x, self.left + half), self.right - half)
        low = y + 0.35 * tall if upward else y - tall / 2
        return Box(x - half, x + half, low, low + tall)

    def is_free(self, box: Box) -> bool:
        """Whether no label drawn so far touches the room."""
        return not any(_overlap(box, t) for t in self.taken)

    def free_above(self, box: Box) -> Box:
        """The lowest free room above, moved aside by up to half its width where that helps.

        The room itself where the axes have none.
        """
        width = box.right - box.left
        found = []
        for aside in (0.0, -0.3, 0.3, -0.5, 0.5):
            left = min(max(box.left + aside * width, self.left), self.right - width)
            raised = self._raised(Box(left, left + width, box.low, box.high))
            if raised is not None:
                found.append(raised)
        return min(found, key=lambda room: room.low, default=box)

    def _raised(self, box: Box) -> Box | None:
        tall = box.high - box.low
        while box.high <= self.high:
            blocking = [t.high for t in self.taken if _overlap(box, t)]
            if not blocking:
                return box
            low = max(blocking) + 0.05 * tall
            box = Box(box.left, box.right, low, low + tall)
        return None

    def draw(self, text: str, box: Box, **how: Any) -> None:
        """Write a label into its room."""
        self.taken.append(box)
        x, y = (box.left + box.right) / 2, (box.low + box.high) / 2
        style.write(self.axes, text, x, y, ha="center", va="center", size_pt=self.size, **how)

    def put(self, text: str, x: float, y: float, right_pt: float, up_pt: float, **how: Any) -> None:
        """Write a label at a distance from a position, unless another is there already."""
        box = self.place(text, x + right_pt * self.per_point_x, y + up_pt * self.per_point_y)
        if self.is_free(box):
            self.draw(text, box, **how)


def _overlap(a: Box, b: Box) -> bool:
    return a.left < b.right and b.left < a.right and a.low < b.high and b.low < a.high
