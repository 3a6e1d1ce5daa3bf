"""A layout: where all named things stand, found one by one and then all together."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from logger.arrays import Bools, Floats, floats
from logger.parallax.fit import (
    LEAST_SCATTER,
    OF_POINT,
    Bundle,
    Thing,
    covariance_of,
    prior_of,
    solved,
)
from logger.parallax.start import best_body
from logger.parallax.swept import View, far_horizon
from logger.parallax.things import HEIGHTS

MOST_MISFIT = 2.0
"""Of residuals under one name, RMS in standard errors (common practice, no source)."""

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
    scatter: float  # Of them, over what was expected
    cost: float

    @property
    def misfit(self) -> dict[str, float]:
        """Names under which much of what was seen is not as found: RMS in standard errors."""
        found = {}
        for thing in self.things:
            own = np.stack([[n == thing.name for n in view.names] for view in self.views])
            left = self.residuals[own]
            if left.size and (rms := float(np.sqrt((left**2).mean()))) > MOST_MISFIT:
                found[thing.name] = rms
        return found

    @property
    def of_points(self) -> Floats:
        """Turn, lift, east, north and up. Shape (points, OF_POINT)."""
        return floats(self.vector[: len(self.views) * OF_POINT].reshape(-1, OF_POINT))


def layout_of(views: Sequence[View], kinds: Mapping[str, str]) -> Layout:
    """Find where the named things stand."""
    eyes = np.stack([view.at_m for view in views])
    still = np.zeros(len(views))
    far, _ = far_horizon(views, still, still)
    things = [best_body(views, name, kind, far, eyes) for name, kind in kinds.items()]
    bundle = Bundle(views, things, far)
    x, cost = solved(bundle, bundle.start())
    for _ in range(ROUNDS):
        of_points = bundle.of_points(x)
        far, _ = far_horizon(views, of_points[:, 0], of_points[:, 1])
        bundle = Bundle(views, bundle.placed(x), far)
        again = []
        for i, thing in enumerate(bundle.things):
            tops = bundle.shown(x)
            background = np.delete(tops, i + 1, axis=0).max(axis=0)
            at = eyes + of_points[:, 2:]
            again.append(best_body(views, thing.name, thing.kind, background, at, thing))
            bundle = Bundle(views, [*again, *bundle.things[i + 1 :]], far)
            x = np.concatenate([of_points.ravel(), bundle.start()[of_points.size :]])
        x, found = solved(bundle, x)
        if found > 0.9 * cost:
            break
        cost = found
    of_points = bundle.of_points(x)
    far, hidden = far_horizon(views, of_points[:, 0], of_points[:, 1])
    bundle = Bundle(views, bundle.placed(x), far)
    x, cost = solved(bundle, x, 10)
    covariance, scatter = covariance_of(bundle, x)
    cells = bundle.residuals(x)[: bundle.height.size].reshape(bundle.height.shape)
    return Layout(
        bundle.views, tuple(bundle.placed(x)), x, covariance, far, hidden, cells, scatter, cost
    )


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
    x, scale = layout.vector, max(layout.scatter, LEAST_SCATTER)
    gauge = away[:, : layout.of_points.size].reshape(m, -1, OF_POINT).mean(axis=1)
    for i, (thing, part) in enumerate(zip(layout.things, bundle.parts, strict=True)):
        waiting = np.arange(m)
        for share in (*SHRINKS, 0.0):
            away[waiting, part] *= 1.0 if share == 1.0 else 0.5 if share else 0.0
            forms = x[part] + away[waiting][:, part]
            common = gauge[waiting]
            seen = _as_points_stand(thing, forms, common)
            worse = bundle.worse_by(x, i, seen, common[:, 2:]) / scale
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
