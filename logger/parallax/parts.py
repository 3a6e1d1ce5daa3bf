"""What bears one name and yet is several bodies: a row of trees, posts, the wings of a house."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Sequence
from dataclasses import replace
from itertools import pairwise

import numpy as np

from logger.arrays import Floats, Ints
from logger.parallax.swept import CELLS, View

PART = "\n"
"""Between the name of a thing and the number of its part; no name holds one."""

VALLEY_DEG, VALLEY_SHARE = 3.0, 0.6
"""Between two bodies the skyline goes down by so much, and to less than this share of the lower
one's height (common practice, no source)."""

Cuts = Callable[[View, str], list[Ints]]
"""Cells of one view that bear one name, body by body from left to right."""


def name_of(part: str) -> str:
    """What the whole is called that a part belongs to."""
    return part.partition(PART)[0]


def in_parts(views: Sequence[View], name: str, cuts: Cuts) -> list[View] | None:
    """The views with the parts of a name apart, in order; None where points do not show the same.

    Parts are matched by their order: seen from one side a row has the same order everywhere. A
    point that shows another number of them, as one behind the other, tells nothing of them.
    """
    cut = [cuts(view, name) for view in views]
    counts = Counter(len(parts) for parts in cut if parts)
    most = max(counts, key=lambda count: (counts[count], count), default=0)
    if most < 2 or counts[most] < 2:
        return None
    found = []
    for view, parts in zip(views, cut, strict=True):
        names, sigma = ["" if n == name else n for n in view.names], view.sigma_deg.copy()
        for number, cells in enumerate(parts, 1):
            for cell in cells:
                names[cell] = f"{name}{PART}{number}" if len(parts) == most else ""
                sigma[cell] = sigma[cell] if len(parts) == most else np.inf
        found.append(replace(view, names=tuple(names), sigma_deg=sigma))
    return found


def by_valleys(view: View, name: str) -> list[Ints]:
    """Parts with a valley between them; what stands before one body makes none."""
    span, height = _span(view, name)
    if not len(span):
        return []
    own = np.array([view.names[cell] == name for cell in span])
    ends = [0, *_valleys(height, 0), len(span)]
    parts = [span[a:b][own[a:b]] for a, b in pairwise(ends)]
    return [cells for cells in parts if len(cells) > 1]


def at_kink(view: View, name: str) -> list[Ints]:
    """Two parts, parted where the skyline is lowest between its two ends, or else at its step."""
    span, height = _span(view, name)
    if len(span) < 6:
        return [span] if len(span) else []
    drop = _drop(height)
    at = int(np.argmax(drop))
    if drop[at] < VALLEY_DEG / 6:
        at = 2 + int(np.argmax(np.abs(np.diff(height))[2:-2]))
    own = np.array([view.names[cell] == name for cell in span])
    parts = [span[: at + 1][own[: at + 1]], span[at + 1 :][own[at + 1 :]]]
    return [cells for cells in parts if len(cells) > 1]


def _valleys(height: Floats, before: int) -> list[int]:
    """Cells after which another body begins."""
    drop = _drop(height)
    at = int(np.argmax(drop))
    if drop[at] < VALLEY_DEG or height[at] > VALLEY_SHARE * (height[at] + drop[at]):
        return []
    left = _valleys(height[: at + 1], before)
    return [*left, before + at + 1, *_valleys(height[at + 1 :], before + at + 1)]


def _drop(height: Floats) -> Floats:
    """How far each cell lies below the lower of the peaks on both its sides."""
    left = np.maximum.accumulate(height)
    right = np.maximum.accumulate(height[::-1])[::-1]
    return np.minimum(left, right) - height


def _span(view: View, name: str) -> tuple[Ints, Floats]:
    """Cells from the first to the last that bears a name, and how high the skyline is in them."""
    own = np.flatnonzero([n == name for n in view.names])
    if not len(own):
        return own, np.zeros(0)
    gaps = np.diff([*own, own[0] + CELLS])
    widest = int(np.argmax(gaps))
    first = own[(widest + 1) % len(own)]
    span = (first + np.arange(CELLS - gaps[widest] + 1)) % CELLS
    height = view.elevation_deg[span]
    return span, np.where(np.isfinite(view.sigma_deg[span]), height, height.max())
