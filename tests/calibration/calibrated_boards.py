"""Calibrations of virtual boards, worked out once for all tests of this room."""

from __future__ import annotations

from dataclasses import replace
from functools import lru_cache
from typing import Any

import numpy as np

from logger.calibration import Calibration, fit_compass
from logger.geomagnetism import geomagnetic_field
from logger.geometry import angle_between, angles_of, attitude_from_vectors, attitude_matrix
from logger.orientation import (
    CompassCorrection,
    Corrections,
    declination_at,
    field_expected_at,
)
from logger.recording import StreamBuilder
from logger.recording.samples import Stream
from logger.simulation import DEFAULT_SITE, DEFAULT_START, Sensor, simulate_tumble

MODEL = field_expected_at(DEFAULT_SITE, DEFAULT_START.date())
DECLINATION = declination_at(DEFAULT_SITE, DEFAULT_START.date())


def rms(values: Any) -> float:
    return float(np.sqrt(np.mean(np.square(values))))


def stream_of(simulated: Any) -> Stream:
    """A simulated task as the host decodes it, its operator's notes with it."""
    builder = StreamBuilder()
    for t, chunk in simulated.chunks:
        builder.feed(t, chunk)
    return replace(builder.stream(), notes=tuple(simulated.notes))


def heading_error(sensor: Sensor, correction: CompassCorrection) -> Any:
    """Heading errors of a noiseless board at pitch 0, 15 and 40 degrees, all headings round."""
    field = geomagnetic_field(DEFAULT_SITE, DEFAULT_START.date())
    heading, pitch = (a.ravel() for a in np.meshgrid(np.arange(0, 360, 10.0), [0.0, 15.0, 40.0]))
    body = attitude_matrix(heading, 0.0, pitch)
    board = sensor.board()
    raw_field = (np.array([field.horizontal_ut, 0, field.down_ut]) @ body) @ board.soft_iron.T
    raw_force = (np.array([0, 0, -1.0]) @ body) * board.force_scale + board.force_offset_g
    found, _, _ = angles_of(
        attitude_from_vectors(
            correction.corrected_field(raw_field + board.hard_iron_ut),
            correction.corrected_force(raw_force),
        )
    )
    return angle_between(found, heading)


@lru_cache
def calibrated(sensor: Sensor, streams: str = "MG") -> Calibration[CompassCorrection]:
    """The compass calibration of a board after a 40 s tumble."""
    simulated = simulate_tumble(sensor=sensor, seed=sensor.individual, streams=streams)
    return fit_compass(stream_of(simulated).samples, MODEL)


def corrections_of(sensor: Sensor, streams: str = "MG") -> Corrections:
    """Declination and compass calibration of a board."""
    return Corrections(DECLINATION, calibrated(sensor, streams).correction, field=MODEL)
