"""Level: index and collimation from face left and face right, and end-for-end reversal.

As with a theodolite, the same target is sighted upright and with the board rolled over. A line of
sight that points above or beside the board's x axis then points below or to the other side, so
half the difference is its error, whatever the target's own direction. What the accelerometer adds
along the sight is the same in both faces; sighting along any straight edge, turning round and
sighting back separates it: the mean of the two elevations is the offset.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np

from logger.arrays import Floats, floats
from logger.calibration.fitted import Calibration, figures_of
from logger.calibration.stillness import Hold, holds_of, sight_is_still
from logger.checks import NORMAL_95, Check, at_most
from logger.errors import InputError
from logger.geometry import angle_between, angles_of, direction_of, mean_azimuth, wrap360
from logger.orientation import Corrections, LevelCorrection, SensorPrior, orient
from logger.recording.samples import Samples

LEAST_HOLD_S = 1.5
FACE_DEG = 45.0  # Roll this near to upright, or to upside down, is one of the two faces
SAME_TARGET_DEG = 20.0  # Two faces further apart than this did not sight the same target
OPPOSITE_DEG = 25.0
LARGEST_DEG = 10.0
TREMOR_MEMORY_S = 0.5  # Means over this time are taken as independent of each other
LIMIT_DEG = 0.3  # Standard error of index and of collimation
# Between two faces a few seconds apart the gyro is to be believed, not the field, which the two
# faces see through different errors of the compass
BETWEEN_FACES = SensorPrior(
    bias_error_deg_s=0.1, offset_error_g=(0.01, 0.01, 0.01), field_memory_s=10.0
)
# Of index and pitch offset, however long the holds: what the compass calibration leaves of the
# accelerometer (benchmarks/calibration.py)
FLOOR_DEG = 0.02
# Error of collimation from the heading between two faces: with the gyro
# (benchmarks/calibration.py), and of a board that computes its own (common practice, no source)
FACE_TURN_ERROR_DEG, BOARD_TURN_ERROR_DEG = 0.075, 0.5

HOW = (
    "hold the sight on a target 20 m away or more for 4 s, roll the board over about the line of "
    "sight, hold it on the same target for 4 s again"
)


@dataclass(frozen=True, eq=False)
class Face:
    """One hold of the board."""

    hold: Hold
    # Mean attitude, body to level. Every row sends the true sight to the target, whatever its roll,
    # so the plain mean does too; it is no rotation. Shape (3, 3)
    mean: Floats
    upright: bool  # Face left: the board's top is up; else face right, it is down
    # Standard error of the mean sight from the hold's own unsteadiness. [deg]
    level_error_deg: float
    heading_error_deg: float


def fit_level(samples: Samples, corrections: Corrections) -> Calibration[LevelCorrection]:
    """Fit index, collimation and, after an end-for-end reversal, the pitch offset."""
    got = orient(samples, replace(corrections, level=None), prior=BETWEEN_FACES)
    faces = _faces(samples.t_s, got.attitude.matrix)
    pairs = _pairs(faces)
    if not pairs:
        raise InputError(_no_pair(faces), hint=HOW)
    index, collimation = np.degrees(_sight_of(pairs))
    if max(abs(index), abs(collimation)) > LARGEST_DEG:
        raise InputError(
            f"index {index:+.1f}° and collimation {collimation:+.1f}° are too large to be true",
            hint="sight the same target, 20 m away or more, in both faces",
        )
    turn_error = _turn_error_deg(corrections, bool(samples.has_field.any()), got.attitude.fused)
    errors = _errors(pairs, turn_error)
    correction = LevelCorrection(float(index), float(collimation), 0.0, *map(float, errors))
    edges = _reversals(faces, correction)
    left = float(np.mean([mean for mean, _ in edges])) if edges else 0.0
    if edges:
        found = got.attitude.force_offset_g[0] if got.attitude.force_offset_g else 0.0
        own = float(np.mean([error for _, error in edges]) / np.sqrt(2 * len(edges)))
        correction = replace(
            correction,
            pitch_offset_deg=float(np.degrees(found)) + left,
            pitch_offset_error_deg=float(np.linalg.norm([own, errors[0], FLOOR_DEG])),
        )
    azimuth, elevation, azimuth_error = _target(pairs, correction, corrections)
    figures = {
        "pairs": len(pairs),
        "reversals": len(edges),
        "index_deg": correction.index_deg,
        "index_error_deg": correction.index_error_deg,
        "collimation_deg": correction.collimation_deg,
        "collimation_error_deg": correction.collimation_error_deg,
        "pitch_offset_deg": correction.pitch_offset_deg if edges else None,
        "pitch_offset_error_deg": correction.pitch_offset_error_deg if edges else None,
        "target_azimuth_deg": azimuth,
        "target_azimuth_error_deg": azimuth_error,
        "target_elevation_deg": elevation - left,
        "hold_s": min(face.hold.seconds_s for pair in pairs for face in pair),
        "with_gyro": got.attitude.fused,
    }
    return Calibration(correction, figures_of(samples, figures), (_check(correction),))


def _no_pair(faces: Sequence[Face]) -> str:
    if not faces:
        return "the board is never held still"
    if all(face.upright for face in faces):
        return f"no hold with the board rolled over among {len(faces)} still holds"
    if not any(face.upright for face in faces):
        return f"no upright hold among {len(faces)} still holds"
    return "no upright hold is followed by a rolled one on the same target"


def _faces(t_s: Floats, matrix: Floats) -> list[Face]:
    """Where the sight is held still, face by face, in order of time."""
    still = sight_is_still(t_s, matrix)
    with np.errstate(invalid="ignore"):
        roll = np.abs(angles_of(matrix)[1])
        sides = {True: roll < FACE_DEG, False: roll > 180 - FACE_DEG}
    found = [
        _face(hold, matrix[hold.rows], upright)
        for upright, side in sides.items()
        for hold in holds_of(still & (side | np.isnan(roll)), t_s, LEAST_HOLD_S)
    ]
    return sorted(found, key=lambda face: face.hold.start)


def _face(hold: Hold, matrix: Floats, upright: bool) -> Face:
    known = matrix[np.isfinite(matrix).all(axis=(1, 2))]
    azimuth, elevation = direction_of(known[:, :, 0])
    off = np.column_stack([elevation, floats(angle_between(azimuth, mean_azimuth(azimuth)))])
    blocks = max(2, int(hold.seconds_s / TREMOR_MEMORY_S))
    means = floats([block.mean(axis=0) for block in np.array_split(off, blocks)])
    level, heading = map(float, means.std(axis=0, ddof=1) / np.sqrt(blocks))
    return Face(hold, floats(known.mean(axis=0)), upright, level, heading)


def _pairs(faces: Sequence[Face]) -> list[tuple[Face, Face]]:
    """Neighbouring holds, one upright and one rolled, whose x axes point nearly alike."""
    near = np.cos(np.radians(SAME_TARGET_DEG))
    return [
        (a, b) if a.upright else (b, a)
        for a, b in pairwise(faces)
        if a.upright != b.upright and float(a.mean[:, 0] @ b.mean[:, 0]) > near
    ]


def _sight_of(pairs: Sequence[tuple[Face, Face]]) -> Floats:
    """Index and collimation [rad]: the body direction that both faces of each pair send alike.

    ``(R_upright - R_rolled) (1, c, -i) = 0`` in the least-squares sense.
    """
    rows = np.concatenate([up.mean - down.mean for up, down in pairs])
    solution = np.linalg.lstsq(rows[:, 1:], -rows[:, 0], rcond=None)[0]
    return floats([-solution[1], solution[0]])


def _turn_error_deg(corrections: Corrections, raw: bool, fused: bool) -> float:
    """What the heading between two faces adds to the error of collimation."""
    compass = corrections.compass
    if fused:
        return FACE_TURN_ERROR_DEG
    if not raw or compass is None:
        return BOARD_TURN_ERROR_DEG
    # The accelerometer's error across the sight turns the heading by tan(dip) times as much.
    lean = compass.level_error_deg * np.tan(np.radians(compass.dip_deg))
    return float(np.hypot(compass.heading_ripple_deg, lean) / np.sqrt(2))


def _errors(pairs: Sequence[tuple[Face, Face]], turn_error_deg: float) -> Floats:
    """Standard errors of index and collimation. [deg]"""
    n = len(pairs)
    level = np.mean([up.level_error_deg**2 + down.level_error_deg**2 for up, down in pairs])
    turn = np.mean([up.heading_error_deg**2 + down.heading_error_deg**2 for up, down in pairs])
    # What a hand does is new with every pair; what a compass does is not.
    stated = np.sqrt([level / 4 / n + FLOOR_DEG**2, turn / 4 / n + turn_error_deg**2])
    if n < 2:
        return floats(stated)
    each = np.degrees([_sight_of([pair]) for pair in pairs])
    return floats(np.maximum(stated, each.std(axis=0, ddof=1) / np.sqrt(n)))


def _reversals(faces: Sequence[Face], correction: LevelCorrection) -> list[tuple[float, float]]:
    """Mean elevation, and its error, of neighbouring upright sights in opposite directions."""
    sight = correction.sight_in_body()
    found = []
    for a, b in pairwise(faces):
        if not (a.upright and b.upright):
            continue
        azimuth, elevation = direction_of(np.stack([a.mean @ sight, b.mean @ sight]))
        turn = abs(float(angle_between(azimuth[1], azimuth[0])))
        if turn > 180 - OPPOSITE_DEG and abs(elevation[0] + elevation[1]) < 2 * LARGEST_DEG:
            error = float(np.hypot(a.level_error_deg, b.level_error_deg))
            found.append((float(elevation.mean()), error))
    return found


def _target(
    pairs: Sequence[tuple[Face, Face]], correction: LevelCorrection, corrections: Corrections
) -> tuple[float, float, float]:
    """True azimuth and elevation of the target, and the azimuth's standard error. [deg]"""
    sight = correction.sight_in_body()
    both = floats([face.mean @ sight for pair in pairs for face in pair]).mean(axis=0)
    azimuth, elevation = direction_of(both)
    if corrections.bearing is not None:
        turn, error = corrections.bearing.heading_deg, corrections.bearing.standard_error_deg
    else:
        turn = corrections.declination.value_deg
        error = corrections.declination.standard_error_deg
    compass = corrections.compass.heading_error_deg if corrections.compass else 1.0
    return float(wrap360(azimuth + turn)), float(elevation), float(np.hypot(error, compass))


def _check(correction: LevelCorrection) -> Check:
    worst = max(correction.index_error_deg, correction.collimation_error_deg)
    why = (
        f"index {correction.index_deg:+.2f}° ± {NORMAL_95 * correction.index_error_deg:.2f}°, "
        f"collimation {correction.collimation_deg:+.2f}° ± "
        f"{NORMAL_95 * correction.collimation_error_deg:.2f}° (95 %)"
    )
    again = "; repeat the pair of faces three times, arms rested"
    return at_most("level calibration", worst, LIMIT_DEG, "deg", why, again)
