"""Whether magnetometer, accelerometer and gyro of a board agree about its axes."""

from __future__ import annotations

import numpy as np
from scipy.spatial.transform import Rotation

from logger.arrays import Floats, floats
from logger.calibration.compass_fit import JointFit
from logger.errors import InputError
from logger.geometry import attitude_from_vectors
from logger.orientation import FieldReference
from logger.orientation.running import rows_in
from logger.recording.samples import Samples

# Cheap sensors sit within a degree or two of their package; a turn past this is a swapped or
# reversed axis
TURNED_DEG = 30.0
HINT = (
    "an axis is swapped or reversed: correct the board's axis mapping (x forward, y right, "
    "z down for every sensor) and tumble again"
)


def refuse_swapped_axes(fit: JointFit, model: FieldReference | None) -> None:
    """A matrix far from a plain stretch means field and force disagree about the axes."""
    turn = _nearest_turn(fit.matrix)
    # Turn and dip are known up to one common sign; the model's hemisphere tells which.
    if model is not None and abs(model.dip_deg) > 20 and fit.dip_sine * model.dip_deg < 0:
        turn = -turn
    if wrong := _wrong_axes(turn):
        what = f"the magnetometer's axes do not match the accelerometer's: its {wrong}"
        raise InputError(what, hint=HINT)


def refuse_swapped_rate(rows: Samples, fit: JointFit) -> None:
    """The gyro must turn the way that field and force turn."""
    attitude = attitude_from_vectors(*fit.corrected(rows.field_ut, rows.force_g))
    apart = max(1, rows_in(rows.t_s, 0.2) - 1)
    elapsed = rows.t_s[apart:] - rows.t_s[:-apart]
    between = np.swapaxes(attitude[:-apart], -1, -2) @ attitude[apart:]
    sound = np.isfinite(between).all(axis=(1, 2)) & (elapsed > 0)
    turned = np.degrees(Rotation.from_matrix(between[sound]).as_rotvec()) / elapsed[sound, None]
    summed = np.concatenate([np.zeros((1, 3)), np.cumsum(np.nan_to_num(rows.rate_deg_s), axis=0)])
    rate = ((summed[apart + 1 :] - summed[1:-apart]) / apart)[sound]
    # Long turns between two rows may go the other way round; they are few.
    slow = np.linalg.norm(turned, axis=1) < 150.0 / np.median(elapsed)
    design = np.column_stack([rate[slow], np.ones(int(slow.sum()))])
    found = np.linalg.lstsq(design, turned[slow], rcond=None)[0][:3].T
    if wrong := _wrong_axes(_nearest_turn(found)):
        what = f"the gyro's axes do not match the other sensors': its {wrong}"
        raise InputError(what, hint=HINT)


def _nearest_turn(matrix: Floats) -> Floats:
    """The orthogonal matrix nearest to a matrix."""
    left, _, right = np.linalg.svd(matrix)
    return floats(left @ right)


def _wrong_axes(turn: Floats) -> str:
    """Which axes an orthogonal matrix exchanges, in words; empty where it hardly turns."""
    angle = np.degrees(np.arccos(np.clip((np.trace(turn) - 1) / 2, -1, 1)))
    if np.linalg.det(turn) > 0 and angle <= TURNED_DEG:
        return ""
    wrong = []
    for i in range(3):
        j = int(np.argmax(np.abs(turn[i])))
        if i != j or turn[i, j] < 0:
            wrong.append(f"{'xyz'[i]} is sent as {'-' if turn[i, j] < 0 else ''}{'xyz'[j]}")
    return ", ".join(wrong) or f"axes are turned by {angle:.0f}°"
