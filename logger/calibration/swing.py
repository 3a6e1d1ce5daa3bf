"""Swing: the deviation curve of a board that sends only attitude.

The compass heading is compared with targets of known bearing all the way round (or the shadow),
and the deviation is written by the five coefficients of compass adjustment: constant A,
semicircular B and C, quadrantal D and E.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import ArrayLike

from logger.arrays import Floats, floats
from logger.calibration.fitted import Calibration, figures_of
from logger.calibration.stillness import Hold, held_still, mean_headings
from logger.checks import Check
from logger.errors import InputError
from logger.geometry import angle_between, wrap360
from logger.orientation import Corrections, Declination, DeviationCurve, orient
from logger.recording.samples import Samples

LEAST_HEADINGS = 8
WIDEST_GAP_DEG = 60.0
PRESS_WITHIN_S = 3.0
LEAST_HOLD_S = 1.0
LARGEST_RESIDUAL_DEG = 2.0


def deviation_curve(
    compass_heading_deg: ArrayLike, deviation_deg: ArrayLike
) -> tuple[DeviationCurve, Floats]:
    """Least-squares coefficients A to E, or A alone where the headings do not carry more."""
    heading, deviation = floats(compass_heading_deg), floats(deviation_deg)
    h = np.radians(heading)
    full = np.column_stack([np.ones_like(h), np.sin(h), np.cos(h), np.sin(2 * h), np.cos(2 * h)])
    whole = _all_round(heading)
    design = full if whole else full[:, :1]
    found = np.linalg.lstsq(design, deviation, rcond=None)[0]
    residual = deviation - design @ found
    spare = len(h) - design.shape[1]
    scatter = float(np.sqrt(residual @ residual / spare)) if spare > 0 else LARGEST_RESIDUAL_DEG
    # The mean variance of a fitted value over the circle is that of the coefficients summed,
    # sines and cosines counting half.
    spread = np.linalg.inv(design.T @ design).diagonal() * np.r_[1.0, [0.5] * 4][: design.shape[1]]
    error = scatter * float(np.sqrt(spread.sum()))
    if not whole:
        # A constant says nothing of how the deviation changes round the circle.
        error = float(np.hypot(error, LARGEST_RESIDUAL_DEG))
    a, b, c, d, e = map(float, [*found, *[0.0] * (5 - len(found))])
    return DeviationCurve(a, b, c, d, e, error), floats(residual)


def widest_gap_deg(heading_deg: ArrayLike) -> float:
    """Widest gap between neighbouring headings round the circle; 360 for one. [deg]"""
    ordered = np.sort(floats(wrap360(floats(heading_deg))))
    if not len(ordered):
        return 360.0
    return float(np.diff(np.r_[ordered, ordered[0] + 360.0]).max())


def _all_round(heading_deg: Floats) -> bool:
    return len(heading_deg) >= LEAST_HEADINGS and widest_gap_deg(heading_deg) <= WIDEST_GAP_DEG


def fit_swing(
    samples: Samples, sights: Sequence[tuple[float, float]], declination: Declination
) -> Calibration[DeviationCurve]:
    """Fit the deviation curve from holds on targets, each pressed at a time, of a true bearing."""
    got = orient(samples, Corrections(Declination(0.0, 0.0, "none")))
    pairs = _pairs(held_still(samples.t_s, got.attitude.matrix, LEAST_HOLD_S), sights)
    if not pairs:
        raise InputError(
            "no hold of the swing has a known bearing",
            hint="sight each target, hold still and press; give their true bearings with "
            "--bearings, at least 8 without a gap above 60°",
        )
    compass = mean_headings([hold for hold, _ in pairs], got.sight.azimuth_deg)
    magnetic = wrap360(floats([bearing for _, bearing in pairs]) - declination.value_deg)
    deviation = floats(angle_between(magnetic, compass))
    curve, residual = deviation_curve(compass, deviation)
    worst = float(np.abs(residual).max())
    figures = {
        "headings": len(pairs),
        "widest_gap_deg": widest_gap_deg(compass),
        "coefficients_deg": {k: getattr(curve, k) for k in "abcde"},
        "largest_residual_deg": worst,
        "standard_error_deg": curve.standard_error_deg,
        "compass_heading_deg": compass,
        "deviation_deg": deviation,
    }
    return Calibration(curve, figures_of(samples, figures), (_check(compass, worst),))


def _check(compass_deg: Floats, worst_deg: float) -> Check:
    n, gap, whole = len(compass_deg), widest_gap_deg(compass_deg), _all_round(compass_deg)
    why = f"{n} headings, widest gap {gap:.0f}°; largest residual {worst_deg:.2f}°"
    if not whole:
        why = (
            f"{n} headings with a gap of {gap:.0f}° give the constant only; take at least "
            f"{LEAST_HEADINGS} without a gap above {WIDEST_GAP_DEG:.0f}°"
        )
    elif worst_deg > LARGEST_RESIDUAL_DEG:
        why += "; a bearing is wrong, or iron was near: swing again"
    passed = whole and worst_deg <= LARGEST_RESIDUAL_DEG
    worst = round(worst_deg, 3)
    return Check("deviation curve", passed, worst, LARGEST_RESIDUAL_DEG, "deg", why)


def _pairs(
    holds: Sequence[Hold], sights: Sequence[tuple[float, float]]
) -> list[tuple[Hold, float]]:
    """Each bearing with the hold that it was pressed in or just after."""
    found = []
    for t_s, bearing_deg in sights:
        fitting = [h for h in holds if h.from_s <= t_s <= h.to_s + PRESS_WITHIN_S]
        if fitting:
            found.append((max(fitting, key=lambda h: h.from_s), bearing_deg))
    return found
