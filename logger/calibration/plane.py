"""Plane: tilt and azimuth of a surface from the board laid on it.

The board's z axis goes into the surface: tilt comes from gravity, azimuth from the field. On a
steel roof the field is no use; the azimuth then comes from a sight along the eaves or the ridge,
taken where the compass works, and the board only says which side is down.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from scipy.spatial.transform import Rotation

from logger.arrays import Floats, floats
from logger.calibration.stillness import Stretch, held_still
from logger.checks import NORMAL_95, Check
from logger.errors import InputError
from logger.geometry import angle_between, direction_of, wrap360
from logger.orientation import Corrections, orient
from logger.recording.samples import Samples

LEAST_LYING_S = 2.5
"""Three seconds are asked for; the ends of a stretch are trimmed. [s]"""
SEATING_ERROR_DEG = 0.5
"""How the board's back sits against its sensors and on the surface, once laid (common practice,
no source); laid again turned end for end, this cancels. [deg]"""
SAME_SURFACE_DEG = 8.0
LEVEL_DEG = 3.0
"""Below this tilt the azimuth says nothing. [deg]"""
AZIMUTH_LIMIT_DEG = 5.0


@dataclass(frozen=True)
class PlaneFix:
    """A surface measured."""

    # From horizontal; of the downslope normal. [deg]
    tilt_deg: float
    azimuth_deg: float
    # Standard errors. [deg]
    tilt_error_deg: float
    azimuth_error_deg: float
    figures: dict[str, Any]
    checks: tuple[Check, ...]


def fit_plane(samples: Samples, corrections: Corrections, *, along_eaves: bool = False) -> PlaneFix:
    """Tilt and azimuth from the board lying still; several lays of one surface are averaged."""
    got = orient(samples, corrections)
    matrix = got.attitude.matrix
    # What turns magnetic into true north is the same for the sight and for the surface.
    holds = held_still(samples.t_s, matrix, 1.0 if along_eaves else LEAST_LYING_S)
    eaves = holds[-1] if along_eaves and len(holds) > 1 else None
    lays = [h for h in holds if h is not eaves and h.to_s - h.from_s >= LEAST_LYING_S - 1e-9]
    if not lays:
        raise InputError(
            "the board never lies still for 3 s",
            hint="lay it on the surface, its sight up the slope, and leave it for 5 s",
        )
    if along_eaves and eaves is None:
        raise InputError(
            "there is no sight along the eaves after the board was laid",
            hint="after laying it, sight along the eaves or ridge and hold still for 3 s",
        )
    turn_deg = _turn(got.sight.azimuth_deg, matrix, corrections)
    mounts = [_mean(matrix, lay) for lay in lays]
    normals = floats([-m[:, 2] for m in mounts])
    if (normals[:, 2] > 0).any():
        raise InputError(
            "the board lies on its face", hint="lay it on its back, its sight up the slope"
        )
    normal = normals.mean(axis=0) / np.linalg.norm(normals.mean(axis=0))
    apart = float(np.degrees(np.arccos(np.clip(normals @ normal, -1, 1))).max())
    if apart > SAME_SURFACE_DEG:
        raise InputError(
            f"the lays differ by {2 * apart:.1f}° and cannot be of one surface",
            hint="measure one surface at a time",
        )
    tilt = float(np.degrees(np.arctan2(np.hypot(normal[0], normal[1]), -normal[2])))
    azimuth = float(wrap360(direction_of(normal)[0] + turn_deg))
    reversed_ = _end_for_end(mounts)
    seating = 0.15 if reversed_ else SEATING_ERROR_DEG / np.sqrt(len(lays))
    level = got.sight.level_error_deg
    tilt_error = float(np.hypot(seating, level))
    azimuth_error = float(
        np.hypot(got.sight.heading_error_deg, tilt_error / max(np.sin(np.radians(tilt)), 0.01))
    )
    figures: dict[str, Any] = {
        "lays": len(lays),
        "end_for_end": reversed_,
        "seconds_s": round(sum(lay.to_s - lay.from_s for lay in lays), 1),
        "azimuth_by_field_deg": round(azimuth, 3),
    }
    if eaves is not None:
        line = float(np.nanmean(np.unwrap(got.sight.azimuth_deg[eaves.rows], period=360.0)))
        sides = [float(wrap360(line + 90.0)), float(wrap360(line - 90.0))]
        azimuth = min(sides, key=lambda side: abs(float(angle_between(side, azimuth))))
        azimuth_error = float(np.hypot(got.sight.heading_error_deg, SEATING_ERROR_DEG))
        figures["eaves_azimuth_deg"] = round(float(wrap360(line)), 3)
    azimuth_error = min(azimuth_error, 180.0)
    return PlaneFix(
        tilt, azimuth, tilt_error, azimuth_error, figures, _checks(tilt, tilt_error, azimuth_error)
    )


def _turn(azimuth_deg: Floats, matrix: Floats, corrections: Corrections) -> float:
    """True azimuth of magnetic (or the board's) north, by how the sight was turned."""
    sight = corrections.level.sight_in_body() if corrections.level else np.array([1.0, 0.0, 0.0])
    own, _ = direction_of(matrix @ sight)
    turns = np.asarray(angle_between(azimuth_deg, own), dtype=float)
    return float(np.nanmedian(turns))


def _mean(matrix: Floats, stretch: Stretch) -> Floats:
    part = matrix[stretch.rows]
    part = part[np.isfinite(part).all(axis=(1, 2))]
    return floats(Rotation.from_matrix(part).mean().as_matrix())


def _end_for_end(mounts: Sequence[Floats]) -> bool:
    """Whether two lays point their sights in opposite directions."""
    sights = floats([m[:, 0] for m in mounts])
    return bool((sights @ sights.T).min() < -0.9)


def _checks(tilt: float, tilt_error: float, azimuth_error: float) -> tuple[Check, ...]:
    passed = azimuth_error <= AZIMUTH_LIMIT_DEG or tilt < LEVEL_DEG
    why = (
        f"tilt good to {NORMAL_95 * tilt_error:.1f}°, azimuth to "
        f"{NORMAL_95 * azimuth_error:.1f}° (95 %)"
    )
    if tilt < LEVEL_DEG:
        why += "; so nearly level that the azimuth hardly counts"
    elif not passed:
        why += "; calibrate the compass, or sight along the eaves away from steel"
    return (
        Check("plane measured", passed, round(azimuth_error, 2), AZIMUTH_LIMIT_DEG, "deg", why),
    )
