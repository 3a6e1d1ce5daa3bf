"""The live view in words."""

from __future__ import annotations

import math

from logger.live.session import LiveView


def status_line(view: LiveView) -> str:
    """One line of at most 80 characters.

    Parameters
    ----------
    view : LiveView
    """
    if view.silent_s > 2:
        return f"{view.elapsed_s:5.0f} s  nothing from the board for {view.silent_s:.0f} s"
    parts = [
        f"{view.elapsed_s:5.0f} s",
        f"azimuth {_number(view.azimuth_deg, 5)}°",
        f"elevation {_number(view.elevation_deg, 5)}°",
        f"lean {_number(view.lean_deg, 4)}°",
        f"seen {100 * view.covered:3.0f} %",
        f"{view.rate_hz:3.0f} Hz",
    ]
    return "  ".join(parts)[:80]


def _number(value: float, width: int) -> str:
    return "-".rjust(width) if math.isnan(value) else f"{value:{width}.1f}"
