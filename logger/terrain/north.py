"""True north from a far ridge: the turn that lays the swept skyline onto the computed one.

What the sweep shows above the computed skyline is near; only what lies on it tells of north. So
residuals upwards count up to a few standard errors and then no more, residuals downwards almost
fully. A lift and a tilt of the level plane are fitted beside every turn, held by what is known of
the level. A flat or a self-similar horizon has a wide or a second minimum, and gives no north.

The turn's standard error comes from the linearised fit. In it are what is left of the fit, tiles'
errors among it, alike over as much azimuth as it proves to be; headings that are not off alike all
round, so that those of the ridge are not the mean of all; a level that wavers slowly, as no fit
can tell from the shape of a smooth ridge; what is known of lift and tilt; and the search's step.
Limits of this file are common practice, no source.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from itertools import product

import numpy as np

from logger.arrays import Floats, floats
from logger.checks import NORMAL_95
from logger.geometry import angle_between
from logger.horizon import HorizonProfile
from logger.terrain.skyline import STEP_DEG, FarHorizon

WIDEST_TURN_DEG = 15.0
TURN_STEP_DEG = 0.1
NEAR_AT, BELOW_AT = 3.0, 10.0
"""Standard errors beyond which a residual above, or below, the computed skyline counts no more."""
BESIDE_DEG = 2.0
"""From a near edge the swept line is so long on its way down to the ridge. [deg]"""
TRACING_ERROR_DEG = 0.06
"""Of each azimuth beside its own standard error: a line of sight along a distant edge. [deg]"""
LIFT_ERROR_DEG, TILT_ERROR_DEG = 0.15, 0.15
"""Of the level, beside what the sweep itself says of it. [deg]"""
MEANS_DEG, LEAST_WEIGHT = 2.0, 0.02
"""Means over this much azimuth tell the scatter, where the sweep lies on the ridge. [deg]"""
ALIKE_SHARES, ALIKE_OVER_DEG = (0.05, 0.3, 0.6, 0.95), (3.0, 6.0, 12.0, 25.0, 50.0)
"""What may be alike of the scatter, and over how much azimuth. [deg]"""
UNEVEN_DEG, WAVER_DEG = 0.04, 0.015
"""How headings differ once, and the level twice round the horizon: as the virtual board's do after
calibration, measured. [deg]"""
ROUNDS = 8
"""Of reweighting."""
LEAST_AZIMUTH_DEG = 30.0
"""Of far skyline that a north is taken from. [deg]"""
LEAST_RELIEF = 2.0
"""Times the elevation data's own error that a ridge must rise and fall."""
WIDEST_ERROR_DEG = 0.75
"""Standard error above which a north is none. [deg]"""
CLEARLY_WORSE = 12.0
"""By how much, in squared standard errors, every other turn must fit worse than the best."""
OTHER_TURN_DEG = 1.5
"""Turns nearer than this are no other turns, nor are those within four standard errors. [deg]"""
NOTHING_KNOWN = 1e-6
"""Weight of a turn being nothing: as if it were known to a thousand degrees."""
STEP_ERROR_DEG = 0.01
"""Of a turn between two steps of the search. [deg]"""


@dataclass(frozen=True, eq=False)
class NorthFix:
    """What the far ridge says of north."""

    turn_deg: float  # Added to the swept azimuths it gives the true ones. [deg]
    standard_error_deg: float  # 1 sigma. [deg]
    lift_deg: float  # How far the sweep lies above the computed skyline. [deg]
    lift_error_deg: float  # [deg]
    used_deg: float  # Azimuth over which the sweep lies on it. [deg]
    misfit_deg: float  # Root mean square of what is left there. [deg]
    declined: str  # Why it gives none; empty where it gives one
    # How much worse than the best each turn fits, in squared standard errors. Shape (M,).
    turns_deg: Floats
    worse: Floats


@dataclass(frozen=True, eq=False)
class _Swept:
    """The measured skyline on the computed one's azimuths, and what is known of it before."""

    azimuth_deg: Floats
    elevation_deg: Floats  # NaN where it was not measured
    error_deg: Floats
    prior: Floats  # Weights of lift and tilt being nothing. Shape (3,).


@dataclass(frozen=True, eq=False)
class _Fitted:
    """The best lift and tilt of each of some turns. First shape (M,)."""

    cost: Floats
    level: Floats  # Lift, tilt to north, tilt to east. [deg] Shape (M, 3).
    residual: Floats  # [deg] Shape (M, N)
    error: Floats  # [deg] Shape (M, N)
    weight: Floats  # 0 to 1, of each azimuth. Shape (M, N).


def north_from(profile: HorizonProfile, far: FarHorizon) -> NorthFix:
    """Turn a swept horizon until its far part fits the computed one."""
    turns = np.arange(-WIDEST_TURN_DEG, WIDEST_TURN_DEG + TURN_STEP_DEG / 2, TURN_STEP_DEG)
    swept = _swept(profile, far)
    swept = _without_near(swept, _fitted(swept, far, turns[::5]))
    coarse = _fitted(swept, far, turns)
    best = float(turns[coarse.cost.argmin()])
    near = best + np.linspace(-3 * TURN_STEP_DEG, 3 * TURN_STEP_DEG, 25)
    fine = _fitted(swept, far, near)
    k = int(fine.cost.argmin())
    turn, weight = float(near[k]), fine.weight[k]
    used = float(weight.sum()) * STEP_DEG
    why = ""
    if used < LEAST_AZIMUTH_DEG:
        why = (
            f"only {used:.0f}° of the sweep lie on the far ridge, {LEAST_AZIMUTH_DEG:.0f}° are "
            "needed"
        )
    elif (relief := _relief(swept, far, turn, weight)) < LEAST_RELIEF:
        why = (
            f"the far ridge has too little shape: it rises and falls by {relief:.1f} times the "
            f"elevation data's own error, {LEAST_RELIEF:.0f} times are needed"
        )
    if why:
        return NorthFix(turn, np.inf, 0.0, np.inf, used, np.nan, why, turns, 0 * turns)
    slope = _slope(swept, far, turn, float(profile.correlation_deg))
    covariance, naive = _covariance(swept, fine, k, slope)
    error = float(np.hypot(np.sqrt(covariance[0, 0]), STEP_ERROR_DEG))
    # The cost counts azimuths as independent, with errors as stated: both are put right.
    worse = (coarse.cost - fine.cost[k]) * naive / error**2
    each = weight / fine.error[k] ** 2
    misfit = float(np.sqrt((each * fine.residual[k] ** 2).sum() / each.sum()))
    others = np.abs(turns - turn) > max(OTHER_TURN_DEG, 4 * error)
    declined = _declined(turn, error, worse[others], turns[others])
    return NorthFix(
        turn,
        error,
        float(fine.level[k, 0]),
        float(np.sqrt(covariance[1, 1])),
        used,
        misfit,
        declined,
        turns,
        floats(np.maximum(worse, 0.0)),
    )


def _declined(turn: float, error: float, worse: Floats, others: Floats) -> str:
    if error > WIDEST_ERROR_DEG:
        return (
            f"the far ridge has too little shape: north would be good to {NORMAL_95 * error:.1f}° "
            "(95 %) only"
        )
    if abs(turn) > WIDEST_TURN_DEG - 2 * TURN_STEP_DEG:
        return f"no turn of up to {WIDEST_TURN_DEG:.0f}° fits"
    if worse.size and worse.min() < CLEARLY_WORSE:
        other = float(others[worse.argmin()])
        return f"the far ridge resembles itself: a turn of {other:+.1f}° fits almost as well"
    return ""


def _swept(profile: HorizonProfile, far: FarHorizon) -> _Swept:
    azimuth = far.azimuth_deg
    elevation = np.where(profile.measured_at(azimuth), profile.elevation_at(azimuth), np.nan)
    random = np.nan_to_num(profile.standard_error_deg)
    at = floats(np.interp(azimuth, profile.azimuth_deg, random, period=360.0))
    lift = float(np.hypot(profile.level_error_deg, LIFT_ERROR_DEG))
    prior = 1.0 / floats([lift, TILT_ERROR_DEG, TILT_ERROR_DEG]) ** 2
    return _Swept(azimuth, elevation, floats(np.hypot(at, TRACING_ERROR_DEG)), prior)


def _without_near(swept: _Swept, fit: _Fitted) -> _Swept:
    """The sweep without what is near by the best of some fits, and without what is beside it."""
    k = int(fit.cost.argmin())
    near = fit.residual[k] > NEAR_AT * fit.error[k]
    steps = round(BESIDE_DEG / STEP_DEG)
    beside = np.logical_or.reduce([np.roll(near, n) for n in range(-steps, steps + 1)])
    return replace(swept, elevation_deg=np.where(beside, np.nan, swept.elevation_deg))


def _level_shapes(azimuth_deg: Floats) -> Floats:
    """What a lift and two tilts do to elevations. Shape (N, 3)."""
    turn = np.radians(azimuth_deg)
    return np.stack([np.ones(turn.shape), np.cos(turn), np.sin(turn)], axis=-1)


def _fitted(swept: _Swept, far: FarHorizon, turns: Floats) -> _Fitted:
    """Lift and tilt for every turn, by weights that are found anew in every round."""
    at = swept.azimuth_deg + turns[:, None]
    known = np.where(far.whole, far.elevation_deg, np.nan)
    apart = swept.elevation_deg - far.at(at, known)
    error = np.hypot(swept.error_deg, far.at(at, far.standard_error_deg))
    told = np.isfinite(apart)
    apart, error = np.where(told, apart, 0.0), np.where(told, error, 1.0)
    shapes = _level_shapes(swept.azimuth_deg)
    level = np.zeros((len(turns), 3))
    for turn in range(ROUNDS + 1):
        residual = apart - level @ shapes.T
        scaled = residual / error
        limit = np.where(scaled > 0, NEAR_AT, BELOW_AT)
        weight = np.where(told, np.exp(-((scaled / limit) ** 2)), 0.0)
        if turn == ROUNDS:
            break
        each = weight / error**2
        normal = np.einsum("mn,ni,nj->mij", each, shapes, shapes) + np.diag(swept.prior)
        level = np.linalg.solve(normal, ((each * apart) @ shapes)[..., None])[..., 0]
    # The cost that these weights belong to: a parabola that levels off at the limit's square.
    each = np.where(told, limit**2 * (1 - np.exp(-((scaled / limit) ** 2))), 0.0)
    cost = each.sum(axis=1) + (swept.prior * level**2).sum(axis=1)
    return _Fitted(floats(cost), floats(level), floats(residual), floats(error), floats(weight))


def _relief(swept: _Swept, far: FarHorizon, turn: float, weight: Floats) -> float:
    """How much the ridge rises and falls beside a lift and a tilt, in its own standard errors."""
    root, at = np.sqrt(weight), swept.azimuth_deg + turn
    line, error = (
        root * np.nan_to_num(far.at(at, column))
        for column in (far.elevation_deg, far.standard_error_deg)
    )
    shapes = root[:, None] * _level_shapes(swept.azimuth_deg)
    line = line - shapes @ np.linalg.lstsq(shapes, line)[0]
    return float(np.linalg.norm(line) / np.linalg.norm(error))


def _slope(swept: _Swept, far: FarHorizon, turn: float, over_deg: float) -> Floats:
    """Slope of the computed skyline, over as much azimuth as a sweep resolves. [deg/deg]"""
    half = max(over_deg / 4, STEP_DEG)
    ahead, behind = (
        far.at(swept.azimuth_deg + turn + side, far.elevation_deg) for side in (half, -half)
    )
    return np.nan_to_num((ahead - behind) / (2 * half))


def _covariance(swept: _Swept, fit: _Fitted, k: int, slope: Floats) -> tuple[Floats, float]:
    """Covariance of turn, lift and tilts, and the turn's variance if azimuths were independent."""
    weight = fit.weight[k] / fit.error[k] ** 2
    shapes = np.column_stack([slope, _level_shapes(swept.azimuth_deg)])
    prior = np.diag(np.r_[NOTHING_KNOWN, swept.prior])
    inverse = np.linalg.inv(shapes.T @ (weight[:, None] * shapes) + prior)

    each = round(MEANS_DEG / STEP_DEG)
    rows = fit.weight[k].reshape(-1, each).mean(axis=1) > LEAST_WEIGHT

    def summed(values: Floats) -> Floats:
        parts = (weight[:, None] * values).reshape(-1, each, values.shape[1])
        return floats(parts.sum(axis=1)[rows])

    total, pull = summed(np.ones((weight.size, 1))), summed(shapes)
    azimuth = swept.azimuth_deg.reshape(-1, each).mean(axis=1)[rows]
    apart = np.abs(angle_between(azimuth[:, None], azimuth))
    left = summed(fit.residual[k][:, None]) / total
    scatter = _scatter(apart, pull / total, left[:, 0], total[:, 0])
    steep = pull[:, :1] / total
    scatter += UNEVEN_DEG**2 * steep * steep.T * np.cos(np.radians(apart))
    scatter += WAVER_DEG**2 * np.cos(2 * np.radians(apart))
    return floats(inverse @ (pull.T @ scatter @ pull + prior) @ inverse), float(inverse[0, 0])


def _scatter(apart_deg: Floats, shapes: Floats, left: Floats, weight: Floats) -> Floats:
    """Covariance of what a fit of some shapes left, of means over some azimuth each.

    A share of it is alike, the less the farther apart the means are. How large a share and how far
    is weighed by restricted likelihood (Patterson and Thompson, Biometrika 58, 1971), which allows
    for what the fit has taken out.
    """
    free = len(left) - shapes.shape[1]
    likelihood, found = [], []
    for share, reach in product(ALIKE_SHARES, ALIKE_OVER_DEG):
        alike = share * np.exp(-apart_deg / reach) + np.diag((1 - share) * weight.mean() / weight)
        root = np.linalg.cholesky(alike)
        x, y = np.linalg.solve(root, shapes), np.linalg.solve(root, left)
        normal = x.T @ x
        y = y - x @ np.linalg.solve(normal, x.T @ y)
        variance = float(y @ y) / free
        size = np.log(np.diag(root)).sum() + np.linalg.slogdet(normal)[1] / 2
        likelihood.append(-free / 2 * np.log(variance) - size)
        found.append(variance * alike)
    chance = np.exp(np.array(likelihood) - max(likelihood))
    return floats(np.tensordot(chance / chance.sum(), np.array(found), axes=1))
