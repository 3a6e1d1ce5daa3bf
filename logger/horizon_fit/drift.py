"""Time and drift: what makes a pass to the right differ from the same pass to the left.

A heading that comes later than the elevation of the same moment shifts passes against the way
they go, one to each side; a heading that drifts shifts later passes against earlier ones; two
recordings of a point can be turned against each other as a whole. All three show as shifts of a
leg against the fused skyline, wherever it slopes or has an edge, and are separated by when and
how fast the sight moved there.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from logger.arrays import Floats, floats
from logger.checks import Check
from logger.geometry import angle_between, interpolate_azimuthal, wrap360
from logger.horizon_fit.edges import Edge, velocity
from logger.horizon_fit.fit import CellMeans, Fit
from logger.horizon_fit.passes import Leg
from logger.horizon_fit.settings import HorizonSettings


@dataclass(frozen=True)
class Estimate:
    """A figure with its standard error, and whether it was taken out of the data."""

    value: float
    standard_error: float
    removed: bool = False


@dataclass(frozen=True)
class TimeBase:
    """What was found between passes."""

    # By how much headings come later than elevations; None where passes go one way only. [s]
    lag_s: Estimate | None
    # Of the heading, a recording each; None where nothing was passed twice. [deg/min]
    drift_deg_per_min: tuple[Estimate | None, ...]
    # By how much each recording was turned against the others together; None for the only one.
    # [deg]
    turn_deg: tuple[Estimate | None, ...]

    @property
    def steps(self) -> tuple[str, ...]:
        """What was removed, in words."""
        found: list[str] = []
        if self.lag_s is not None and self.lag_s.removed:
            found.append(f"heading lag of {self.lag_s.value:+.2f} s between passes removed")
        for i, drift in enumerate(self.drift_deg_per_min):
            if drift is not None and drift.removed:
                found.append(f"recording {i + 1}: heading drift {drift.value:+.2f}°/min closed")
        for i, turn in enumerate(self.turn_deg):
            if turn is not None and turn.removed:
                found.append(f"recording {i + 1}: turned by {-turn.value:+.2f}° to fit the others")
        return tuple(found)


@dataclass(frozen=True, eq=False)
class Shifts:
    """Shifts of legs against the fused skyline; a row a place."""

    recording: Floats  # Shape (M,)
    t_s: Floats  # [s] Shape (M,)
    speed_deg_s: Floats  # Round the horizon, clockwise positive. [deg/s] Shape (M,).
    # [deg] Shape (M,)
    shift_deg: Floats
    error_deg: Floats


def shifts_of(
    legs: Sequence[Leg],
    edges: Sequence[Edge],
    means: CellMeans,
    fit: Fit,
    settings: HorizonSettings,
) -> Shifts:
    """How far each leg is shifted against the fused skyline, edge by edge and slope by slope.

    On a slope g a shift d makes the elevation differ by ``-g d``; over ten degrees of azimuth
    ``d = -sum(g r) / sum(g^2)`` with the residuals r.
    """
    rows: list[tuple[float, float, float, float, float]] = []
    for edge in edges:
        for climb in edge.climbs if len(edge.climbs) > 1 else ():
            leg = legs[climb.leg]
            if leg.held:
                continue
            at = (climb.first + climb.last) // 2
            shift = float(angle_between(wrap360(climb.path_deg), edge.azimuth_deg))
            rows.append((leg.recording, float(leg.t_s[at]), 0.0, shift, climb.error_deg))
    half = 0.75
    ahead = interpolate_azimuthal(means.azimuth_deg + half, fit.node_deg, fit.elevation_deg)
    behind = interpolate_azimuthal(means.azimuth_deg - half, fit.node_deg, fit.elevation_deg)
    here = interpolate_azimuthal(means.azimuth_deg, fit.node_deg, fit.elevation_deg)
    slope = (ahead - behind) / (2 * half)
    # Where the slope is that of an edge the climb itself has told already.
    near = np.zeros(means.azimuth_deg.size, dtype=bool)
    for edge in edges:
        near |= np.abs(angle_between(means.azimuth_deg, edge.azimuth_deg)) < 2 * half
    residual = means.elevation_deg - here
    random = means.noise_deg * np.sqrt(settings.noise_time_s / means.seconds)
    for index, leg in enumerate(legs):
        mine = np.flatnonzero((means.leg == index) & ~near)
        if leg.held or mine.size < 8:
            continue
        speed = velocity(leg.t_s, leg.path_deg, 0.5)
        order = np.argsort(leg.path_deg, kind="stable")
        block = (means.azimuth_deg[mine] / 10.0).astype(int)
        for b in np.unique(block):
            k = mine[block == b]
            weight = 1.0 / random[k] ** 2
            power = float((weight * slope[k] ** 2).sum())
            if power < 1.0:
                continue
            middle = float(leg.path_deg.min()) + float(
                wrap360(10.0 * b + 5.0 - float(leg.path_deg.min()))
            )
            place = int(np.searchsorted(leg.path_deg[order], middle))
            at = int(order[min(place, len(leg) - 1)])
            shift = -float((weight * slope[k] * residual[k]).sum()) / power
            error = float(np.hypot(power**-0.5, settings.pass_error_deg))
            rows.append((leg.recording, float(leg.t_s[at]), float(speed[at]), shift, error))
    table = floats(rows).reshape(-1, 5)
    return Shifts(*(table[:, k] for k in range(5)))


def time_base(shifts: Shifts, legs: Sequence[Leg], settings: HorizonSettings) -> TimeBase:
    """Lag, drifts and turns that explain the shifts best, robustly."""
    swept = [leg for leg in legs if not leg.held]
    recordings = sorted({leg.recording for leg in swept})
    count = 1 + max((leg.recording for leg in legs), default=-1)
    both_ways = {leg.clockwise for leg in swept} == {True, False}
    columns: list[Floats] = []
    prior: list[float] = []
    if both_ways:
        columns.append(-shifts.speed_deg_s)
        prior.append(settings.lag_prior_s)
    middle = {r: float(np.mean([leg.t_s.mean() for leg in swept if leg.recording == r]))
              for r in recordings}  # fmt: skip
    repeated = [r for r in recordings if sum(leg.recording == r for leg in swept) > 1]
    for r in repeated:
        columns.append(np.where(shifts.recording == r, (shifts.t_s - middle[r]) / 60.0, 0.0))
        prior.append(settings.drift_prior_deg_per_min)
    turned = recordings if len(recordings) > 1 else []
    for r in turned:
        columns.append((shifts.recording == r).astype(float))
        prior.append(settings.turn_prior_deg)
    nothing: tuple[Estimate | None, ...] = (None,) * count
    if not columns or shifts.t_s.size < 3:
        return TimeBase(None, nothing, nothing)
    value, error = _least_squares(np.column_stack(columns), shifts, floats(prior))
    found = [Estimate(float(v), float(e)) for v, e in zip(value, error, strict=True)]
    lag = found.pop(0) if both_ways else None
    drift, turn = list(nothing), list(nothing)
    for r in repeated:
        drift[r] = found.pop(0)
    for r in turned:
        turn[r] = found.pop(0)
    return TimeBase(lag, tuple(drift), tuple(turn))


def _least_squares(design: Floats, shifts: Shifts, prior: Floats) -> tuple[Floats, Floats]:
    weight = np.ones(shifts.t_s.size)
    value, covariance = floats(np.zeros(prior.size)), floats(np.diag(prior**2))
    scale = 1.0
    for _ in range(6):
        w = weight / shifts.error_deg**2
        normal = design.T @ (design * w[:, None]) + np.diag(prior**-2.0)
        covariance = floats(np.linalg.inv(normal))
        value = floats(covariance @ (design.T @ (w * shifts.shift_deg)))
        away = (shifts.shift_deg - design @ value) / shifts.error_deg
        weight = floats(1.0 / np.maximum(1.0, np.abs(away) / 2.0))
        scale = max(1.0, float(np.sqrt(np.mean(weight * away**2))))
    return floats(value), floats(scale * np.sqrt(np.diag(covariance)))


def closed(
    legs: Sequence[Leg], base: TimeBase, settings: HorizonSettings
) -> tuple[tuple[Leg, ...], TimeBase]:
    """Legs with what is plain to see taken out, and the time base with that noted.

    A figure is removed when it is three times its standard error and large enough to matter.
    """
    lag = _judged(base.lag_s, settings.least_lag_s)
    drift = tuple(_judged(d, settings.least_drift_deg_per_min) for d in base.drift_deg_per_min)
    turn = tuple(_judged(c, settings.least_turn_deg) for c in base.turn_deg)
    middle: dict[int, float] = {}
    for r in {leg.recording for leg in legs if not leg.held}:
        own = [leg.t_s.mean() for leg in legs if leg.recording == r and not leg.held]
        middle[r] = float(np.mean(own))
    moved: list[Leg] = []
    for leg in legs:
        path = np.array(leg.path_deg)
        if not leg.held:
            if lag is not None and lag.removed:
                path = floats(np.interp(leg.t_s + lag.value, leg.t_s, path))
            d, c = drift[leg.recording], turn[leg.recording]
            if d is not None and d.removed:
                path -= d.value * (leg.t_s - middle[leg.recording]) / 60.0
            if c is not None and c.removed:
                path -= c.value
        moved.append(replace(leg, path_deg=path))
    return tuple(moved), TimeBase(lag, drift, turn)


def drift_check(base: TimeBase, legs: Sequence[Leg], settings: HorizonSettings) -> Check | None:
    """Whether the heading held still enough during each recording; None where none was seen."""
    worst = None
    for r, drift in enumerate(base.drift_deg_per_min):
        if drift is None:
            continue
        times = np.concatenate([leg.t_s for leg in legs if leg.recording == r and not leg.held])
        # What noise alone could have made is no drift.
        plain = max(0.0, abs(drift.value) - 2.0 * drift.standard_error)
        total = plain * float(np.ptp(times)) / 60.0
        worst = total if worst is None else max(worst, total)
    if worst is None:
        return None
    passed = worst <= settings.drift_limit_deg
    why = f"the heading drifted by {worst:.1f}° between passes over the same skyline"
    if not passed:
        why += ": keep away from iron, let the board warm up, calibrate it and sweep again"
    return Check("heading steady", passed, round(worst, 3), settings.drift_limit_deg, "deg", why)


def added(first: TimeBase, second: TimeBase) -> TimeBase:
    """Two rounds as one: what both removed together.

    Each leg is measured against a skyline that it helped to make, so a second round finds a rest.
    """
    return TimeBase(
        _sum(first.lag_s, second.lag_s),
        tuple(map(_sum, first.drift_deg_per_min, second.drift_deg_per_min)),
        tuple(map(_sum, first.turn_deg, second.turn_deg)),
    )


def _sum(first: Estimate | None, second: Estimate | None) -> Estimate | None:
    if first is None or second is None:
        return first or second
    if first.removed and second.removed:
        return replace(second, value=first.value + second.value)
    return first if first.removed else second


def _judged(found: Estimate | None, least: float) -> Estimate | None:
    if found is None:
        return None
    plain = abs(found.value) > 3.0 * found.standard_error and abs(found.value) > least
    return replace(found, removed=plain)
