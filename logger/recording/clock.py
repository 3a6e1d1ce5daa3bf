"""Time, handed in: the program's own clock here, a made-up one in tests."""

from __future__ import annotations

import datetime as dt
import sys
import time
from typing import Protocol


def _clock_through_suspend() -> int | None:
    # Linux's monotonic clock stops in suspend, its boot-time clock does not; on macOS Python's
    # monotonic() stops and the system's CLOCK_MONOTONIC does not. Windows has one clock, which
    # runs on.
    if sys.platform == "darwin":
        return getattr(time, "CLOCK_MONOTONIC", None)
    return getattr(time, "CLOCK_BOOTTIME", None)


_RUNS_ON = _clock_through_suspend()


class Clock(Protocol):
    """What capture needs of time."""

    def seconds(self) -> float:
        """Return a count of seconds that never steps, whatever is done to the wall clock."""
        ...

    def utc(self) -> dt.datetime:
        """Return the wall clock, UTC."""
        ...

    def sleep(self, seconds: float) -> None:
        """Wait."""
        ...


class SystemClock:
    """The machine's clocks."""

    def seconds(self) -> float:
        """See `Clock.seconds`; runs on while the machine sleeps, where the system offers that."""
        return time.monotonic() if _RUNS_ON is None else time.clock_gettime(_RUNS_ON)

    def utc(self) -> dt.datetime:
        """See `Clock.utc`."""
        return dt.datetime.now(dt.UTC)

    def sleep(self, seconds: float) -> None:
        """See `Clock.sleep`."""
        time.sleep(seconds)
