"""Time, handed in: the program's own clock here, a made-up one in tests."""

from __future__ import annotations

import datetime as dt
import time
from typing import Protocol


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
        # Linux's monotonic clock stops in suspend, its boot-time clock does not.
        boot_time = getattr(time, "CLOCK_BOOTTIME", None)
        return time.monotonic() if boot_time is None else time.clock_gettime(boot_time)

    def utc(self) -> dt.datetime:
        """See `Clock.utc`."""
        return dt.datetime.now(dt.UTC)

    def sleep(self, seconds: float) -> None:
        """See `Clock.sleep`."""
        time.sleep(seconds)
