"""A steadier attitude for the screen: the gyro carries gravity and field from row to row.

The result of a sweep rests on one estimate over the whole recording. On screen each row must
stand at once, and a hand's own acceleration would shake it by degrees.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from logger.arrays import Floats
from logger.recording.samples import Samples

_FORCE_TIME_S = 1.0
_FIELD_TIME_S = 0.5
_BIAS_TIME_S = 20.0
_GAP_S = 0.25


class Steadier:
    """Blends raw force and field with their own past, turned by the gyro.

    A vector fixed in the world, seen from a body that turns at rate w, changes by ``-w x v dt``.
    What is left between it and the measured one is taken in slowly, and tells the gyro's bias.
    """

    def __init__(self, hard_iron_ut: Floats, rate_bias_deg_s: Floats | None = None) -> None:
        self._iron = np.asarray(hard_iron_ut, dtype=float)
        self._bias = np.zeros(3) if rate_bias_deg_s is None else np.radians(rate_bias_deg_s)
        self._force: Floats | None = None
        self._field: Floats | None = None
        self._t_s = -np.inf

    def take(self, samples: Samples) -> Samples:
        """The same rows with steadied force and field; rows without angular rate as they are."""
        if not (samples.has_rate & samples.has_field).any():
            return samples
        force, field = samples.force_g.copy(), samples.field_ut.copy()
        rate = np.radians(samples.rate_deg_s)
        for i in np.flatnonzero(samples.has_rate & samples.has_field):
            force[i], field[i] = self._next(float(samples.t_s[i]), force[i], field[i], rate[i])
        return replace(samples, force_g=force, field_ut=field)

    def _next(
        self, t_s: float, force: Floats, field: Floats, rate: Floats
    ) -> tuple[Floats, Floats]:
        seconds = t_s - self._t_s
        self._t_s = t_s
        earth = field - self._iron
        if self._force is None or self._field is None or not 0 < seconds < _GAP_S:
            if seconds != 0 or self._force is None:
                self._force, self._field = force, earth
            return self._force, self._field + self._iron
        turn = (rate - self._bias) * seconds
        carried = _turned(self._force, turn)
        off = np.cross(force, carried)
        self._bias = self._bias - off * seconds / (_FORCE_TIME_S * _BIAS_TIME_S)
        self._force = carried + (force - carried) * min(1.0, seconds / _FORCE_TIME_S)
        carried = _turned(self._field, turn)
        self._field = carried + (earth - carried) * min(1.0, seconds / _FIELD_TIME_S)
        return self._force, self._field + self._iron


def _turned(vector: Floats, turn: Floats) -> Floats:
    """A world vector seen from a body after it turned by a small angle, its length kept."""
    new = vector - np.cross(turn, vector)
    length = float(np.linalg.norm(new))
    return new * (float(np.linalg.norm(vector)) / length) if length > 0 else vector
