"""Level: index and collimation from face left and face right, and end-for-end reversal.

As with a theodolite, the same mark is sighted upright and with the board rolled over. A line of
sight that points above or beside the board's x axis then points below or to the other side, so
half the difference is its error, whatever the mark's own direction. What the accelerometer adds
along the sight is the same in both faces; sighting along any straight edge, turning round and
sighting back separates it: the mean of the two elevations is the offset.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import pairwise
from typing import Any

import numpy as np
from scipy.spatial.transform import Rotation

from logger.arrays import Floats, floats
from logger.calibration.stillness import Stretch, held_still
from logger.checks import NORMAL_95, Check
from logger.errors import InputError
from logger.geometry import angle_between, direction_of, wrap360
from logger.orientation import Corrections, LevelCorrection, SensorDrift, orient
from logger.recording.samples import Samples

LEAST_HOLD_S = 1.5
FACE_DEG = 45.0
SAME_MARK_DEG = 20.0
"""Two faces further apart than this did not sight the same mark. [deg]"""
OPPOSITE_DEG = 25.0
LARGEST_DEG = 10.0
TREMOR_MEMORY_S = 0.5
"""Means over this time are taken as independent of each other. [s]"""
LIMIT_DEG = 0.3
"""Standard error of index and of collimation. [deg]"""
BETWEEN_FACES = SensorDrift(rate_bias_deg_s=0.1, force_offset_g=0.01, field_memory_s=10.0)
"""Between two faces a few seconds apart the gyro is to be believed, not the field, which the two
faces see through different errors of the compass."""
NOISY_HEADING_DEG = 0.15
"""What the gyro leaves between two faces a few seconds apart. [deg]"""


@dataclass(frozen=True)
class Face:
    """One hold of the board."""

    stretch: Stretch
    matrix: tuple[float, ...]  # Mean attitude, body to level, by rows
    tilt_deg: float  # [deg]
    # Standard error of the mean attitude from the hold's own unsteadiness. [deg]
    level_error_deg: float
    heading_error_deg: float

    @property
    def attitude(self) -> Floats:
        """Mean attitude as a matrix. Shape (3, 3)."""
        return floats(self.matrix).reshape(3, 3)

    @property
    def upright(self) -> bool:
        """Face left: the board's top is up."""
        return abs(self.tilt_deg) < FACE_DEG

    @property
    def rolled(self) -> bool:
        """Face right: the board's top is down."""
        return abs(self.tilt_deg) > 180 - FACE_DEG


@dataclass(frozen=True)
class LevelCalibration:
    """A level calibration with its proof."""

    correction: LevelCorrection
    figures: dict[str, Any]
    checks: tuple[Check, ...]


def fit_level(samples: Samples, corrections: Corrections) -> LevelCalibration:
    """Fit index, collimation and, after an end-for-end reversal, the pitch offset."""
    got = orient(samples, replace(corrections, level=None), drift=BETWEEN_FACES)
    fused = got.attitude.fused
    faces = _faces(samples.t_s, got.attitude.matrix)
    pairs = _pairs(faces)
    if not pairs:
        raise InputError(_no_pair(faces), hint=HOW)
    index, collimation = np.degrees(_sight_of(pairs))
    if max(abs(index), abs(collimation)) > LARGEST_DEG:
        raise InputError(
            f"index {index:+.1f}° and collimation {collimation:+.1f}° are too large to be true",
            hint="sight the same mark, 20 m away or more, in both faces",
        )
    each = np.degrees([_sight_of([pair]) for pair in pairs])
    error = _errors(each, pairs, corrections, raw=bool(samples.has_field.any()), fused=fused)
    correction = LevelCorrection(
        index_deg=float(index),
        collimation_deg=float(collimation),
        index_error_deg=float(error[0]),
        collimation_error_deg=float(error[1]),
    )
    edges = _reversals(faces, pairs, correction)
    left = float(np.mean([mean for mean, _ in edges])) if edges else 0.0
    if edges:
        found = got.attitude.force_offset_g[0] if got.attitude.force_offset_g else 0.0
        offset = float(np.degrees(found)) + left
        own = float(np.mean([e for _, e in edges]) / np.sqrt(2 * len(edges)))
        correction = replace(
            correction,
            pitch_offset_deg=offset,
            pitch_offset_error_deg=float(np.hypot(own, correction.index_error_deg)),
        )
    azimuth, elevation, mark_error = _mark(pairs, correction, corrections)
    elevation -= left
    temperature = samples.temperature_c[np.isfinite(samples.temperature_c)]
    figures: dict[str, Any] = {
        "pairs": len(pairs),
        "reversals": len(edges),
        "index_deg": round(correction.index_deg, 4),
        "index_error_deg": round(correction.index_error_deg, 4),
        "collimation_deg": round(correction.collimation_deg, 4),
        "collimation_error_deg": round(correction.collimation_error_deg, 4),
        "pitch_offset_deg": round(correction.pitch_offset_deg, 4) if edges else None,
        "pitch_offset_error_deg": round(correction.pitch_offset_error_deg, 4) if edges else None,
        "mark_azimuth_deg": round(azimuth, 3),
        "mark_azimuth_error_deg": round(mark_error, 3),
        "mark_elevation_deg": round(elevation, 3),
        "hold_s": round(min(f.stretch.to_s - f.stretch.from_s for p in pairs for f in p), 2),
        "with_gyro": fused,
        "temperature_c": float(np.median(temperature)) if len(temperature) else None,
    }
    return LevelCalibration(correction, figures, _checks(correction))


HOW = (
    "hold the sight on a mark 20 m away or more for 4 s, roll the board over about the line of "
    "sight, hold it on the same mark for 4 s again"
)


def _no_pair(faces: Sequence[Face]) -> str:
    if not faces:
        return "the board is never held still"
    if not any(face.rolled for face in faces):
        return f"no hold with the board rolled over among {len(faces)} still holds"
    if not any(face.upright for face in faces):
        return f"no upright hold among {len(faces)} still holds"
    return "no upright hold is followed by a rolled one on the same mark"


def _faces(t_s: Floats, matrix: Floats) -> list[Face]:
    found = []
    for stretch in held_still(t_s, matrix, LEAST_HOLD_S):
        part = matrix[stretch.rows]
        part = part[np.isfinite(part).all(axis=(1, 2))]
        mean = Rotation.from_matrix(part).mean()
        off = np.degrees((Rotation.from_matrix(part) * mean.inv()).as_rotvec())
        blocks = max(2, int((stretch.to_s - stretch.from_s) / TREMOR_MEMORY_S))
        means = floats([block.mean(axis=0) for block in np.array_split(off, blocks)])
        north, east, down = means.std(axis=0, ddof=1) / np.sqrt(blocks)
        m = mean.as_matrix()
        tilt = float(np.degrees(np.arctan2(m[2, 1], m[2, 2])))
        level = float(np.hypot(north, east) / np.sqrt(2))
        found.append(Face(stretch, tuple(m.ravel().tolist()), tilt, level, float(down)))
    return found


def _pairs(faces: Sequence[Face]) -> list[tuple[Face, Face]]:
    """Neighbouring holds, one upright and one rolled, whose x axes point nearly alike."""
    near = np.cos(np.radians(SAME_MARK_DEG))
    found = []
    for a, b in pairwise(faces):
        if ((a.upright and b.rolled) or (a.rolled and b.upright)) and float(
            a.attitude[:, 0] @ b.attitude[:, 0]
        ) > near:
            found.append((a, b) if a.upright else (b, a))
    return found


def _sight_of(pairs: Sequence[tuple[Face, Face]]) -> Floats:
    """Index and collimation [rad]: the body direction that both faces of each pair send alike.

    ``(R_upright - R_rolled) (1, c, -i) = 0`` in the least-squares sense.
    """
    rows = np.concatenate([up.attitude - down.attitude for up, down in pairs])
    solution = np.linalg.lstsq(rows[:, 1:], -rows[:, 0], rcond=None)[0]
    return floats([-solution[1], solution[0]])


def _errors(
    each: Floats,
    pairs: Sequence[tuple[Face, Face]],
    corrections: Corrections,
    *,
    raw: bool,
    fused: bool,
) -> Floats:
    """Standard errors of index and collimation. [deg]"""
    n = len(pairs)
    level = np.mean([up.level_error_deg**2 + down.level_error_deg**2 for up, down in pairs])
    turn = np.mean([up.heading_error_deg**2 + down.heading_error_deg**2 for up, down in pairs])
    if fused:
        heading = NOISY_HEADING_DEG / 2
    elif raw and corrections.compass is not None:
        # The accelerometer's error across the sight turns the heading by tan(dip) times as much.
        lean = corrections.compass.level_error_deg * np.tan(np.radians(corrections.compass.dip_deg))
        heading = float(np.hypot(corrections.compass.heading_ripple_deg, lean)) / np.sqrt(2)
    else:
        heading = 0.5
    # What a hand does is new with every pair; what a compass does is not.
    stated = np.sqrt([level / 4 / n, turn / 4 / n + heading**2])
    if n < 2:
        return floats(stated)
    return floats(np.maximum(stated, each.std(axis=0, ddof=1) / np.sqrt(n)))


def _reversals(
    faces: Sequence[Face], pairs: Sequence[tuple[Face, Face]], correction: LevelCorrection
) -> list[tuple[float, float]]:
    """Mean elevation, and its error, of neighbouring upright sights in opposite directions."""
    sight = correction.sight_in_body()
    found = []
    for a, b in pairwise(faces):
        if not (a.upright and b.upright):
            continue
        azimuth, elevation = direction_of(np.stack([a.attitude @ sight, b.attitude @ sight]))
        turn = abs(float(angle_between(azimuth[1], azimuth[0])))
        if turn > 180 - OPPOSITE_DEG and abs(elevation[0] + elevation[1]) < 2 * LARGEST_DEG:
            error = float(np.hypot(a.level_error_deg, b.level_error_deg))
            found.append((float(elevation.mean()), error))
    return found


def _mark(
    pairs: Sequence[tuple[Face, Face]], correction: LevelCorrection, corrections: Corrections
) -> tuple[float, float, float]:
    """True azimuth and elevation of the mark, and the azimuth's standard error. [deg]"""
    sight = correction.sight_in_body()
    both = floats([face.attitude @ sight for pair in pairs for face in pair]).mean(axis=0)
    azimuth, elevation = direction_of(both)
    if corrections.bearing is not None:
        turn, error = corrections.bearing.heading_deg, corrections.bearing.standard_error_deg
    else:
        turn = corrections.declination.value_deg
        error = corrections.declination.standard_error_deg
    compass = corrections.compass.heading_error_deg if corrections.compass else 1.0
    return float(wrap360(azimuth + turn)), float(elevation), float(np.hypot(error, compass))


def _checks(correction: LevelCorrection) -> tuple[Check, ...]:
    worst = max(correction.index_error_deg, correction.collimation_error_deg)
    passed = worst <= LIMIT_DEG
    why = (
        f"index {correction.index_deg:+.2f}° ± {NORMAL_95 * correction.index_error_deg:.2f}°, "
        f"collimation {correction.collimation_deg:+.2f}° ± "
        f"{NORMAL_95 * correction.collimation_error_deg:.2f}° (95 %)"
    )
    if not passed:
        why += "; repeat the pair of faces three times, arms rested"
    return (Check("level calibration", passed, round(worst, 3), LIMIT_DEG, "deg", why),)
