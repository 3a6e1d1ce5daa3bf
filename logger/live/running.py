"""The answer so far, worked out beside the capture twice a second."""

from __future__ import annotations

import threading
import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

from logger.access import AccessResult, SiteYear
from logger.horizon import HorizonProfile
from logger.horizon_fit import RunningHorizon, SightedSweep, running_horizon

EVERY_S = 0.4
"""From the start of one round to the start of the next. [s]"""


@dataclass(frozen=True, eq=False)
class RunningAnswer:
    """What the sweep means so far."""

    horizon: RunningHorizon
    profile: HorizonProfile  # The same with the circle's unmeasured parts marked
    access: AccessResult  # Unmeasured parts taken as open, no uncertainty


def running_answer(
    passes: Sequence[SightedSweep], year: SiteYear, latitude_deg: float
) -> RunningAnswer | None:
    """One round of it; None before anything was seen."""
    passes = [one for one in passes if one.sight.used.any()]
    if not passes:
        return None
    horizon = running_horizon(passes, latitude_deg)
    last = passes[-1].sight
    profile = HorizonProfile(
        horizon.azimuth_deg,
        np.clip(horizon.elevation_deg, -90.0, 90.0),
        heading_error_deg=last.heading_error_deg,
        level_error_deg=last.level_error_deg,
    )
    return RunningAnswer(horizon, profile, year.assess(profile))


class Worker:
    """Calls a function again and again on a thread of its own and keeps its latest result."""

    def __init__(
        self, compute: Callable[[], RunningAnswer | None], every_s: float = EVERY_S
    ) -> None:
        self.latest: RunningAnswer | None = None
        self.finished_s: list[float] = []
        self.fault: Exception | None = None
        self._compute = compute
        self._every_s = every_s
        self._stop = threading.Event()
        self._thread = threading.Thread(target=self._run, name="running answer", daemon=True)

    def start(self) -> Worker:
        """Begin."""
        self._thread.start()
        return self

    def close(self) -> None:
        """End after the round going on."""
        self._stop.set()
        if self._thread.is_alive():
            self._thread.join()

    def _run(self) -> None:
        while not self._stop.is_set():
            started = time.monotonic()
            try:
                found = self._compute()
            except Exception as error:
                self.fault = error
                return
            if found is not None:
                self.latest = found
                self.finished_s.append(time.monotonic())
            self._stop.wait(max(0.01, self._every_s - (time.monotonic() - started)))
