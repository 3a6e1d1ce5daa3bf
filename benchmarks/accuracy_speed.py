"""How long the fused horizon and the running horizon take on a long point.

Run it with ``python benchmarks/accuracy_speed.py``. Two passes of 180 s at 50 Hz over the street
with a mast; the reference in the same run is scipy's running median over half a second of the
same rows, which anybody would try first.
"""

from __future__ import annotations

import statistics
import time
from collections.abc import Callable

import numpy as np
from scipy.ndimage import median_filter

from logger.geometry import wrap360
from logger.horizon_fit import HorizonSettings, Pass, horizon_from, running_horizon
from logger.orientation.sight_lines import SightLines
from logger.simulation import Operator, Sensor, scene_named, simulate_sweep

RUNS = 15


def seconds(work: Callable[[], object]) -> float:
    start = time.process_time()
    work()
    return time.process_time() - start


def main() -> None:
    operator = Operator(speed_deg_s=2.45, climb_deg_s=4.5, passes=2)
    made = simulate_sweep(scene_named("street-with-mast", 0), operator, Sensor().without_iron())
    n = len(made.t_s)
    sight = SightLines(
        made.t_s,
        wrap360(made.azimuth_deg),
        made.elevation_deg,
        made.tilt_deg,
        np.full(n, 0.1),
        np.ones(n, dtype=bool),
        np.full(n, ""),
    )
    passes, asked = [Pass(sight)], HorizonSettings(latitude_deg=46.0)
    works: dict[str, Callable[[], object]] = {
        "running median": lambda: median_filter(np.asarray(sight.elevation_deg), 25),
        "running horizon": lambda: running_horizon(passes, asked),
        "fused horizon": lambda: horizon_from(passes, asked),
    }
    for work in works.values():
        work()
    taken = {
        name: statistics.median([seconds(work) for _ in range(RUNS)])
        for name, work in works.items()
    }
    print(f"{n} rows, {made.t_s[-1]:.0f} s of sweeping, median of {RUNS} runs")
    for name, value in taken.items():
        ratio = value / taken["running median"]
        print(f"{name:16} {1000 * value:8.1f} ms {ratio:8.1f} times the running median")


if __name__ == "__main__":
    main()
