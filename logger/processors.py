"""How much can be done at the same time."""

from __future__ import annotations

import os
import sys


def processors() -> int:
    """How many processes or threads can work at the same time: processors this one may use."""
    if sys.platform == "linux":
        return len(os.sched_getaffinity(0))
    return os.cpu_count() or 1
