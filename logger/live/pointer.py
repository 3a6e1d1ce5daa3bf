"""Where the sight points, from the last seconds alone, by the attitude that the answer rests on."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.spatial.transform import Rotation

from logger.arrays import Floats, floats
from logger.calibration.stillness import sight_is_still
from logger.geometry import (
    angle_between,
    angles_of,
    attitude_matrix,
    running_product,
    unit_vector,
    unwrapped,
)
from logger.orientation import CompassCorrection, Corrections, Orientation, orient
from logger.orientation.field_check import FieldCheck
from logger.orientation.sight_lines import SightLines
from logger.recording import StreamBuilder
from logger.recording.samples import Samples
from logger.settings import Settings

WINDOW_S = 5.0
"""With less the gyro's bias is not found; more costs time and shows nothing better. [s]"""
_MOST_ROWS = 3000
CARRIED_S = 1.0
"""So long the gyro alone is as good, and a hundred times as quick. [s]"""
_EDGE_S = 0.3
_TURNING_OVER_S, _FIELD_OVER_S = 0.5, 1.0

TREMOR_LIMIT_DEG = 1.0
"""Above this, RMS, the advice is to wait or to come down. [deg]"""
_TREMOR_OVER_S, _TREMOR_LEAST_S = 2.5, 1.5
_SMOOTHING_S = 0.7  # about one turn of a hand's tremor at 1.5 Hz


@dataclass(frozen=True, eq=False)
class Pointer:
    """The sight now, and on the way here."""

    found: Orientation  # Of the last seconds, at most `CARRIED_S` old
    # Now. [deg]
    azimuth_deg: float
    elevation_deg: float
    newest_seq: int  # The wire's counter of the last row; -1 without one

    @property
    def sight(self) -> SightLines:
        """One row a measuring instant."""
        return self.found.sight

    @property
    def field(self) -> FieldCheck | None:
        """None where nothing can be said of the magnetic field."""
        return self.found.field

    @property
    def still_s(self) -> float:
        """How long the board has been held still by now; as long as the window at most. [s]"""
        t_s = self.sight.t_s
        moving = ~sight_is_still(t_s, self.found.attitude.matrix)
        # The last rows have too few after them to be smoothed: what they seem to do is noise.
        moved = np.flatnonzero(moving & (t_s < t_s[-1] - _EDGE_S))
        since_s = float(t_s[moved[-1]]) if moved.size else float(t_s[0])
        return float(t_s[-1]) - since_s

    @property
    def turning_deg_s(self) -> float:
        """How fast the sight turns to the right. [deg/s]"""
        late = self.sight.rows(self.sight.t_s > self.sight.t_s[-1] - _TURNING_OVER_S)
        seconds = float(late.t_s[-1] - late.t_s[0])
        if seconds <= 0:
            return 0.0
        return float(angle_between(late.azimuth_deg[-1], late.azimuth_deg[0])) / seconds

    @property
    def disturbed(self) -> bool:
        """Whether the magnetic field was disturbed for most of the last second."""
        if self.field is None:
            return False
        late = self.field.t_s > self.field.t_s[-1] - _FIELD_OVER_S
        return bool(self.field.disturbed[late].mean() > 0.5)

    def away_from_deg(self, azimuth_deg: float, elevation_deg: float) -> float:
        """Angle between the sight and a direction, such as the sun's. [deg]"""
        here = unit_vector(self.azimuth_deg, self.elevation_deg)
        cosine = float(here @ unit_vector(azimuth_deg, elevation_deg))
        return float(np.degrees(np.arccos(np.clip(cosine, -1.0, 1.0))))


class Sighting:
    """Follows one capture: the whole window now and then, and the gyro alone in between."""

    def __init__(
        self,
        builder: StreamBuilder,
        settings: Settings | None = None,
        carried_s: float = CARRIED_S,
    ) -> None:
        self._builder = builder
        self._carried_s = carried_s
        self._settings = settings
        self._corrections: Corrections | None = None
        self._found: Orientation | None = None
        self._rows = 0

    def now(self, corrections: Corrections) -> Pointer | None:
        """The sight now; None before the first two rows."""
        # Twice as long as is wanted: `renew` comes a little later than it is due.
        late = self._late(corrections, 2 * self._carried_s)
        if late is None or self._found is None:
            return None
        return Pointer(self._found, *_carried(self._found, late, corrections), int(late.seq[-1]))

    def renew(self, corrections: Corrections, at_once: bool = False) -> None:
        """Have the whole window anew where it is due; takes long, so when nobody waits for it."""
        if self._found is not None and self._found.attitude.fused:
            self._late(corrections, 0.0 if at_once else self._carried_s)

    def _late(self, corrections: Corrections, most_s: float) -> Samples | None:
        """What came since the whole window was had, its last row first; if longer ago, anew."""
        # The last row may still be waiting for another sentence of its instant.
        ready = len(self._builder) - 1
        if ready < 1:
            return None
        samples = self._builder.samples(max(0, ready - _MOST_ROWS), ready)
        late = samples.rows(slice(max(0, len(samples) - (ready - self._rows) - 1), None))
        if (
            self._found is None
            or not self._found.attitude.fused
            or corrections is not self._corrections
            or late.t_s[-1] - late.t_s[0] >= most_s
            or not late.has_rate.all()
        ):
            samples = samples.rows(samples.t_s > samples.t_s[-1] - WINDOW_S)
            self._found = orient(samples, corrections, self._settings)
            self._rows, self._corrections = ready, corrections
            late = samples.rows(slice(-1, None))
        return late


def _carried(found: Orientation, late: Samples, corrections: Corrections) -> tuple[float, float]:
    """Azimuth and elevation of the last of some rows, turned on by the gyro from the first."""
    sight, attitude = found.sight, found.attitude
    if len(late) < 2:
        return float(sight.azimuth_deg[-1]), float(sight.elevation_deg[-1])
    compass = corrections.compass or CompassCorrection()
    by_fit = CompassCorrection(rate_matrix=attitude.rate_matrix)
    rate = by_fit.corrected_rate(compass.corrected_rate(late.rate_deg_s))
    rate = rate - floats(attitude.rate_bias_deg_s or (0.0, 0.0, 0.0))
    turns = np.radians((rate[1:] + rate[:-1]) / 2) * np.diff(late.t_s)[:, None]
    start = attitude_matrix(sight.azimuth_deg[-1], sight.roll_deg[-1], sight.elevation_deg[-1])
    turned = running_product(Rotation.from_rotvec(turns).as_quat())[-1]
    azimuth, _, elevation = angles_of(start @ Rotation.from_quat(turned).as_matrix())
    return float(azimuth), float(elevation)


def tremor_deg(sight: SightLines) -> float:
    """RMS of the fast part of the sight's motion over its last seconds; NaN where too short.

    Fast is what departs from the mean over 0.7 s. A hand shakes in both directions; the corner of
    a roof shows in one, or in one after the other. The smaller of the two therefore counts. [deg]
    """
    rows = sight.rows(sight.used)
    if not len(rows):
        return float("nan")
    rows = rows.rows(rows.t_s > rows.t_s[-1] - _TREMOR_OVER_S)
    if len(rows) < 15 or rows.t_s[-1] - rows.t_s[0] < _TREMOR_LEAST_S:
        return float("nan")
    across = unwrapped(rows.azimuth_deg) * np.cos(np.radians(np.median(rows.elevation_deg)))
    return min(_fast(rows.t_s, across), _fast(rows.t_s, rows.elevation_deg))


def _fast(t_s: Floats, value: Floats) -> float:
    """RMS of the departure from the running mean, gauged so that a 1.5 Hz shake counts whole."""
    half = max(1, round(_SMOOTHING_S / 2 * (len(t_s) - 1) / (t_s[-1] - t_s[0])))
    width = 2 * half + 1
    if len(value) <= width:
        return float("nan")
    mean = np.convolve(value, np.full(width, 1.0 / width), "valid")
    return float(np.sqrt(np.mean((value[half:-half] - mean) ** 2)))
