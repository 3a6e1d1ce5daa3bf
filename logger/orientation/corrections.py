"""What is corrected in a board's readings: one small frozen record a kind of correction.

The calibration room fits them and stores them as plain dicts; this room owns their meaning.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated, Any

import numpy as np
from numpy.typing import ArrayLike

from logger.arrays import Floats, floats
from logger.errors import UsageError
from logger.structured import Within

Vector = tuple[float, float, float]
Entry = Annotated[float, Within(-10.0, 10.0)]
Matrix = tuple[tuple[Entry, Entry, Entry], tuple[Entry, Entry, Entry], tuple[Entry, Entry, Entry]]
Scale = Annotated[float, Within(0.5, 2.0)]
Offset = Annotated[float, Within(-1.0, 1.0)]
Coefficient = Annotated[float, Within(-180.0, 180.0)]
Sure = Annotated[float, Within(0.01, 180.0)]
DETERMINANT_WITHIN = 1e-3  # Files hold ten decimals


def vector_of(values: Floats) -> Vector:
    """Three numbers as plain ones."""
    x, y, z = map(float, values)
    return x, y, z


def matrix_of(values: Floats) -> Matrix:
    """Three rows of three numbers as plain ones."""
    x, y, z = map(vector_of, values)
    return x, y, z


IDENTITY: Matrix = ((1.0, 0.0, 0.0), (0.0, 1.0, 0.0), (0.0, 0.0, 1.0))


@dataclass(frozen=True)
class Declination:
    """The turn from true to magnetic north: true azimuth = magnetic heading + declination."""

    value_deg: float  # East positive. [deg]
    standard_error_deg: float  # 1 sigma. [deg]
    source: str  # Where it comes from, in words
    years_beyond: float = 0.0  # How far its date is outside the magnetic model's own years

    def as_dict(self) -> dict[str, Any]:
        """The form that the result's ``declination`` part holds."""
        return {
            "value_deg": self.value_deg,
            "standard_error_deg": self.standard_error_deg,
            "source": self.source,
        }


@dataclass(frozen=True)
class FieldReference:
    """The magnetic field to expect at a place."""

    field_ut: float  # Strength. [uT]
    dip_deg: float  # Inclination, down positive. [deg]
    source: str = "model"


def keeps_volume(matrix: Matrix) -> Matrix:
    """The matrix itself, if its determinant is 1."""
    found = float(np.linalg.det(floats(matrix)))
    if abs(found - 1.0) > DETERMINANT_WITHIN:
        raise UsageError(f"has the determinant {found:g}", hint="a matrix of determinant 1")
    return matrix


@dataclass(frozen=True)
class CompassCorrection:
    """Corrected field = ``matrix @ (field - hard_iron)``, and the like for force and rate."""

    # Undoes soft iron, scale and misalignment; its determinant is 1, so that the corrected
    # field keeps the scale of the board's magnetometer
    matrix: Annotated[Matrix, keeps_volume] = IDENTITY
    hard_iron_ut: Vector = (0.0, 0.0, 0.0)  # [uT]
    # Strength of the corrected field where the board was calibrated. [uT]
    field_ut: Annotated[float, Within(5.0, 500.0)] = 50.0
    dip_deg: Annotated[float, Within(-90.0, 90.0)] = 60.0  # Its dip against gravity, down positive
    force_offset_g: tuple[Offset, Offset, Offset] = (0.0, 0.0, 0.0)  # Taken from the force. [g]
    # Multiplies the specific force after its offset is taken off
    force_scale: tuple[Scale, Scale, Scale] = (1.0, 1.0, 1.0)
    # Of the gyro in a still stretch, raw; None where there was none. [deg/s]
    rate_bias_deg_s: Vector | None = None
    # Undoes scale and misalignment of the gyro; None where it was not fitted
    rate_matrix: Matrix | None = None
    heading_error_deg: float = 0.0  # Expected heading error over a sweep's attitudes, 1 sigma
    # The part of it that differs from heading to heading: what a known bearing leaves. [deg]
    heading_ripple_deg: float = 0.0
    # Standard error of the pitch of a level sight from the accelerometer's fit. [deg]
    level_error_deg: float = 0.0

    def corrected_field(self, field_ut: ArrayLike) -> Floats:
        """The Earth's field in body axes from the raw field."""
        return floats((floats(field_ut) - floats(self.hard_iron_ut)) @ floats(self.matrix).T)

    def corrected_force(self, force_g: ArrayLike) -> Floats:
        """The specific force in body axes from the raw one."""
        return floats((floats(force_g) - floats(self.force_offset_g)) * floats(self.force_scale))

    def corrected_rate(self, rate_deg_s: ArrayLike) -> Floats:
        """The angular rate about body axes, its bias left in."""
        matrix = IDENTITY if self.rate_matrix is None else self.rate_matrix
        return floats(floats(rate_deg_s) @ floats(matrix).T)


@dataclass(frozen=True)
class DeviationCurve:
    """Deviation of a compass by the five coefficients of compass adjustment.

    ``deviation = A + B sin h + C cos h + D sin 2h + E cos 2h`` with h the compass heading;
    magnetic heading = compass heading + deviation, east positive.
    """

    # Constant, semicircular (b, c) and quadrantal (d, e). [deg]
    a: Coefficient = 0.0
    b: Coefficient = 0.0
    c: Coefficient = 0.0
    d: Coefficient = 0.0
    e: Coefficient = 0.0
    standard_error_deg: float = 0.0  # Of the curve's value, 1 sigma, mean over the circle. [deg]

    def deviation_deg(self, compass_heading_deg: ArrayLike) -> Floats:
        """Deviation at compass headings."""
        h = np.radians(floats(compass_heading_deg))
        return floats(
            self.a
            + self.b * np.sin(h)
            + self.c * np.cos(h)
            + self.d * np.sin(2 * h)
            + self.e * np.cos(2 * h)
        )


@dataclass(frozen=True)
class LevelCorrection:
    """Where the line of sight really points in the board, and the accelerometer's own lie."""

    # How far the line of sight points above the board's x axis, board upright. [deg]
    index_deg: float = 0.0
    collimation_deg: float = 0.0  # How far it points to the right of the x axis, board upright
    # What the accelerometer adds to the pitch of a level sight, whichever face is up. [deg]
    pitch_offset_deg: float = 0.0
    # Standard errors; that of the pitch offset is 0 where it was not measured. [deg]
    index_error_deg: float = 0.0
    collimation_error_deg: float = 0.0
    pitch_offset_error_deg: float = 0.0

    def sight_in_body(self) -> Floats:
        """Unit vector of the line of sight in body axes. Shape (3,)."""
        i, c = np.radians(self.index_deg), np.radians(self.collimation_deg)
        return floats([np.cos(i) * np.cos(c), np.cos(i) * np.sin(c), -np.sin(i)])


@dataclass(frozen=True)
class BearingCorrection:
    """From corrected compass heading to true azimuth, by a sight of known bearing."""

    heading_deg: float  # Added to the corrected compass heading; it stands in for the declination
    standard_error_deg: Sure  # 1 sigma. [deg]
    # `heading_deg` less the declination in force at the time, for the report. [deg]
    residual_deg: float = 0.0
    source: str = "known bearing"  # Sun, target or far ridge, in words


@dataclass(frozen=True)
class Corrections:
    """All corrections of one sweep; None where there is none."""

    declination: Declination
    compass: CompassCorrection | None = None  # For raw streams
    deviation: DeviationCurve | None = None  # For boards that send only attitude
    level: LevelCorrection | None = None
    bearing: BearingCorrection | None = None
    field: FieldReference | None = None  # The model's field at the site, for the check of the field


# What a stored calibration may hold, by its kind
CORRECTIONS: dict[str, type[Any]] = {
    "compass": CompassCorrection,
    "deviation": DeviationCurve,
    "level": LevelCorrection,
    "bearing": BearingCorrection,
}
