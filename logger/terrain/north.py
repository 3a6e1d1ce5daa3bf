"""True north from a far ridge: the turn that lays the swept skyline onto the computed one.

What the sweep shows above the computed skyline is near; only what lies on it tells of north. So
residuals upwards count up to a few standard errors and then no more, residuals downwards almost
fully. A lift and a tilt of the level plane are fitted beside every turn, held by what is known of
the level. The turn's standard error comes from the linearised fit with residuals that are alike
over as much azimuth as they prove to be; a flat or a self-similar horizon has a wide or a second
minimum, and gives no north. Limits of this file are common practice, no source.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from logger.arrays import Floats, floats
from logger.checks import NORMAL_95
from logger.horizon import HorizonProfile
from logger.terrain.skyline import STEP_DEG, FarHorizon

WIDEST_TURN_DEG = 15.0
TURN_STEP_DEG = 0.1
NEAR_AT, BELOW_AT = 3.0, 10.0
"""Standard errors beyond which a residual above, or below, the computed skyline counts no more."""
TRACING_ERROR_DEG = 0.06
"""Of each azimuth beside its own standard error: a line of sight along a distant edge. [deg]"""
LIFT_ERROR_DEG, TILT_ERROR_DEG = 0.15, 0.15
"""Of the level, beside what the sweep itself says of it. [deg]"""
ROUNDS = 8
"""Of reweighting."""
LEAST_AZIMUTH_DEG = 30.0
"""Of far skyline that a north is taken from. [deg]"""
WIDEST_ERROR_DEG = 0.75
"""Standard error above which a north is none. [deg]"""
CLEARLY_WORSE = 12.0
"""By how much, in squared standard errors, every other turn must fit worse than the best."""
OTHER_TURN_DEG = 1.5
"""Turns nearer than this are no other turns, nor are those within four standard errors. [deg]"""
NOTHING_KNOWN = 1e-6
"""Weight of a turn being nothing: as if it were known to a thousand degrees."""
ERROR_FLOOR_DEG = 0.01
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
    swept = _swept(profile, far)
    turns = np.arange(-WIDEST_TURN_DEG, WIDEST_TURN_DEG + TURN_STEP_DEG / 2, TURN_STEP_DEG)
    coarse = _fitted(swept, far, turns)
    best = float(turns[coarse.cost.argmin()])
    near = best + np.linspace(-3 * TURN_STEP_DEG, 3 * TURN_STEP_DEG, 25)
    fine = _fitted(swept, far, near)
    k = int(fine.cost.argmin())
    turn, used = float(near[k]), float(fine.weight[k].sum()) * STEP_DEG
    if used < STEP_DEG:
        return NorthFix(turn, np.inf, 0.0, np.inf, used, np.nan,
                        "the sweep shows nothing of the far ridge", turns, 0 * turns)  # fmt: skip
    slope = _slope(swept, far, turn, float(profile.correlation_deg))
    alike = _alike(fine.residual[k] / fine.error[k], fine.weight[k])
    covariance, scale = _covariance(swept, fine, k, slope, alike)
    error = float(np.hypot(np.sqrt(covariance[0, 0]), ERROR_FLOOR_DEG))
    # What the azimuths say together, counted as often as they are independent of each other.
    count = max(1.0, 1.0 + 2.0 * float(alike[1:].sum()))
    worse = (coarse.cost - fine.cost[k]) / (count * max(scale, 1.0))
    weight = fine.weight[k]
    each = weight / fine.error[k] ** 2
    misfit = float(np.sqrt((each * fine.residual[k] ** 2).sum() / each.sum()))
    others = np.abs(turns - turn) > max(OTHER_TURN_DEG, 4 * error)
    declined = _declined(turn, error, used, worse[others], turns[others])
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


def _declined(turn: float, error: float, used: float, worse: Floats, others: Floats) -> str:
    if used < LEAST_AZIMUTH_DEG:
        return (
            f"only {used:.0f}° of the sweep lie on the far ridge, {LEAST_AZIMUTH_DEG:.0f}° are "
            "needed"
        )
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
    error = profile.standard_error_deg
    random = np.zeros(azimuth.shape) if error is None else np.nan_to_num(error)
    at = floats(np.interp(azimuth, profile.azimuth_deg, random, period=360.0))
    lift = float(np.hypot(profile.level_error_deg, LIFT_ERROR_DEG))
    prior = 1.0 / floats([lift, TILT_ERROR_DEG, TILT_ERROR_DEG]) ** 2
    return _Swept(azimuth, elevation, floats(np.hypot(at, TRACING_ERROR_DEG)), prior)


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
    for _ in range(ROUNDS):
        residual = apart - level @ shapes.T
        scaled = residual / error
        limit = np.where(scaled > 0, NEAR_AT, BELOW_AT)
        weight = np.where(told, np.exp(-((scaled / limit) ** 2)), 0.0)
        each = weight / error**2
        normal = np.einsum("mn,ni,nj->mij", each, shapes, shapes) + np.diag(swept.prior)
        level = np.linalg.solve(normal, ((each * apart) @ shapes)[..., None])[..., 0]
    residual = apart - level @ shapes.T
    scaled = residual / error
    limit = np.where(scaled > 0, NEAR_AT, BELOW_AT)
    weight = np.where(told, np.exp(-((scaled / limit) ** 2)), 0.0)
    # The cost that these weights belong to: a parabola that levels off at the limit's square.
    each = np.where(told, limit**2 * (1 - np.exp(-((scaled / limit) ** 2))), 0.0)
    cost = each.sum(axis=1) + (swept.prior * level**2).sum(axis=1)
    return _Fitted(floats(cost), floats(level), floats(residual), floats(error), floats(weight))


def _slope(swept: _Swept, far: FarHorizon, turn: float, over_deg: float) -> Floats:
    """Slope of the computed skyline, over as much azimuth as a sweep resolves. [deg/deg]"""
    half = max(over_deg / 4, STEP_DEG)
    ahead, behind = (
        far.at(swept.azimuth_deg + turn + side, far.elevation_deg) for side in (half, -half)
    )
    return np.nan_to_num((ahead - behind) / (2 * half))


def _alike(scaled: Floats, weight: Floats) -> Floats:
    """How alike residuals are over 0, 1, 2, … steps of azimuth, until they are no more."""
    values = np.sqrt(weight) * scaled
    power = np.abs(np.fft.rfft(values, 2 * values.size)) ** 2
    shared = np.abs(np.fft.rfft(np.sqrt(weight), 2 * values.size)) ** 2
    together, count = (np.fft.irfft(one)[: values.size // 4] for one in (power, shared))
    mean = together / np.maximum(count, 1e-9)
    mean = mean / max(float(mean[0]), 1e-12)
    ends = np.flatnonzero((mean <= 0.05) | (count < 0.05 * count[0]))
    return floats(mean[: ends[0]] if ends.size else mean)


def _covariance(
    swept: _Swept, fit: _Fitted, k: int, slope: Floats, alike: Floats
) -> tuple[Floats, float]:
    """Covariance of turn, lift and tilts, and the mean square of the scaled residuals."""
    weight, error, residual = fit.weight[k], fit.error[k], fit.residual[k]
    scaled = residual / error
    scale = float((weight * scaled**2).sum() / weight.sum())
    shapes = np.column_stack([slope, _level_shapes(swept.azimuth_deg)])
    pull = (weight / error**2)[:, None] * shapes
    prior = np.diag(np.r_[NOTHING_KNOWN, swept.prior])
    inverse = np.linalg.inv(pull.T @ shapes + prior)
    noise = pull * error[:, None] * np.sqrt(scale)
    spread = noise.T @ noise
    for lag, share in enumerate(alike[1:], 1):
        both = noise.T @ np.roll(noise, lag, axis=0)
        spread += share * (both + both.T)
    return floats(inverse @ (spread + prior) @ inverse), scale
