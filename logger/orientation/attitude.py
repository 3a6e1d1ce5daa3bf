"""Attitude of the board, row by row, from raw streams: each row on its own here, see `fusion`."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from logger.arrays import Bools, Columns, Floats, floats, freeze_columns
from logger.geometry import attitude_from_vectors
from logger.orientation.corrections import Matrix, Vector
from logger.orientation.running import rows_in, running_mean

# Noise of one sample of a cheap board, lower bounds (BMM150 and LSM303AGR data sheets, from
# memory: 0.3 to 0.6 uT). [g] [uT]
FORCE_NOISE_G, FIELD_NOISE_UT = 0.004, 0.4


@dataclass(frozen=True, eq=False)
class Attitude(Columns):
    """Body-to-level rotations; the level frame's north is magnetic north."""

    matrix: Floats  # NaN where not known. Shape (N, 3, 3)
    level_error_deg: Floats  # Random error of the vertical, 1 sigma about one level axis
    heading_error_deg: Floats  # Random error about the vertical, 1 sigma. [deg] Shape (N,)
    # The gyro's bias over the recording; None where no rate was used. [deg/s]
    rate_bias_deg_s: Vector | None = None
    # What the rate is multiplied by before the bias is taken off: scale and misalignment
    rate_matrix: Matrix | None = None
    # Of the accelerometer over the recording, beside its calibration. [g]
    force_offset_g: Vector | None = None
    # Level error that all rows share; None where only a calibration can tell. [deg]
    steady_level_error_deg: float | None = None
    # How sure the dip held the level along the meridian, 1 sigma; None where it did not. [deg]
    dip_error_deg: float | None = None

    def __post_init__(self) -> None:
        n = freeze_columns(self, ("level_error_deg", "heading_error_deg"))
        matrix = np.array(self.matrix, dtype=float)
        if matrix.shape != (n, 3, 3):
            raise ValueError(f"Attitude.matrix has shape {matrix.shape}, expected {(n, 3, 3)}")
        matrix.flags.writeable = False
        object.__setattr__(self, "matrix", matrix)

    @property
    def known(self) -> Bools:
        """Rows with an attitude. Shape (N,)."""
        return np.asarray(np.isfinite(self.matrix).all(axis=(1, 2)), dtype=bool)

    @property
    def fused(self) -> bool:
        """Whether angular rate went into it."""
        return self.rate_bias_deg_s is not None


def hand_motion_g(t_s: Floats, force_g: Floats) -> Floats:
    """Acceleration of the hand, as far as the specific force alone shows it, shape (N,).

    The larger of the departure of its magnitude from 1 g and its quick changes (RMS about the
    mean of half a second), in g.
    """
    if not len(t_s):
        return np.zeros(0)
    rows = rows_in(t_s, 0.5)
    square = running_mean((force_g - running_mean(force_g, rows)) ** 2, rows)
    # Half: the three axes' squares are summed, and the level sees two of them, one at a time.
    # A running mean of squares may end a hair below 0 after a jolt.
    quick = np.sqrt(np.maximum(square.sum(axis=1), 0.0) / 2)
    return floats(np.maximum(quick, np.abs(np.linalg.norm(force_g, axis=1) - 1.0)))


def attitude_row_by_row(t_s: Floats, field_ut: Floats, force_g: Floats) -> Attitude:
    """Attitude from corrected field and specific force, each row on its own."""
    matrix = attitude_from_vectors(field_ut, force_g)
    known = np.isfinite(matrix).all(axis=(1, 2))
    level = np.full(len(t_s), np.nan)
    level[known] = np.degrees(np.hypot(hand_motion_g(t_s[known], force_g[known]), FORCE_NOISE_G))
    down = np.einsum("ni,ni->n", matrix[:, 2, :], field_ut)
    north = np.einsum("ni,ni->n", matrix[:, 0, :], field_ut)
    with np.errstate(invalid="ignore", divide="ignore"):
        # An error of the level turns the heading by tan(dip) times as much.
        heading = np.hypot(np.degrees(FIELD_NOISE_UT / np.abs(north)), level * np.abs(down / north))
    return Attitude(matrix, level, heading)
