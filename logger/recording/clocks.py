"""The computer's clock, handed in so that tests can make one up, and a board's joined to it."""

from __future__ import annotations

import datetime as dt
import sys
import time
from dataclasses import dataclass

import numpy as np

from logger.arrays import Floats

# Ceramic and RC oscillators of cheap boards are off by up to 1 to 2 % (from memory)
_MOST_DRIFT = 0.02
_DRIFT_OVER_S = 30.0


def _clock_through_suspend() -> int | None:
    # Linux's monotonic clock stops in suspend, its boot-time clock does not; on macOS Python's
    # monotonic() stops and the system's CLOCK_MONOTONIC does not. Windows has one clock, which
    # runs on.
    if sys.platform == "darwin":
        return getattr(time, "CLOCK_MONOTONIC", None)
    return getattr(time, "CLOCK_BOOTTIME", None)


_RUNS_ON = _clock_through_suspend()


class SystemClock:
    """The machine's clocks; the wall clock ahead by what somebody put right."""

    def __init__(self, ahead: dt.timedelta = dt.timedelta()) -> None:
        self._ahead = ahead

    def seconds(self) -> float:
        """A count that never steps, and runs on while the machine sleeps where the system can."""
        return time.monotonic() if _RUNS_ON is None else time.clock_gettime(_RUNS_ON)

    def utc(self) -> dt.datetime:
        """The wall clock."""
        return dt.datetime.now(dt.UTC) + self._ahead

    def sleep(self, seconds: float) -> None:
        """Wait."""
        time.sleep(seconds)


@dataclass(frozen=True)
class Join:
    """The host's time as a straight line of the board's: ``host = offset + rate * board``."""

    offset_s: float  # [s]
    rate: float = 1.0
    doubt: str = ""  # What is wrong with it; empty for nothing

    def host_s(self, board_s: Floats) -> Floats:
        """Host times of board times. [s]."""
        return self.offset_s + self.rate * board_s


def join_clocks(board_s: Floats, received_s: Floats) -> Join:
    """Join one run of a board's clock to the times of reception.

    Transport only ever delays, so every reception lies on or above the true line; the line is
    the edge of the lower convex hull below the middle of the data (Moon, Skelly and Towsley,
    Estimation and removal of clock skew from network delay measurements, INFOCOM 1999, from
    memory). Under half a minute the rate is taken as 1. Clocks more than 2 % apart are not
    joined by a rate: the board's durations are kept from the first row on, and doubted.
    """
    delay = received_s - board_s
    span = float(np.ptp(board_s))
    if span < _DRIFT_OVER_S:
        return Join(float(delay.min()))
    slope, offset = _edge_below(board_s - board_s[0], delay - delay[0])
    if abs(slope) > _MOST_DRIFT:
        doubt = (
            f"time in doubt: the board counts {span:.0f} s where this computer "
            f"counts {np.ptp(received_s):.0f} s"
        )
        return Join(float(delay[0]), 1.0, doubt)
    return Join(float(delay[0] + offset - slope * board_s[0]), 1.0 + slope)


def _edge_below(x: Floats, y: Floats) -> tuple[float, float]:
    """Slope and offset of the edge, below the middle, of the lower convex hull of points."""
    middle = (x.min() + x.max()) / 2
    left, right = int(x.argmin()), int(x.argmax())
    while True:
        slope = (y[right] - y[left]) / (x[right] - x[left])
        height = y - slope * x
        lowest = int(height.argmin())
        if not height[lowest] < min(height[left], height[right]):
            return float(slope), float(height[left])
        if x[lowest] <= middle:
            left = lowest
        else:
            right = lowest
