"""A first guess of each thing by itself: which body, how far away."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from logger.arrays import Floats, Ints, floats
from logger.geometry import angle_between
from logger.parallax.fit import Thing, moved_forms, prior_of, robust_cost, solved, tops_of
from logger.parallax.swept import AZIMUTHS, CELLS, View
from logger.parallax.things import Shape

DISTANCES_M = (2.5, 4.0, 6.0, 8.0, 10.0, 13.0, 17.0, 22.0, 30.0, 45.0, 80.0)

SHAPES_OF: dict[str, tuple[Shape, ...]] = {
    "building": ("box", "pole"),
    "deciduous": ("crown", "box"),
    "evergreen": ("crown", "box"),
    "pole or wire": ("pole", "box"),
}
ALL_SHAPES: tuple[Shape, ...] = ("box", "crown", "pole")

UNUSUAL = 15.0
"""Half the chi-square by which another body than its kind's usual one must be better."""

FACES = (-60.0, -30.0, 0.0, 30.0, 60.0)
"""Azimuths that a box's front may face, from the line of sight. [deg]"""

STARTS = {"box": 1 + len(FACES), "gable": 2 * (1 + len(FACES))}
"""At each distance, where more than one."""

EAVES, PITCH = 0.6, (-1.0,)
"""Of a gable to start from: height of its walls over that of its ridge; the rise as in its form."""

LOOKS, REFINED = 3, 2
"""Steps from the best start at each distance, and how many of these are followed further."""


class Alone:
    """One thing before a background, held against what was swept.

    Held by its name alone, it must only not stand out in cells that do not bear it.
    """

    def __init__(
        self, views: Sequence[View], thing: Thing, background_deg: Floats, eyes_m: Floats,
        *, named: bool,
    ) -> None:  # fmt: skip
        self.thing, self._background_deg, self._eyes = thing, background_deg, eyes_m
        self._named = named
        self._own = np.stack([[n == thing.name for n in v.names] for v in views])
        self._height = np.stack([v.elevation_deg for v in views])
        self._weight = np.stack([1.0 / v.sigma_deg for v in views])

    def _cells(self, forms: Floats) -> Floats:
        tops = tops_of(self.thing, forms, self._eyes, sunk=self._named)
        before = np.maximum(tops, self._background_deg)
        if self._named:
            # Under its name it is seen: were it lower than what is behind, it would have to rise.
            shown = np.where(self._own, tops, np.maximum(before, self._height))
        else:
            shown = before
        return floats(((shown - self._height) * self._weight).reshape(len(forms), -1))

    def costs(self, forms: Floats) -> Floats:
        """Of many forms. Shape (n,)"""
        priors = np.stack([prior_of(self.thing, form) for form in forms])
        return floats(robust_cost(np.hstack([self._cells(forms), priors])))

    def residuals(self, form: Floats) -> Floats:
        """In standard errors."""
        return floats(np.concatenate([self._cells(form[None])[0], prior_of(self.thing, form)]))

    def jacobian(self, form: Floats) -> Floats:
        """By finite differences."""
        forms, steps = moved_forms(self.thing, form)
        cells = self._cells(forms)
        slopes = (cells[1:] - cells[0]) / steps[:, None]
        priors = [(prior_of(self.thing, f) - prior_of(self.thing, form)) / s
                  for f, s in zip(forms[1:], steps, strict=True)]  # fmt: skip
        return floats(np.hstack([slopes, np.stack(priors)]).T)


def best_body(
    views: Sequence[View],
    name: str,
    kind: str,
    background_deg: Floats,
    eyes_m: Floats,
    before: Thing | None = None,
    shapes: tuple[Shape, ...] | None = None,
) -> Thing:
    """The body that agrees best with what all points saw under a name.

    With the one found `before`, and all others as background, it answers for every cell.
    """
    shapes = shapes or SHAPES_OF.get(kind, ALL_SHAPES)
    usual = shapes[0] if kind in SHAPES_OF else ""
    index = int(np.argmax([sum(n == name for n in view.names) for view in views]))

    best: tuple[float, Thing] | None = None

    def of(shape: Shape, starts: Floats, from_m: Floats, a_distance: int = 1) -> None:
        nonlocal best
        alone = Alone(views, Thing(name, kind, shape, starts[0], from_m), background_deg, eyes_m,
                      named=before is None)  # fmt: skip
        costs = alone.costs(starts).reshape(-1, a_distance)
        at = np.argmin(costs, axis=1) + np.arange(len(costs)) * a_distance
        tried = sorted((solved(alone, starts[k], LOOKS)[::-1] for k in at), key=lambda one: one[0])
        for _, start in tried[:REFINED]:
            form, cost = solved(alone, start, 12)
            # A number more must earn its place.
            cost += len(form) + (0.0 if shape == usual else UNUSUAL)
            if best is None or cost < best[0]:
                best = cost, Thing(name, kind, shape, form, from_m)

    if before is not None:
        of(before.shape, before.form[None], before.from_m)
    for shape in shapes:
        starts = _guesses(views, eyes_m, name, shape, index)
        of(shape, starts, eyes_m[index], STARTS.get(shape, 1))
    assert best is not None
    return best[1]


def _guesses(views: Sequence[View], eyes_m: Floats, name: str, shape: Shape, index: int) -> Floats:
    """Forms to try, over distances and, of a box, over what way it faces."""
    view = views[index]
    own = _cells_of(view, name)
    middle, half = _extent(own)
    half = max(half, 0.25)
    top = float(np.tan(np.radians(max(view.elevation_deg[own].max(), 0.5))))
    side = np.log(np.sin(np.radians(min(half, 75.0))))
    forms: list[list[float]] = []
    crossings = []
    for other, eye in zip(views, eyes_m, strict=True):
        if other is not view and len(cells := _cells_of(other, name)):
            d = crossing_m(eyes_m[index], middle, eye, _extent(cells)[0])
            crossings += [d * f for f in (0.9, 1.0, 1.1)] if 1.0 < d < 300.0 else []
    for distance in (*DISTANCES_M, *crossings):
        log_d = float(np.log(distance))
        if shape == "pole":
            forms.append([middle, log_d, side, top])
        elif shape == "crown":
            forms.append([middle, log_d, side, 0.6 * top, 0.2])
        else:
            told = _facing(AZIMUTHS[own], view.elevation_deg[own])
            faces = (told, *(middle + f for f in FACES))
            walls = [_wall(distance, f, middle - half, middle + half, top) for f in faces]
            if shape == "gable":
                low = [[*w[:5], EAVES * w[5], *PITCH] for w in walls]
                walls = [*low, *(_turned(w) for w in low)]
            forms += walls
    return floats(forms)


def crossing_m(from_m: Floats, azimuth_deg: float, other_m: Floats, other_deg: float) -> float:
    """Distance from one place to where two bearings cross; inf where they do not ahead of both."""
    a, b = np.radians([azimuth_deg, other_deg])
    east, north = (other_m - from_m)[:2]
    turn = np.sin(b - a)
    if abs(turn) < 1e-6:
        return float("inf")
    # Of the triangle of both places and the crossing, by the sine rule.
    here = (np.sin(b) * north - np.cos(b) * east) / turn
    there = (np.sin(a) * north - np.cos(a) * east) / turn
    return float(here) if here > 0 and there > 0 else float("inf")


def _cells_of(view: View, name: str) -> Ints:
    return np.flatnonzero([n == name for n in view.names])


def _extent(cells: Ints) -> tuple[float, float]:
    """Middle and half the width of what is seen under one name. [deg]"""
    a = np.radians(AZIMUTHS[cells])
    middle = float(np.degrees(np.arctan2(np.sin(a).sum(), np.cos(a).sum())))
    turn = angle_between(AZIMUTHS[cells], middle)
    half = float(np.ptp(turn)) / 2 + 180.0 / CELLS
    return middle + float(turn.max() + turn.min()) / 2, half


def _facing(azimuth_deg: Floats, elevation_deg: Floats) -> float:
    """Azimuth from the eye straight on to a wall of one height, from its outline alone.

    ``tan e = (H / d) cos(a - f)`` for a wall at the distance d that one looks straight on in the
    direction f.
    """
    a = np.radians(azimuth_deg)
    away = np.stack([np.cos(a), np.sin(a)], axis=1)
    (north, east), *_ = np.linalg.lstsq(away, np.tan(np.radians(elevation_deg)), rcond=None)
    return float(np.degrees(np.arctan2(east, north)))


def _wall(
    distance_m: float, facing_deg: float, left_deg: float, right_deg: float, top: float
) -> list[float]:
    """A box's form: its front at a distance, from the direction it faces and where it ends."""
    f = np.radians(facing_deg)
    ends = np.tan(np.radians(np.clip([left_deg - facing_deg, right_deg - facing_deg], -80.0, 80.0)))
    low, high = (distance_m * np.sort(ends)).tolist()
    width = max(high - low, 0.1)
    along, away = (low + high) / 2, distance_m
    east = away * np.sin(f) + along * np.cos(f)
    north = away * np.cos(f) - along * np.sin(f)
    d, a = float(np.hypot(east, north)), float(np.degrees(np.arctan2(east, north)))
    return [a, np.log(d), np.log(width / d), np.log(0.6), facing_deg - a, top * distance_m / d]


def _turned(form: list[float]) -> list[float]:
    """A gable on the same walls, its ridge the other way."""
    f, d = np.radians(form[0] + form[4]), np.exp(form[1])
    width, depth = d * np.exp(form[2]), d * np.exp(form[2] + form[3])
    a = np.radians(form[0])
    at = d * floats([np.sin(a), np.cos(a)]) + depth / 2 * floats([np.sin(f), np.cos(f)])
    at -= width / 2 * floats([np.cos(f), -np.sin(f)])
    east, north = at.tolist()
    away, azimuth = float(np.hypot(east, north)), float(np.degrees(np.arctan2(east, north)))
    turn = float(angle_between(np.degrees(f) + 90.0, azimuth))
    size = [float(np.log(depth / away)), float(np.log(width / depth)), turn]
    return [azimuth, float(np.log(away)), *size, form[5] * float(d) / away, *form[6:]]
