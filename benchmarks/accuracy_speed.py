"""How long the horizon takes on a sweep that goes on for ten minutes, fused anew as it grows.

Run it with ``python benchmarks/accuracy_speed.py``. Ten minutes at 100 Hz, to and fro over the
street with a mast; the reference in the same run is scipy's running median over half a second of
the same rows, which anybody would try first.
"""

from __future__ import annotations

import statistics
import time
from collections.abc import Callable

import numpy as np
from scipy.ndimage import median_filter

from logger.geometry import wrap360
from logger.horizon_fit import SightedSweep, horizon_from
from logger.orientation.sight_lines import SightLines
from logger.simulation import Operator, Sensor, scene_named, simulate_sweep

RUNS, PASSES = 5, 10
ROWS, SPACING_S = 60_000, 0.01


def seconds(work: Callable[[], object]) -> float:
    start = time.process_time()
    work()
    return time.process_time() - start


def ten_minutes() -> SightLines:
    """The true sight, so many passes of it, as rows a hundredth of a second apart."""
    operator = Operator(speed_deg_s=9.0, climb_deg_s=15.0, passes=PASSES)
    made = simulate_sweep(scene_named("street-with-mast", 0), operator, Sensor().without_iron())
    t_s = np.arange(ROWS) * SPACING_S
    scale = made.t_s[-1] / t_s[-1]

    def at(column: np.ndarray) -> np.ndarray:
        return np.interp(t_s * scale, made.t_s, column)

    azimuth = wrap360(at(np.unwrap(made.azimuth_deg, period=360.0)))
    return SightLines(
        t_s,
        azimuth,
        at(made.elevation_deg),
        np.zeros(ROWS),
        np.full(ROWS, 0.1),
        np.ones(ROWS, dtype=bool),
        np.full(ROWS, ""),
    )


def main() -> None:
    sight = ten_minutes()
    works: dict[str, Callable[[], object]] = {
        "running median": lambda: median_filter(np.asarray(sight.elevation_deg), 51)
    }
    for share in (0.1, 0.5, 1.0):
        part = SightedSweep(sight.rows(slice(0, int(share * ROWS))))
        works[f"{10 * share:.0f} min fused"] = lambda part=part: horizon_from([part], 46.0)  # type: ignore[misc]
    for work in works.values():
        work()
    taken = {
        name: statistics.median([seconds(work) for _ in range(RUNS)])
        for name, work in works.items()
    }
    print(f"{ROWS} rows, {sight.t_s[-1]:.0f} s of sweeping, processor time, median of {RUNS} runs")
    for name, value in taken.items():
        ratio = value / taken["running median"]
        print(f"{name:16} {1000 * value:8.1f} ms {ratio:8.1f} times the running median")


if __name__ == "__main__":
    main()
