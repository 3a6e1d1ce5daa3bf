"""A layout: where all named things stand, found one by one and then all together."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from logger.arrays import Bools, Floats, floats
from logger.parallax.fit import (
    LEAST_SCATTER,
    OF_POINT,
    Bundle,
    Thing,
    covariance_of,
    misfit_of,
    prior_of,
    solved,
)
from logger.parallax.parts import at_kink, by_valleys, in_parts, name_of
from logger.parallax.start import UNUSUAL, best_body
from logger.parallax.swept import PositionedPoint, View, far_horizon
from logger.parallax.things import HEIGHTS, Shape

GABLE: tuple[Shape, ...] = ("gable",)
GABLED = ("building", "other")
"""Kinds of things that may have a ridge."""

ROUNDS = 2
"""Of looking for a better body for each thing, all others as found."""


@dataclass(frozen=True, eq=False)
class Layout:
    """A place as it was understood from several points."""

    views: tuple[View, ...]
    things: tuple[Thing, ...]
    vector: Floats  # Of each point `OF_POINT` numbers, then each thing's form
    covariance: Floats
    far_deg: Floats  # Shape (CELLS,)
    far_hidden: Bools  # Where no point saw it. Shape (CELLS,)
    residuals: Floats  # In standard errors. Shape (points, CELLS)
    scatter: dict[str, float]  # Of them under each name, over what was expected
    cost: float

    @property
    def misfit(self) -> dict[str, float]:
        """Names under which much of what was seen is not as found: RMS in standard errors."""
        return misfit_of(self.views, self.residuals.ravel())

    @property
    def of_points(self) -> Floats:
        """Turn, lift, east, north and up. Shape (points, OF_POINT)."""
        return floats(self.vector[: len(self.views) * OF_POINT].reshape(-1, OF_POINT))


def layout_of(views: Sequence[View], kinds: Mapping[str, str], *, ridges: bool = False) -> Layout:
    """Find where the named things stand; what may have a ridge is looked for with one at first."""
    for name in kinds:
        views = in_parts(views, name, by_valleys) or views
    eyes = np.stack([view.at_m for view in views])
    still = np.zeros(len(views))
    far, _ = far_horizon(views, still, still)
    things = []
    for name in _parts(views):
        kind = kinds[name_of(name)]
        shapes = GABLE if ridges and kind in GABLED else None
        things.append(best_body(views, name, kind, far, eyes, shapes=shapes))
    return _settled(Bundle(views, things, far))


def settled(layout: Layout, points: Sequence[PositionedPoint]) -> Layout:
    """The things of a layout settled anew, with points as they are told here."""
    return _settled(_bundle_with(layout, points))


def cost_with(layout: Layout, points: Sequence[PositionedPoint]) -> float:
    """What a layout costs with points as they are told here, its things moved to suit."""
    bundle = _bundle_with(layout, points)
    return solved(bundle, bundle.start())[1]


def _bundle_with(layout: Layout, points: Sequence[PositionedPoint]) -> Bundle:
    views = [replace(view, point=point) for view, point in zip(layout.views, points, strict=True)]
    return Bundle(views, layout.things, layout.far_deg)


def _settled(bundle: Bundle) -> Layout:
    """A layout from where things are thought to stand."""
    x, cost = solved(bundle, bundle.start())
    for _ in range(ROUNDS):
        bundle, x, found = _again(bundle, x)
        if found > 0.9 * cost:
            break
        cost = found
    before = bundle
    bundle, x = _reformed(bundle, x)
    if bundle is not before:
        bundle, x, _ = _again(bundle, x)
    of_points = bundle.of_points(x)
    far, hidden = far_horizon(bundle.views, of_points[:, 0], of_points[:, 1])
    bundle = Bundle(bundle.views, bundle.placed(x), far)
    x, cost = solved(bundle, x, 10)
    covariance, scatter = covariance_of(bundle, x)
    cells = bundle.residuals(x)[: bundle.height.size].reshape(bundle.height.shape)
    return Layout(
        bundle.views, tuple(bundle.placed(x)), x, covariance, far, hidden, cells, scatter, cost
    )


def _again(bundle: Bundle, x: Floats) -> tuple[Bundle, Floats, float]:
    """Each thing once more, all others as found; then all together."""
    of_points, views = bundle.of_points(x), bundle.views
    far, _ = far_horizon(views, of_points[:, 0], of_points[:, 1])
    bundle = Bundle(views, bundle.placed(x), far)
    again: list[Thing] = []
    for i, thing in enumerate(bundle.things):
        background = np.delete(bundle.shown(x), i + 1, axis=0).max(axis=0)
        at = bundle.eyes + of_points[:, 2:]
        again.append(best_body(views, thing.name, thing.kind, background, at, thing))
        bundle = Bundle(views, [*again, *bundle.things[i + 1 :]], far)
        x = np.concatenate([of_points.ravel(), bundle.start()[of_points.size :]])
    return bundle, *solved(bundle, x)


def _parts(views: Sequence[View]) -> list[str]:
    """Names of all parts, in the order in which they are first seen."""
    return list(dict.fromkeys(name for view in views for name in view.names if name))


def _reformed(bundle: Bundle, x: Floats) -> tuple[Bundle, Floats]:
    """A gable, or two bodies, under each name that is no plain body, where that fits better."""
    cost = bundle.cost(x)
    for name in bundle.misfit(x):
        if sum(name_of(thing.name) == name for thing in bundle.things) != 1:
            continue
        of_points, placed = bundle.of_points(x), bundle.placed(x)
        kept = [i for i, thing in enumerate(placed) if thing.name != name]
        kind = next(thing.kind for thing in placed if thing.name == name)
        background = bundle.shown(x)[[0, *(i + 1 for i in kept)]].max(axis=0)
        at = bundle.eyes + of_points[:, 2:]
        parted = in_parts(bundle.views, name, at_kink)
        for views, shapes in ((bundle.views if kind in GABLED else None, GABLE), (parted, None)):
            if views is None or name not in bundle.misfit(x):
                continue
            parts = [part for part in _parts(views) if name_of(part) == name]
            more = [best_body(views, part, kind, background, at, shapes=shapes) for part in parts]
            again = Bundle(views, [*(placed[i] for i in kept), *more], bundle.far_deg)
            start = np.concatenate([of_points.ravel(), again.start()[of_points.size :]])
            y, found = solved(again, start)
            if found + UNUSUAL < cost:
                bundle, x, cost = again, y, found
    return bundle, x


WITHIN = 6.0
"""Half the chi-square by which a drawn form may fit worse, its 95 % for some six numbers."""

SHRINKS = (1.0, 0.5, 0.25, 0.12)


def drawn_layouts(layout: Layout, m: int, rng: np.random.Generator) -> Floats:
    """Layouts as they may be, one a row; none of them contradicts what was swept.

    They are drawn from the covariance; where the way from the layout is not straight, a thing's
    draw is brought nearer until what it would show fits.
    """
    values, vectors = np.linalg.eigh(layout.covariance)
    root = vectors * np.sqrt(np.maximum(values, 0.0))
    away = rng.standard_normal((m, len(values))) @ root.T
    if len(layout.views) < 2:
        # From one point alone nothing contradicts another distance.
        return floats(layout.vector + away)
    bundle = Bundle(layout.views, layout.things, layout.far_deg)
    x = layout.vector
    gauge = away[:, : layout.of_points.size].reshape(m, -1, OF_POINT).mean(axis=1)
    for i, (thing, part) in enumerate(zip(layout.things, bundle.parts, strict=True)):
        waiting = np.arange(m)
        for share in (*SHRINKS, 0.0):
            away[waiting, part] *= 1.0 if share == 1.0 else 0.5 if share else 0.0
            forms = x[part] + away[waiting][:, part]
            common = gauge[waiting]
            seen = _as_points_stand(thing, forms, common)
            scatter = layout.scatter.get(name_of(thing.name), LEAST_SCATTER)
            worse = bundle.worse_by(x, i, seen, common[:, 2:]) / scatter
            held = np.stack([prior_of(thing, form) for form in forms])
            worse = worse + 0.5 * ((held**2).sum(axis=1) - (prior_of(thing, x[part]) ** 2).sum())
            waiting = waiting[worse > WITHIN]
            if not len(waiting):
                break
    return floats(x + away)


def _as_points_stand(thing: Thing, forms: Floats, gauge_deg: Floats) -> Floats:
    """Forms as they would be without the turn and lift that all points have in common."""
    seen = forms.copy()
    height = HEIGHTS[thing.shape]
    seen[:, 0] += gauge_deg[:, 0]
    seen[:, height] += (1.0 + seen[:, height] ** 2) * np.radians(gauge_deg[:, 1])
    return seen
