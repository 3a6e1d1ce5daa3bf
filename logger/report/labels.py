"""Labels that keep out of each other's way."""

from __future__ import annotations

from typing import Any, NamedTuple

from logger.report.drawing import Panel, width_em
from logger.report.style import write

_HEIGHT_EM = 1.35
_MARGIN_EM = 0.3


class Box(NamedTuple):
    """Room for a label, in data coordinates."""

    left: float
    right: float
    low: float
    high: float


class Labels:
    """Places labels on a panel and remembers the room they take.

    Parameters
    ----------
    panel : Panel
        Its limits as they will be drawn.
    size_pt : float
        Of the type. [pt]
    """

    def __init__(self, panel: Panel, size_pt: float = 7.0) -> None:
        self.panel = panel
        self.size_pt = size_pt
        self.left, self.right = panel.x_limits
        self.low, self.high = panel.y_limits
        self.per_point_x = (self.right - self.left) / panel.width_pt
        self.per_point_y = (self.high - self.low) / panel.height_pt
        self.taken: list[Box] = []

    def place(self, text: str, x: float, y: float, upward: bool = False) -> Box:
        """Room around a position, or just above it; pushed inside the panel sideways."""
        half = (width_em(text) / 2 + _MARGIN_EM) * self.size_pt * self.per_point_x
        tall = _HEIGHT_EM * self.size_pt * self.per_point_y
        x = min(max(x, self.left + half), self.right - half)
        low = y + 0.35 * tall if upward else y - tall / 2
        return Box(x - half, x + half, low, low + tall)

    def keep_free(self, x: float, y: float, size_pt: float) -> None:
        """No label may stand on a mark of a size. [pt]"""
        half_x, half_y = size_pt / 2 * self.per_point_x, size_pt / 2 * self.per_point_y
        self.taken.append(Box(x - half_x, x + half_x, y - half_y, y + half_y))

    def is_free(self, box: Box) -> bool:
        """Whether no label drawn so far touches the room."""
        return not any(_overlap(box, t) for t in self.taken)

    def free_above(self, box: Box) -> Box:
        """The lowest free room above, moved aside by up to half its width where that helps.

        The room itself where the panel has none.
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
        """Write a label into its room; ``how`` are further fields of `Words`."""
        self.taken.append(box)
        x, y = (box.left + box.right) / 2, (box.low + box.high) / 2
        look: Any = {"across": "middle", "upright": "middle", "size_pt": self.size_pt, "order": 8.0}
        write(self.panel, text, x, y, **(look | how))

    def put(self, text: str, x: float, y: float, right_pt: float, up_pt: float, **how: Any) -> None:
        """Write a label at a distance from a position, unless another is there already.

        Parameters
        ----------
        text : str
        x, y : float
            In data coordinates.
        right_pt, up_pt : float
            [pt]
        **how
            Further fields of `Words`.
        """
        box = self.place(text, x + right_pt * self.per_point_x, y + up_pt * self.per_point_y)
        if self.is_free(box):
            self.draw(text, box, **how)


def _overlap(a: Box, b: Box) -> bool:
    return a.left < b.right and b.left < a.right and a.low < b.high and b.low < a.high
