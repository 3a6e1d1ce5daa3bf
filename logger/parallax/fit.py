"""Where things stand, from horizons swept at several points.

All bodies are rendered as each point would see them and held against what was swept there, all at
once and robustly: where each stands, how large it is, and of each point by how much its horizon is
turned and lifted and its position off, each held to its known spread. What is seen from two places
then has a distance, near and far things hold the compass, and what does not fit can be named.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import pairwise
from typing import Any

import numpy as np

from logger.arrays import Floats, floats
from logger.parallax.parts import name_of
from logger.parallax.swept import AZIMUTHS, CELLS, EDGE_DEG, View
from logger.parallax.things import Bodies, Shape, bodies_of, seen, skyline

OF_POINT = 5
"""Unknowns of a point: turn, lift [deg], east, north, up [m]."""

LEAST_TURN_DEG, LIFT_ERROR_DEG = 0.1, 0.3
"""How far sweeps of one board on one day differ, 1 sigma (common practice, no source)."""

AWAY = ((0, 1e4, 0.02), (2.5, 1.2, 2e-3))
WALLS, TOP = ((2.0, 0.9, 2e-3), (-0.2, 0.8, 2e-3)), (0.5, 1.0, 2e-3)
PRIOR: dict[Shape, tuple[tuple[float, float, float], ...]] = {
    "box": (*AWAY, *WALLS, (0, 60, 0.1), TOP),
    "gable": (*AWAY, *WALLS, (0, 90, 0.1), TOP, (-1.0, 0.4, 2e-3)),
    "crown": (*AWAY, (0.8, 0.7, 2e-3), (0.4, 1.0, 2e-3), (0.3, 0.5, 2e-3)),
    "pole": (*AWAY, (-1.5, 1.2, 2e-3), TOP),
}
"""What a form is before anything is seen, mean and spread, and a small step of it: things stand 4
to 40 m away, a house is 3 to 18 m wide and about as deep, its ridge rises by a third of its depth,
a crown has a radius of 1 to 4 m, a pole is 0.1 to 1.5 m thick (common practice, no source). The
third number counts as a length in metres, its logarithm, not by distance."""

LEAST_SCATTER = 0.3
"""Of residuals, over what was expected: what cells have in common keeps them small (common
practice, no source)."""

MOST_MISFIT = 2.0
"""Of residuals under one name, RMS in standard errors (common practice, no source)."""

ROBUST = 2.0
"""Residuals beyond so many standard errors count less and less."""


@dataclass(frozen=True, eq=False)
class Thing:
    """A named thing: a body told from one point, see `bodies_of`."""

    name: str
    kind: str
    shape: Shape
    form: Floats
    from_m: Floats

    def bodies(self, forms: Floats | None = None) -> Bodies:
        """It as a body, or as many as rows of forms are given."""
        return bodies_of(self.shape, np.atleast_2d(self.form if forms is None else forms),
                         self.from_m)  # fmt: skip


def tops_of(thing: Thing, forms: Floats, eyes_m: Floats, *, sunk: bool = False) -> Floats:
    """A thing in several forms from several eyes, the same for all forms or for each its own.

    [deg] Shape (forms, eyes, CELLS).

    Where it is not, 0; a `sunk` one that ends below level is told all the same.
    """
    n, k = len(forms), eyes_m.shape[-2]
    eyes = np.broadcast_to(eyes_m, (n, k, 3)).reshape(-1, 3)
    bodies = thing.bodies(np.repeat(forms, k, axis=0))
    elevation, cell, _ = seen(bodies, eyes, AZIMUTHS, EDGE_DEG, sunk=sunk)
    if sunk:
        found = np.zeros((n * k, CELLS))
        found[np.arange(n * k)[:, None], cell] = elevation
        return found.reshape(n, k, CELLS)
    return skyline(elevation, cell, np.zeros((n * k, CELLS))).reshape(n, k, CELLS)


def prior_of(thing: Thing, form: Floats) -> Floats:
    """How far a form is from what is likely, in standard deviations."""
    mean, spread, _ = np.array(PRIOR[thing.shape]).T
    size = np.zeros(len(form))
    size[2] = form[1]
    return floats((form + size - mean) / spread)


def moved_forms(thing: Thing, form: Floats) -> tuple[Floats, Floats]:
    """A form and one with each of its numbers moved by a step; and the steps."""
    steps = np.array(PRIOR[thing.shape])[:, 2]
    return floats(np.vstack([form, form + np.diag(steps)])), floats(steps)


class Bundle:
    """The residuals of all points, and how they move with every unknown."""

    def __init__(self, views: Sequence[View], things: Sequence[Thing], far_deg: Floats) -> None:
        self.views, self.things, self.far_deg = tuple(views), tuple(things), far_deg
        self.spread = np.array([spread_of(view) for view in views])
        self.eyes = np.stack([view.at_m for view in views])
        ends = np.cumsum([0, *(len(t.form) for t in things)]) + self.spread.size
        self.parts = [slice(a, b) for a, b in pairwise(ends.tolist())]
        self.height = np.stack([v.elevation_deg for v in views])
        self.weight = np.stack([1.0 / v.sigma_deg for v in views])

    def start(self) -> Floats:
        """Points as told, things as they are."""
        return floats(np.concatenate([np.zeros(self.spread.size), *(t.form for t in self.things)]))

    def of_points(self, x: Floats) -> Floats:
        """Turn, lift and place of each point. Shape (points, OF_POINT)."""
        return floats(x[: self.spread.size].reshape(self.spread.shape))

    def tops(self, x: Floats) -> Floats:
        """What is far, then each thing alone. Shape (1 + things, points, CELLS)."""
        eyes = self.eyes + self.of_points(x)[:, 2:]
        found = [np.broadcast_to(self.far_deg, self.height.shape)]
        for thing, part in zip(self.things, self.parts, strict=True):
            found.append(tops_of(thing, x[part][None], eyes)[0])
        return np.stack(found)

    def placed(self, x: Floats) -> list[Thing]:
        """The things where they are found."""
        return [replace(t, form=x[part]) for t, part in zip(self.things, self.parts, strict=True)]

    def shown(self, x: Floats) -> Floats:
        """`tops`, turned and lifted as each point shows them."""
        of_points = self.of_points(x)
        return floats(self._shown(self.tops(x), of_points))

    def _cells(self, whole: Floats, of_points: Floats) -> Floats:
        """Residuals of horizons. Shape (..., points, CELLS)."""
        return (self._shown(whole, of_points) - self.height) * self.weight

    def _shown(self, whole: Floats, of_points: Floats) -> Floats:
        """Horizons as compass and level show them. Shape (..., points, CELLS)."""
        at = (np.arange(CELLS) - of_points[:, :1]) % CELLS
        low = at.astype(np.int64)
        share, p = at - low, np.arange(len(at))[:, None]
        shown = whole[..., p, low % CELLS] * (1 - share) + whole[..., p, (low + 1) % CELLS] * share
        return np.maximum(shown + of_points[:, 1:2], 0.0)

    def _priors(self, x: Floats) -> Floats:
        found = [x[: self.spread.size] / self.spread.ravel()]
        found += [prior_of(t, x[part]) for t, part in zip(self.things, self.parts, strict=True)]
        return floats(np.concatenate(found))

    def residuals(self, x: Floats) -> Floats:
        """In standard errors: of cells, then of what is held to its spread."""
        cells = self._cells(self.tops(x).max(axis=0), self.of_points(x))
        return floats(np.concatenate([cells.ravel(), self._priors(x)]))

    def cost(self, x: Floats) -> float:
        """What the solver makes least."""
        return float(robust_cost(self.residuals(x)))

    def misfit(self, x: Floats) -> dict[str, float]:
        """See `misfit_of`."""
        return misfit_of(self.views, self.residuals(x)[: self.height.size])

    def worse_by(self, x: Floats, index: int, forms: Floats, shift_m: Floats) -> Floats:
        """By how much the cost of cells rises with each of some forms of one thing. Shape (n,).

        Each form is seen from points shifted by so much, all alike.
        """
        tops, of_points = self.tops(x), self.of_points(x)
        others = np.delete(tops, index + 1, axis=0).max(axis=0)
        forms = np.vstack([x[self.parts[index]], forms])
        shift = np.vstack([np.zeros(3), shift_m])[:, None]
        eyes = self.eyes + of_points[:, 2:] + shift
        whole = np.maximum(others, tops_of(self.things[index], forms, eyes))
        costs = robust_cost(self._cells(whole, of_points).reshape(len(forms), -1))
        return floats(costs[1:] - costs[0])

    def jacobian(self, x: Floats) -> Floats:
        """By finite differences; only what moves is rendered again."""
        tops, of_points, n = self.tops(x), self.of_points(x), self.spread.size
        whole = tops.max(axis=0)
        base = self._cells(whole, of_points)
        columns = np.zeros((base.size + len(x), len(x)))
        for k in range(n):
            moved, step = x.copy(), 0.01
            moved[k] += step
            again = whole if k % OF_POINT < 2 else self.tops(moved).max(axis=0)
            change = self._cells(again, self.of_points(moved)) - base
            columns[: base.size, k] = change.ravel() / step
        eyes = self.eyes + of_points[:, 2:]
        for i, (thing, part) in enumerate(zip(self.things, self.parts, strict=True)):
            forms, steps = moved_forms(thing, x[part])
            others = np.delete(tops, i + 1, axis=0).max(axis=0)
            again = np.maximum(others, tops_of(thing, forms[1:], eyes))
            change = (self._cells(again, of_points) - base).reshape(len(steps), -1)
            columns[: base.size, part] = change.T / steps
        slopes = [1.0 / self.spread.ravel()]
        slopes += [1.0 / np.array(PRIOR[thing.shape])[:, 1] for thing in self.things]
        priors = columns[base.size :]
        priors[...] = np.diag(np.concatenate(slopes))
        for part in self.parts:
            priors[part.start + 2, part.start + 1] = priors[part.start + 2, part.start + 2]
        return columns


def misfit_of(views: Sequence[View], residuals: Floats) -> dict[str, float]:
    """Names under which much of what was seen is not as found, the worst first: RMS."""
    names = np.array([name_of(n) for view in views for n in view.names])
    rms = {str(name): float(np.sqrt((residuals[names == name] ** 2).mean()))
           for name in np.unique(names[names != ""])}  # fmt: skip
    return {n: rms[n] for n in sorted(rms, key=lambda n: -rms[n]) if rms[n] > MOST_MISFIT}


def spread_of(view: View) -> Floats:
    """Of a point's unknowns, 1 sigma. Shape (OF_POINT,)"""
    turn = max(view.point.horizon.heading_error_deg, LEAST_TURN_DEG)
    error = max(view.point.error_m, 0.01)
    return floats([turn, LIFT_ERROR_DEG, error, error, error])


def robust_cost(residuals: Floats) -> Any:
    """As the solver counts it, along the last axis."""
    z = (residuals / ROBUST) ** 2
    return (ROBUST**2 * (np.sqrt(1.0 + z) - 1.0)).sum(axis=-1)


def solved(problem: Any, x: Floats, rounds: int = 30) -> tuple[Floats, float]:
    """Robust least squares from a start; and half the cost."""
    from scipy.optimize import least_squares

    found = least_squares(
        problem.residuals, x, problem.jacobian, loss="soft_l1", x_scale="jac", max_nfev=rounds,
        f_scale=ROBUST, ftol=1e-4, xtol=1e-5,
    )  # fmt: skip
    return floats(found.x), float(found.cost)


def covariance_of(bundle: Bundle, x: Floats) -> tuple[Floats, dict[str, float]]:
    """Of all unknowns, as the residuals bear it out; and their scatter under each name.

    A thing that is no box, crown or pole leaves more than was expected, and is less sure for it.
    """
    n = bundle.height.size
    residuals, slopes = bundle.residuals(x)[:n], bundle.jacobian(x)
    held = 1.0 / np.sqrt(1.0 + (residuals / ROBUST) ** 2)
    names, of_name = np.unique([name_of(n) for view in bundle.views for n in view.names],
                               return_inverse=True)  # fmt: skip
    known = bundle.weight.ravel() > 0
    counts = np.bincount(of_name[known], minlength=len(names))
    total = np.bincount(of_name[known], (residuals**2 * held)[known], len(names))
    scatter = np.maximum(total / np.maximum(counts, 1), LEAST_SCATTER)
    of_cells, priors = slopes[:n], slopes[n:]
    normal = of_cells.T @ (of_cells * (held / scatter[of_name])[:, None]) + priors.T @ priors
    size = np.sqrt(np.diag(normal))
    covariance = np.linalg.inv(normal / np.outer(size, size)) / np.outer(size, size)
    return floats(covariance), dict(zip(names.tolist(), scatter.tolist(), strict=True))
