"""What cheap sensors make of a motion: iron, offsets, scales, noise, a sight out of line.

The level frame is north, east, down of true north; the body axes are the wire contract's.
A sensor is a recipe; one individual board is drawn from it, always the same for the same
`individual`, so that a calibration and a sweep can be done with one and the same board.
"""

from __future__ import annotations

from dataclasses import dataclass, fields, replace
from typing import Any

import numpy as np
from scipy.spatial.transform import Rotation

from logger.arrays import Bools, Floats, floats, freeze_columns
from logger.geometry import attitude_matrix
from logger.simulation.motion import Motion
from logger.simulation.scene import Steel

FIELD_RANGE_UT, FORCE_RANGE_G, RATE_RANGE_DEG_S = 800.0, 4.0, 500.0
"""Where an axis stops at either end."""


@dataclass(frozen=True)
class Sensor:
    """A kind of board. A share is of the whole, so 0.08 is 8 %."""

    individual: int = 1  # Which board of the kind: seeds everything that is fixed in one board
    # Length of the constant field of the board's own iron, in a drawn direction. [uT]
    hard_iron_ut: float = 25.0
    # Standard deviation of each element of the matrix added to the unit matrix; takes in scales
    # and axes that are not square
    soft_iron_share: float = 0.08
    # Of one sample and axis, RMS. [uT] [g] [deg/s]
    field_noise_ut: float = 0.4
    force_noise_g: float = 0.004
    # Standard deviation per axis. [g]
    force_offset_g: float = 0.004
    force_scale_share: float = 0.002
    # Length of a further offset, in a drawn direction: what moved after the calibration. [g]
    force_drift_g: float = 0.0
    # Standard deviation per axis. [deg/s]
    rate_bias_deg_s: float = 0.4
    rate_scale_share: float = 0.0
    rate_noise_deg_s: float = 0.07
    temperature_c: float = 17.5  # At the start. [degC]
    warming_c: float = 4.0  # What the gyro warms up by, with a time constant of two minutes. [degC]
    index_error_deg: float = 0.0  # How far the sight points above the board's x axis. [deg]
    # How far the sight points right of the board's x axis. [deg]
    collimation_error_deg: float = 0.0
    clock_error_ppm: float = 40.0  # How much too fast the board's clock runs

    @classmethod
    def ideal(cls) -> Sensor:
        """No error of any kind."""
        errors = {one.name for one in fields(cls)} - {"individual", "temperature_c"}
        none: dict[str, Any] = dict.fromkeys(errors, 0.0)
        return cls(**none)

    def without_iron(self) -> Sensor:
        """The same kind with no iron on the board and an accelerometer without error but noise.

        A sweep with it needs no calibration.
        """
        return replace(
            self,
            hard_iron_ut=0.0,
            soft_iron_share=0.0,
            force_offset_g=0.0,
            force_scale_share=0.0,
            index_error_deg=0.0,
            collimation_error_deg=0.0,
        )

    def board(self) -> BoardErrors:
        """The fixed errors of this individual."""
        rng = np.random.default_rng([self.individual, 7001])
        draws = rng.normal(size=(8, 3))
        drift = self.force_drift_g * draws[7] / np.linalg.norm(draws[7])
        return BoardErrors(
            hard_iron_ut=self.hard_iron_ut * draws[0] / np.linalg.norm(draws[0]),
            soft_iron=np.eye(3) + self.soft_iron_share * draws[1:4],
            force_offset_g=self.force_offset_g * draws[4] + drift,
            force_scale=1 + self.force_scale_share * draws[5],
            rate_bias_deg_s=self.rate_bias_deg_s * draws[6],
            rate_scale=1 + self.rate_scale_share * rng.normal(size=3),
        )


CHEAP = Sensor()
"""The board unless another is named."""


@dataclass(frozen=True, eq=False)
class BoardErrors:
    """The fixed errors of one board: measured = matrix x true + offset."""

    hard_iron_ut: Floats  # [uT] Shape (3,)
    soft_iron: Floats  # Shape (3, 3)
    force_offset_g: Floats  # [g] Shape (3,)
    force_scale: Floats  # Shape (3,)
    rate_bias_deg_s: Floats  # [deg/s] Shape (3,)
    rate_scale: Floats  # Shape (3,)


@dataclass(frozen=True, eq=False)
class Measured:
    """What the sensors give at each measuring instant, and the truth beside it."""

    t_s: Floats  # True time since the board's script began. [s] Shape (N,).
    # Truth: of the line of sight. Azimuth is not wrapped. [deg] Shape (N,).
    azimuth_deg: Floats
    elevation_deg: Floats
    tilt_deg: Floats
    attitude: Floats  # Truth: body to level (true north). Shape (N, 3, 3).
    # As the sensors give them. [uT] [g] [deg/s] Shape (N, 3).
    field_ut: Floats
    force_g: Floats
    rate_deg_s: Floats
    temperature_c: Floats  # [degC] Shape (N,)

    def __post_init__(self) -> None:
        n = freeze_columns(
            self, ("t_s", "azimuth_deg", "elevation_deg", "tilt_deg", "temperature_c")
        )
        freeze_columns(self, ("field_ut", "force_g", "rate_deg_s"), length=n, width=3)

    def __len__(self) -> int:
        return len(self.t_s)

    @property
    def field_clipped(self) -> Bools:
        """Where an axis of the magnetometer is at the end of its range. Shape (N,)."""
        return np.asarray((np.abs(self.field_ut) == FIELD_RANGE_UT).any(axis=1))

    @property
    def force_clipped(self) -> Bools:
        """The same of the accelerometer. Shape (N,)."""
        return np.asarray((np.abs(self.force_g) == FORCE_RANGE_G).any(axis=1))


def substeps(rate_hz: int) -> int:
    """Steps of the motion's grid within one measuring interval: even, at least 200 a second."""
    return 2 * int(np.ceil(100 / rate_hz))


def measure(
    motion: Motion,
    sensor: Sensor,
    earth_ut: Floats,
    rng: np.random.Generator,
    rate_hz: int,
    steel: Steel | None = None,
) -> Measured:
    """Sample a motion whose grid has `substeps` rows a measuring interval.

    The gyro gives the mean angular rate over one interval centred on its instant, as an
    anti-aliasing filter without delay would; field and force are momentary.
    """
    board, sub = sensor.board(), substeps(rate_hz)
    # Sight frame to body: the sight points index above and collimation right of the x axis.
    sight = attitude_matrix(sensor.collimation_error_deg, 0.0, sensor.index_error_deg)
    attitude = attitude_matrix(motion.azimuth_deg, motion.tilt_deg, motion.elevation_deg) @ sight.T
    at = np.arange(0, len(motion), sub)
    now = attitude[at]
    body = np.swapaxes(now, -1, -2)
    t = floats(at * motion.step_s)
    n = len(at)

    field = np.broadcast_to(earth_ut, (n, 3))
    if steel is not None:
        field = field + steel.field_ut(motion.azimuth_deg[at], t / max(motion.duration_s, 1e-9))
    force = motion.acceleration_g[at] - np.array([0.0, 0.0, 1.0])
    turning = _mean_rate(attitude, motion.step_s, sub)[:n]
    noise = rng.normal(size=(3, n, 3))
    noise *= [[[sensor.field_noise_ut]], [[sensor.force_noise_g]], [[sensor.rate_noise_deg_s]]]
    read_ut = _times(body, field) @ board.soft_iron.T + board.hard_iron_ut + noise[0]
    read_g = _times(body, force) * board.force_scale + board.force_offset_g + noise[1]
    read_rate = turning * board.rate_scale + board.rate_bias_deg_s + noise[2]
    return Measured(
        t_s=t,
        azimuth_deg=motion.azimuth_deg[at],
        elevation_deg=motion.elevation_deg[at],
        tilt_deg=motion.tilt_deg[at],
        attitude=now,
        field_ut=np.clip(read_ut, -FIELD_RANGE_UT, FIELD_RANGE_UT),
        force_g=np.clip(read_g, -FORCE_RANGE_G, FORCE_RANGE_G),
        rate_deg_s=np.clip(read_rate, -RATE_RANGE_DEG_S, RATE_RANGE_DEG_S),
        temperature_c=sensor.temperature_c + sensor.warming_c * (1 - np.exp(-t / 120.0)),
    )


def _times(matrix: Floats, vector: Floats) -> Floats:
    """Matrix times vector, row by row."""
    return np.asarray((matrix @ vector[..., None])[..., 0], dtype=np.float64)


def _mean_rate(attitude: Floats, step_s: float, sub: int) -> Floats:
    """Body rates in degrees a second, averaged over `sub` steps around every `sub`-th row."""
    turn = np.swapaxes(attitude[:-1], -1, -2) @ attitude[1:]
    rate = Rotation.from_matrix(turn).as_rotvec(degrees=True) / step_s
    half = sub // 2
    padded = np.concatenate(
        [np.repeat(rate[:1], half, axis=0), rate, np.repeat(rate[-1:], sub, axis=0)]
    )
    whole = len(padded) // sub * sub
    return np.asarray(padded[:whole].reshape(-1, sub, 3).mean(axis=1), dtype=np.float64)
