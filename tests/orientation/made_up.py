"""Streams of samples made up from headings, rolls and pitches."""

from __future__ import annotations

from typing import Any

import numpy as np

from logger.geometry import attitude_matrix
from logger.recording import StreamBuilder
from logger.recording.samples import Samples

FIELD = np.array([20.0, 0.0, 43.0])
UP = np.array([0.0, 0.0, -1.0])


def samples_of(simulated: Any) -> Samples:
    """What the host decodes of a simulated task."""
    builder = StreamBuilder()
    for t_s, chunk in simulated.chunks:
        builder.feed(t_s, chunk)
    return builder.stream().samples


def columns(n: int, every_s: float = 0.02) -> dict[str, Any]:
    return Samples.blank(n) | {
        "t_s": np.arange(n) * every_s,
        "seq": np.arange(n),
    }


def board(heading: Any, tilt: Any = 0.0, pitch: Any = 0.0, **more: Any) -> Samples:
    """A stream of the board's own attitude, tilt-compensated."""
    heading, tilt, pitch = np.broadcast_arrays(*np.atleast_1d(heading, tilt, pitch))
    n = len(heading)
    own = {"heading_deg": heading, "roll_deg": tilt, "pitch_deg": pitch, "status": np.ones(n, int)}
    return Samples(**columns(n) | own | more)


def raw(heading: Any, tilt: Any = 0.0, pitch: Any = 0.0, *, every_s: float = 0.02,
        **more: Any) -> Samples:  # fmt: skip
    """A stream of raw field and force, at rest and free of iron."""
    body = attitude_matrix(*np.broadcast_arrays(*np.atleast_1d(heading, tilt, pitch)))
    vectors = {"field_ut": FIELD @ body, "force_g": UP @ body}
    return Samples(**columns(len(body), every_s) | vectors | more)
