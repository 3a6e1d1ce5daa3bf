"""What makes a pass to the right differ from the same pass to the left.

A heading that comes later than the elevation of the same moment shifts passes against the way
they go, one to each side; a heading that drifts shifts later passes against earlier ones; two
sweeps of a point can be turned against each other as a whole. All three show as shifts of a pass
against the fused skyline, wherever it slopes or has an edge, and are separated by when and how
fast the sight moved there. The limits of this file are common practice, no source.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from logger.arrays import Floats, floats
from logger.checks import Check, at_most
from logger.geometry import angle_between, interpolate_azimuthal, wrap360
from logger.horizon_fit.cells import CellMeans
from logger.horizon_fit.edges import PASS_ERROR_DEG, Edge
from logger.horizon_fit.fit import Fit, slope_at
from logger.horizon_fit.passes import Pass, velocity

LAG, DRIFT, TURN = "lag", "drift", "turn"
# What is expected before anything is seen, 1 sigma. [s], [deg/min], [deg]
EXPECTED = {LAG: 0.2, DRIFT: 1.0, TURN: 1.0}
LEAST = {LAG: 0.015, DRIFT: 0.15, TURN: 0.3}  # Less than this is left alone. [s], [deg/min], [deg]
PLAIN_SIGMAS = 3.0  # So many times its standard error a misclosure is no chance
DRIFT_LIMIT_DEG = 3.0  # Heading drift over a sweep, at most
# To both sides of a mean, to tell the slope there; shifts are told over blocks so wide
SLOPE_OVER_DEG, BLOCK_DEG = 0.75, 10.0


@dataclass(frozen=True)
class Misclosure:
    """What passes show against each other, and whether it was taken out of them."""

    # "lag": by how much headings come later than elevations [s]; "drift": of the heading
    # [deg/min]; "turn": of one sweep against the others together [deg]
    kind: str
    sweep: int  # Index of the sweep; -1 for the lag, which is common to all
    value: float
    standard_error: float
    removed: bool = False

    def __str__(self) -> str:
        if self.kind == LAG:
            return f"heading lag of {self.value:+.2f} s between passes removed"
        if self.kind == DRIFT:
            return f"recording {self.sweep + 1}: heading drift {self.value:+.2f}°/min closed"
        return f"recording {self.sweep + 1}: turned by {-self.value:+.2f}° to fit the others"


def misclosures(
    passes: Sequence[Pass], edges: Sequence[Edge], means: CellMeans, fit: Fit
) -> tuple[Misclosure, ...]:
    """Lag, drifts and turns that explain best how passes are shifted, robustly."""
    unknown = _unknowns(passes)
    seen_in, t_s, speed_deg_s, shift_deg, error_deg = _shifts_of(passes, edges, means, fit)
    if not unknown or t_s.size < 3:
        return ()
    middle = _middles(passes)
    columns = []
    for kind, sweep in unknown:
        mine = seen_in == sweep
        if kind == LAG:
            columns.append(-speed_deg_s)
        elif kind == DRIFT:
            columns.append(np.where(mine, (t_s - middle[sweep]) / 60.0, 0.0))
        else:
            columns.append(mine.astype(float))
    expected = floats([EXPECTED[kind] for kind, _ in unknown])
    value, error = _least_squares(np.column_stack(columns), shift_deg, error_deg, expected)
    found = []
    for (kind, sweep), v, e in zip(unknown, value.tolist(), error.tolist(), strict=True):
        plain = abs(v) > max(PLAIN_SIGMAS * e, LEAST[kind])
        found.append(Misclosure(kind, sweep, v, e, plain))
    return tuple(found)


def _unknowns(passes: Sequence[Pass]) -> list[tuple[str, int]]:
    """What the passes there are can tell: a kind and a sweep each."""
    swept = [p for p in passes if not p.held]
    sweeps = [p.sweep for p in swept]
    found = [(LAG, -1)] if len({p.clockwise for p in swept}) == 2 else []
    found += [(DRIFT, k) for k in sorted(set(sweeps)) if sweeps.count(k) > 1]
    return found + [(TURN, k) for k in sorted(set(sweeps)) if len(set(sweeps)) > 1]


def _middles(passes: Sequence[Pass]) -> dict[int, float]:
    """Middle of the time of each sweep, from which its drift counts. [s]."""
    swept = [(p.sweep, float(p.t_s.mean())) for p in passes if not p.held]
    return {k: float(np.mean([t for sweep, t in swept if sweep == k])) for k, _ in swept}


def _shifts_of(passes: Sequence[Pass], edges: Sequence[Edge], means: CellMeans, fit: Fit) -> Floats:
    """How far each pass is shifted against the fused skyline, edge by edge and slope by slope.

    Of each place: the sweep, when [s], the speed round the horizon, clockwise positive [deg/s], the
    shift and its error [deg]. Shape (5, M)
    """
    rows: list[tuple[float, ...]] = []
    for edge in edges:
        for climb in edge.climbs if len(edge.climbs) > 1 else ():
            one = passes[climb.index]
            if not one.held:
                at = float(one.t_s[(climb.first + climb.last) // 2])
                shift = float(angle_between(climb.path_deg, edge.azimuth_deg))
                rows.append((one.sweep, at, 0.0, shift, climb.error_deg))
    slope = slope_at(means.azimuth_deg, fit.node_deg, fit.elevation_deg, SLOPE_OVER_DEG)
    here = interpolate_azimuthal(means.azimuth_deg, fit.node_deg, fit.elevation_deg)
    residual = means.elevation_deg - here
    # Where the slope is that of an edge the climb itself has told already.
    apart = angle_between(means.azimuth_deg[:, None], floats([e.azimuth_deg for e in edges]))
    clear = (np.abs(apart) >= 2 * SLOPE_OVER_DEG).all(axis=1)
    for index, one in enumerate(passes):
        mine = np.flatnonzero((means.index == index) & clear)
        if not one.held and mine.size >= 8:
            rows += _on_slopes(one, means, mine, slope, residual)
    return floats(rows).reshape(-1, 5).T


def _on_slopes(
    one: Pass, means: CellMeans, mine: np.ndarray, slope: Floats, residual: Floats
) -> list[tuple[float, ...]]:
    """Shifts of one pass over blocks of azimuth.

    On a slope g a shift d makes the elevation differ by ``-g d``; over a block
    ``d = -sum(g r) / sum(g^2)`` with the residuals r.
    """
    rows: list[tuple[float, ...]] = []
    speed = velocity(one.t_s, one.path_deg, 0.5)
    start = float(one.path_deg.min())
    order = np.argsort(one.path_deg, kind="stable")
    block = (means.azimuth_deg[mine] / BLOCK_DEG).astype(int)
    for b in np.unique(block):
        k = mine[block == b]
        weight = 1.0 / means.random_deg[k] ** 2
        power = float((weight * slope[k] ** 2).sum())
        if power < 1.0:
            continue
        middle = start + float(wrap360(BLOCK_DEG * (b + 0.5) - start))
        place = int(np.searchsorted(one.path_deg[order], middle))
        at = int(order[min(place, len(one) - 1)])
        shift = -float((weight * slope[k] * residual[k]).sum()) / power
        error = float(np.hypot(power**-0.5, PASS_ERROR_DEG))
        rows.append((one.sweep, float(one.t_s[at]), float(speed[at]), shift, error))
    return rows


def _least_squares(
    design: Floats, shift_deg: Floats, error_deg: Floats, expected: Floats
) -> tuple[Floats, Floats]:
    weight, scale = np.ones(shift_deg.size), 1.0
    for _ in range(6):
        w = weight / error_deg**2
        normal = design.T @ (design * w[:, None]) + np.diag(expected**-2.0)
        covariance = np.linalg.inv(normal)
        value = covariance @ (design.T @ (w * shift_deg))
        away = (shift_deg - design @ value) / error_deg
        weight = 1.0 / np.maximum(1.0, np.abs(away) / 2.0)
        scale = max(1.0, float(np.sqrt(np.mean(weight * away**2))))
    return floats(value), floats(scale * np.sqrt(np.diag(covariance)))


def closed(passes: Sequence[Pass], found: Sequence[Misclosure]) -> tuple[Pass, ...]:
    """Passes with what is plain to see taken out."""
    middle = _middles(passes)
    moved = []
    for one in passes:
        path = one.path_deg
        for m in found if not one.held else ():
            if m.removed and m.kind == LAG:
                path = floats(np.interp(one.t_s + m.value, one.t_s, path))
            elif m.removed and m.sweep == one.sweep:
                minutes = (one.t_s - middle[m.sweep]) / 60.0
                path = path - m.value * (minutes if m.kind == DRIFT else 1.0)
        moved.append(replace(one, path_deg=path))
    return tuple(moved)


def added(first: Sequence[Misclosure], second: Sequence[Misclosure]) -> tuple[Misclosure, ...]:
    """Two rounds as one: what both removed together.

    Each pass is held against a skyline that it helped to make, so a second round finds a rest.
    """
    known = {(m.kind, m.sweep): m for m in first}
    for m in second:
        before = known.get((m.kind, m.sweep))
        if before is None or not before.removed:
            known[m.kind, m.sweep] = m
        elif m.removed:
            known[m.kind, m.sweep] = replace(m, value=before.value + m.value)
    return tuple(known.values())


def drift_check(found: Sequence[Misclosure], passes: Sequence[Pass]) -> Check | None:
    """Whether the heading held still enough during each sweep; None where none was seen."""
    drifts = []
    for m in found:
        if m.kind == DRIFT:
            times = np.concatenate([p.t_s for p in passes if p.sweep == m.sweep and not p.held])
            # What noise alone could have made is no drift.
            plain = max(0.0, abs(m.value) - 2.0 * m.standard_error)
            drifts.append(plain * float(np.ptp(times)) / 60.0)
    if not drifts:
        return None
    worst = max(drifts)
    why = f"the heading drifted by {worst:.1f}° between passes over the same skyline"
    again = ": keep away from iron, let the board warm up, calibrate it and sweep again"
    return at_most("heading steady", worst, DRIFT_LIMIT_DEG, "deg", why, again)
