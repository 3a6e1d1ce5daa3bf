"""Plane: tilt and azimuth of a surface from the board laid on it.

The board's z axis goes into the surface: tilt comes from gravity, azimuth from the magnetic field.
On a steel roof the field is no use; the azimuth then comes from a sight along the eaves or the
ridge, taken where the compass works, and the board only says which side is down.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from scipy.spatial.transform import Rotation

from logger.arrays import Floats, floats
from logger.calibration.fitted import figures_of
from logger.calibration.stillness import Hold, held_still, holds_of, slower
from logger.checks import NORMAL_95, Check, at_most
from logger.errors import InputError
from logger.geometry import angle_between, direction_of, wrap360
from logger.orientation import Corrections, orient
from logger.recording.samples import Samples

# Three seconds are asked for; the ends of a stretch are trimmed
LEAST_LYING_S, LEAST_SIGHT_S = 2.5, 1.0
# How the board's back sits against its sensors and on the surface, once laid; and what is left
# of it when it is laid again turned end for end (common practice, no source)
SEATING_ERROR_DEG, END_FOR_END_ERROR_DEG = 0.5, 0.15
SAME_SURFACE_DEG = 8.0
LEVEL_DEG = 3.0  # Below this tilt the azimuth says nothing
AZIMUTH_LIMIT_DEG = 5.0


@dataclass(frozen=True)
class PlaneFix:
    """A surface measured."""

    tilt_deg: float  # From horizontal
    azimuth_deg: float  # Of the downslope normal
    tilt_error_deg: float  # Standard errors
    azimuth_error_deg: float
    figures: dict[str, Any]
    checks: tuple[Check, ...]


def fit_plane(samples: Samples, corrections: Corrections, *, along_eaves: bool = False) -> PlaneFix:
    """Tilt and azimuth from the board lying still; several lays of one surface are averaged."""
    got = orient(samples, corrections)
    matrix, sight = got.attitude.matrix, got.sight
    lays, eaves = _lays(samples.t_s, matrix, along_eaves)
    known = got.attitude.known
    parts = (matrix[lay.rows][known[lay.rows]] for lay in lays)
    mounts = floats([Rotation.from_matrix(part).mean().as_matrix() for part in parts])
    normal = _normal(-mounts[:, :, 2])
    tilt = float(np.degrees(np.arctan2(np.hypot(normal[0], normal[1]), -normal[2])))
    # What turns magnetic into true north is the same for the sight and for the surface.
    level = corrections.level
    own, _ = direction_of(matrix @ (level.sight_in_body() if level else np.array([1.0, 0.0, 0.0])))
    turn_deg = float(np.nanmedian(floats(angle_between(sight.azimuth_deg, own))))
    azimuth = float(wrap360(direction_of(normal)[0] + turn_deg))
    end_for_end = bool((mounts[:, :, 0] @ mounts[:, :, 0].T).min() < -0.9)
    seating = END_FOR_END_ERROR_DEG if end_for_end else SEATING_ERROR_DEG / np.sqrt(len(lays))
    tilt_error = float(np.hypot(seating, sight.level_error_deg))
    leaning = tilt_error / max(np.sin(np.radians(tilt)), 0.01)
    figures = {
        "lays": len(lays),
        "end_for_end": end_for_end,
        "seconds_s": sum(lay.seconds_s for lay in lays),
        "azimuth_by_field_deg": azimuth,
    }
    if eaves is not None:
        line = float(np.nanmean(np.unwrap(sight.azimuth_deg[eaves.rows], period=360.0)))
        sides = [float(wrap360(line + 90.0)), float(wrap360(line - 90.0))]
        azimuth = min(sides, key=lambda side: abs(float(angle_between(side, azimuth))))
        leaning = SEATING_ERROR_DEG
        figures["eaves_azimuth_deg"] = wrap360(line)
    azimuth_error = min(float(np.hypot(sight.heading_error_deg, leaning)), 180.0)
    checks = (_check(tilt, tilt_error, azimuth_error),)
    said = figures_of(samples, figures)
    return PlaneFix(tilt, azimuth, tilt_error, azimuth_error, said, checks)


def _lays(t_s: Floats, matrix: Floats, along_eaves: bool) -> tuple[list[Hold], Hold | None]:
    """Where the board lies on the surface, and the sight along the eaves after that."""
    lays = holds_of(slower(t_s, matrix), t_s, LEAST_LYING_S)
    if not lays:
        raise InputError(
            "the board never lies still for 3 s",
            hint="lay it on the surface, its sight up the slope, and leave it for 5 s",
        )
    if not along_eaves:
        return lays, None
    eaves = held_still(t_s, matrix, LEAST_SIGHT_S)[-1]
    before = [lay for lay in lays if lay.stop <= eaves.start]
    if not before:
        raise InputError(
            "there is no sight along the eaves after the board was laid",
            hint="after laying it, sight along the eaves or ridge and hold still for 3 s",
        )
    return before, eaves


def _normal(normals: Floats) -> Floats:
    """Unit vector out of the surface (north, east, down), of all lays together."""
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
    return floats(normal)


def _check(tilt: float, tilt_error: float, azimuth_error: float) -> Check:
    why = (
        f"tilt good to {NORMAL_95 * tilt_error:.1f}°, azimuth to "
        f"{NORMAL_95 * azimuth_error:.1f}° (95 %)"
    )
    if tilt < LEVEL_DEG:
        why += "; so nearly level that the azimuth hardly counts"
        error = round(azimuth_error, 2)
        return Check("plane measured", True, error, AZIMUTH_LIMIT_DEG, "deg", why)
    again = "; calibrate the compass, or sight along the eaves away from steel"
    return at_most("plane measured", azimuth_error, AZIMUTH_LIMIT_DEG, "deg", why, again, digits=2)
