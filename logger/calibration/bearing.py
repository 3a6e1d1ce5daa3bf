"""Bearing: what a target of known bearing, or the sun by its shadow, says of the heading.

The sun is never looked at: the sight is taken along the shadow that an upright edge casts, away
from the sun. The correction stands in for the declination, so it works where the field is
turned, on a steel roof for one.

A compass errs differently from heading to heading, and a sight tells of one heading only. With a
gyro, turning once round between two sights carries that one heading to all others, so that the
correction is right on their average.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from logger.arrays import Floats, floats
from logger.calibration.fitted import Calibration, figures_of
from logger.calibration.stillness import Hold, held_still, mean_headings
from logger.checks import NORMAL_95, Check, at_most
from logger.errors import InputError
from logger.geometry import angle_between, mean_azimuth, wrap360
from logger.orientation import BearingCorrection, Corrections, Declination, orient
from logger.recording.samples import KeyPress, Samples, presses
from logger.site import Site
from logger.sun import sun_track

LEAST_HOLD_S = 1.0
# A press belongs to the hold that it falls in, or that ended this long before it
KEY_WITHIN_S = 1.5
WANTED_SIGHTS = 3
SPREAD_LIMIT_DEG = 1.0  # Largest spread between the sights of one bearing
TARGET_ERROR_DEG = 0.5  # Of a bearing that somebody gives (common practice, no source)
FLOOR_DEG = 0.5  # No bearing is claimed better than this (common practice, no source)
# How far a bearing may be from compass and declination: beside twice the standard errors, for
# so much does the declination differ from place to place; and with a compass that was not
# calibrated, whose own iron turns it (common practice, no source)
RESIDUAL_DEG, UNCALIBRATED_RESIDUAL_DEG = 3.0, 10.0
# Highest sun, and largest doubt of the clock, for a bearing by a shadow
SUN_LIMIT_DEG, CLOCK_LIMIT_S = 40.0, 15.0
CLOCK_DOUBT_S = 2.0  # Of a computer whose clock is set by network or satellite
EARLIEST_YEAR = 2025
TOWARDS_SUN_DEG = 40.0
SHADOW_WIDTH_DEG = 0.27  # Half the sun's disc, by which a shadow's edge is soft
EARTH_TURN_DEG_S = 15.0 / 3600.0

TURN_BETWEEN = (
    "Between them turn once round in 15 s, the board level and your eyes down; only on the ground: "
    "aloft your feet stay still"
)
NEVER_LOOK = "never look at the sun, with the eye or through any sight: it blinds"
SHADOW_HOW = (
    "stand a pole or use a wall's upright edge, sight along its shadow away from the sun, hold "
    "still for 3 s and press; three times. " + TURN_BETWEEN
)


def fit_bearing_to_target(
    samples: Samples,
    keys: Sequence[KeyPress],
    corrections: Corrections,
    target_deg: float,
) -> Calibration[BearingCorrection]:
    """The heading correction from a target of known true bearing."""
    how = "hold the sight on it for 3 s and press, three times"
    sights = _sights(samples, keys, corrections, "target", how)
    offsets, error = angle_between(target_deg, sights.heading_deg), TARGET_ERROR_DEG
    source, told = f"a target at {wrap360(target_deg):.2f}°", {"target_deg": wrap360(target_deg)}
    return _calibration(samples, corrections, offsets, error, sights.ripple_deg, source, told)


def fit_bearing_to_sun(
    samples: Samples,
    keys: Sequence[KeyPress],
    corrections: Corrections,
    site: Site,
    started: dt.datetime,
    clock_doubt_s: float = CLOCK_DOUBT_S,
) -> Calibration[BearingCorrection]:
    """The heading correction from the sun's shadow, sighted away from the sun."""
    _refuse_doubtful_clock(started, clock_doubt_s)
    sights = _sights(samples, keys, corrections, "shadow", SHADOW_HOW)
    track = sun_track(_utc(started) + (sights.middle_s * 1e9).astype("timedelta64[ns]"), site)
    _refuse_sun(track.elevation_deg)
    offsets = angle_between(wrap360(track.azimuth_deg + 180.0), sights.heading_deg)
    off = abs(float(angle_between(mean_azimuth(offsets), corrections.declination.value_deg)))
    if off > 180 - TOWARDS_SUN_DEG:
        raise InputError(
            "the sights point towards the sun, not along its shadow: " + NEVER_LOOK, hint=SHADOW_HOW
        )
    # An upper bound of how fast the sun's azimuth moves.
    speed_deg_s = EARTH_TURN_DEG_S / float(np.cos(np.radians(track.elevation_deg)).min())
    error = float(np.hypot(SHADOW_WIDTH_DEG, speed_deg_s * clock_doubt_s))
    source = f"the sun's shadow at {float(track.elevation_deg.max()):.0f}° of sun"
    told = {
        "sun_azimuth_deg": track.azimuth_deg,
        "sun_elevation_deg": track.elevation_deg,
        "clock_doubt_s": clock_doubt_s,
    }
    return _calibration(samples, corrections, offsets, error, sights.ripple_deg, source, told)


def refuse_sun_now(site: Site, moment: dt.datetime, clock_doubt_s: float = CLOCK_DOUBT_S) -> None:
    """Refuse a bearing by the sun before anybody has sighted for it."""
    _refuse_doubtful_clock(moment, clock_doubt_s)
    _refuse_sun(sun_track(np.array([_utc(moment)]), site).elevation_deg)


def _utc(moment: dt.datetime) -> np.datetime64:
    return np.datetime64(moment.astimezone(dt.UTC).replace(tzinfo=None), "ns")


def _refuse_doubtful_clock(moment: dt.datetime, clock_doubt_s: float) -> None:
    why = ""
    if not 0 <= clock_doubt_s <= CLOCK_LIMIT_S:
        why = f"the clock is in doubt by {clock_doubt_s:g} s, more than {CLOCK_LIMIT_S:g} s"
    elif moment.year < EARLIEST_YEAR:
        why = f"the clock said {moment:%Y-%m-%d}, before this program was made"
    if why:
        hint = (
            "set the computer's clock by network or satellite, or sight a target of known bearing"
        )
        raise InputError(f"{why}: the sun cannot serve as a bearing", hint=hint)


def _refuse_sun(elevation_deg: Floats) -> None:
    highest, lowest = float(elevation_deg.max()), float(elevation_deg.min())
    if highest > SUN_LIMIT_DEG:
        raise InputError(
            f"the sun stands {highest:.0f}° high; above {SUN_LIMIT_DEG:.0f}° its shadow's "
            "direction is not sharp enough",
            hint="come back when it is lower, or sight a target of known bearing",
        )
    if lowest < 0:
        raise InputError(
            f"the sun is {-lowest:.0f}° below the horizon at this time and place",
            hint="check the clock, its time zone and the site, or sight a target of known bearing",
        )


@dataclass(frozen=True, eq=False)
class _Sights:
    """The board held still on something, one row a hold."""

    middle_s: Floats
    heading_deg: Floats  # Corrected compass heading of the sight, its mean
    ripple_deg: float  # What the compass's ripple may add to their mean. [deg]


def _sights(
    samples: Samples, keys: Sequence[KeyPress], corrections: Corrections, thing: str, how: str
) -> _Sights:
    """The holds on a target or a shadow; refused where there is none."""
    magnetic = replace(corrections, declination=Declination(0.0, 0.0, "none"), bearing=None)
    got = orient(samples, magnetic)
    holds = chosen_holds(held_still(samples.t_s, got.attitude.matrix, LEAST_HOLD_S), keys)
    if not holds:
        raise InputError(f"the board is never held still on the {thing}", hint=how)
    ripple = corrections.compass.heading_ripple_deg if corrections.compass else 0.0
    azimuth = got.sight.azimuth_deg
    angle = np.radians(azimuth[np.isfinite(azimuth)])
    if got.attitude.fused and angle.size:
        # Ripple is semicircular and quadrantal, once and twice round: a mean over headings leaves
        # as much of each as the mean unit vector of once and twice the heading is long.
        ripple *= float(max(np.abs(np.exp(1j * k * angle).mean()) for k in (1, 2)))
    middle = floats([(hold.from_s + hold.to_s) / 2 for hold in holds])
    return _Sights(middle, mean_headings(holds, azimuth), ripple)


def chosen_holds(holds: Sequence[Hold], keys: Sequence[KeyPress]) -> list[Hold]:
    """The holds that a press falls in, or all of them without any press."""
    pressed = presses(keys)
    if not pressed:
        return list(holds)
    return [h for h in holds if any(h.from_s <= t <= h.to_s + KEY_WITHIN_S for t in pressed)]


def _calibration(
    samples: Samples,
    corrections: Corrections,
    offsets: Floats,
    reference_error_deg: float,
    ripple_deg: float,
    source: str,
    told: Mapping[str, Any],
) -> Calibration[BearingCorrection]:
    """The mean of the sights, and how far it may be believed."""
    mean = float(angle_between(mean_azimuth(offsets), 0.0))
    random = FLOOR_DEG
    if len(offsets) > 1:
        random = float(_from_mean(offsets).std(ddof=1) / np.sqrt(len(offsets)))
    # The compass's ripple at this one heading is part of what the bearing carries to all others.
    error = float(np.sqrt(random**2 + reference_error_deg**2 + ripple_deg**2))
    correction = BearingCorrection(
        heading_deg=mean,
        standard_error_deg=max(error, FLOOR_DEG),
        residual_deg=float(angle_between(mean, corrections.declination.value_deg)),
        source=source,
    )
    figures = {
        "sights": len(offsets),
        "heading_deg": correction.heading_deg,
        "residual_deg": correction.residual_deg,
        "standard_error_deg": correction.standard_error_deg,
        "largest_spread_deg": _spread(offsets),
        "declination_deg": corrections.declination.value_deg,
        **told,
    }
    checks = _spread_check(offsets, correction), _residual_check(correction, corrections)
    return Calibration(correction, figures_of(samples, figures), checks)


def _from_mean(offsets: Floats) -> Floats:
    return floats(angle_between(offsets, mean_azimuth(offsets)))


def _spread(offsets: Floats) -> float:
    return float(np.abs(_from_mean(offsets)).max()) if len(offsets) > 1 else 0.0


def _spread_check(offsets: Floats, correction: BearingCorrection) -> Check:
    n, spread = len(offsets), _spread(offsets)
    why = (
        f"{n} sights of {correction.source} agree within {spread:.2f}°; after declination the "
        f"compass is still {correction.residual_deg:+.2f}° off, good to "
        f"{NORMAL_95 * correction.standard_error_deg:.2f}° (95 %)"
    )
    again, name = "; hold stiller and sight again", "bearing calibration"
    if n < WANTED_SIGHTS:
        why += f"; take {WANTED_SIGHTS} sights"
        return Check(name, False, round(spread, 3), SPREAD_LIMIT_DEG, "deg", why)
    return at_most(name, spread, SPREAD_LIMIT_DEG, "deg", why, again)


def _residual_check(correction: BearingCorrection, corrections: Corrections) -> Check:
    """Whether a bearing may be right: a calibrated compass and the declination say nearly so."""
    residual, limit = abs(correction.residual_deg), UNCALIBRATED_RESIDUAL_DEG
    compass, curve = corrections.compass, corrections.deviation
    if compass or curve:
        errors = (
            correction.standard_error_deg,
            corrections.declination.standard_error_deg,
            compass.heading_error_deg if compass else 0.0,
            curve.standard_error_deg if curve else 0.0,
        )
        limit = RESIDUAL_DEG + round(2 * float(np.linalg.norm(errors)), 3)
    why = f"compass and declination point {residual:.1f}° from {correction.source}"
    wrong = "a typing error in the bearing, the wrong target, or steel nearby"
    name, otherwise = "bearing agrees with compass", f", more than {limit:.1f}°: {wrong}"
    return at_most(name, residual, limit, "deg", why, otherwise)
