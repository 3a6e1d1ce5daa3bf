"""How well the far ridge gives north, and how long a far horizon takes.

Run it with ``python benchmarks/terrain.py`` (``--help`` for less of it). Ground, tiles, skylines
and sweeps are made by the virtual board's own rooms; what a run makes of them goes through bytes,
calibration, attitude and horizon as a survey does.

Part one: on hills, alone and behind a street, a hand trembles by 0.3° and steel turns the compass
by up to 8°; the heights of the tiles differ from the ground by 3 m RMS, alike over some hundred
metres. The heading's error is the found turn less the mean turn that the sweep's azimuths needed,
and is held against its stated 95 % interval. On the plain, with the same tiles' errors, north must
be declined in every run.

Part two: reading nine tiles of 1 arc second and computing one far horizon, and nine more from the
same tiles, as ratios to hashing the same files with SHA-256 in the same run; and the memory.

Leaves with 4 when a limit is missed.
"""

from __future__ import annotations

import argparse
import hashlib
import multiprocessing
import os
import sys
import tempfile
import time
from collections.abc import Callable, Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, replace
from functools import cache
from pathlib import Path

import numpy as np
from accuracy import DATE, SENSOR, SITE, calibrated, fused, received
from invented_hills import Hills, ridge_part, turning

from logger.geometry import angle_between
from logger.orientation import orient
from logger.simulation import DEFAULT_START, Operator, simulate_sweep
from logger.simulation.scenery import _street_parts, composed
from logger.simulation.terrain import hgt_tile
from logger.terrain import FarHorizon, far_horizon, north_from, read_heights

RMS_DEG, COVERED, MOST_TURN_DEG = 0.25, (0.90, 0.99), 8.0
TILE_ERROR_M, STATED_ERROR_M = 3.0, 9.7
SECONDS, MEGABYTES = 3.0, 500.0
GROUNDS = ("hills", "street", "plain")
DIFFERENT_HILLS = 12


@cache
def computed(ground: str, seed: int, error_m: float) -> FarHorizon:
    """The far horizon of tiles whose heights are off by that."""
    hills = Hills(SITE, seed, reach_m=30_000.0, relief_m=0.0 if ground == "plain" else 900.0)
    rng = np.random.default_rng([seed, 5])
    with tempfile.TemporaryDirectory() as folder:
        for south, west in ((45, 14), (46, 14)):
            tile = np.frombuffer(hgt_tile(hills, south, west), ">i2").reshape(1201, 1201)
            rough = rng.normal(size=(302, 302)).repeat(4, axis=0).repeat(4, axis=1)
            tile = np.rint(tile + error_m * rough[:1201, :1201])
            Path(folder, f"N{south}E{west:03d}.hgt").write_bytes(tile.astype(">i2").tobytes())
        heights = read_heights(Path(folder), SITE, 151_000.0)
    eye = SITE.altitude_m + 1.6
    return far_horizon(heights, SITE.latitude_deg, SITE.longitude_deg, eye, STATED_ERROR_M)


@dataclass(frozen=True)
class Run:
    """What one sweep came to."""

    error_deg: float
    stated_deg: float  # 1 sigma
    declined: str


def one_run(job: tuple[str, int]) -> Run:
    ground, seed = job
    rng = np.random.default_rng([seed, 9])
    true = computed(ground, seed % DIFFERENT_HILLS, 0.0)
    far = computed(ground, seed % DIFFERENT_HILLS, TILE_ERROR_M)
    parts = _street_parts(rng) if ground == "street" else []
    line = ridge_part("far hills", true.azimuth_deg, true.elevation_deg)
    steel = turning(float(rng.uniform(-MOST_TURN_DEG, MOST_TURN_DEG)), SITE, DATE)
    scene = replace(composed(ground, line, parts), steel=steel)
    sensor = replace(SENSOR, individual=seed % 5 + 1)
    swept = simulate_sweep(scene, Operator.calm(), sensor, SITE, DEFAULT_START, seed)
    stream = received(swept)
    sight = orient(stream.samples, calibrated(sensor, "AMG")).sight
    azimuth = np.degrees(np.interp(sight.t_s, swept.t_s, np.unwrap(np.radians(swept.azimuth_deg))))
    needed = float(np.nanmean(angle_between(azimuth, sight.azimuth_deg)[sight.used]))
    fix = north_from(fused(sight, stream.keys, swept).profile, far)
    return Run(fix.turn_deg - needed, fix.standard_error_deg, fix.declined)


def print_north(runs: int, grounds: Sequence[str], processes: int) -> bool:
    print(f"north from the ridge, {runs} sweeps each; tremor 0.3°, steel turns the compass by "
          f"up to {MOST_TURN_DEG:.0f}°")  # fmt: skip
    print(f"{'ground':8} {'RMS error':>10} {'largest':>8} {'stated':>7} {'95 % holds':>11} "
          f"{'declined':>9}")  # fmt: skip
    kept = True
    with ProcessPoolExecutor(max_workers=processes) as pool:
        for ground in grounds:
            found = list(pool.map(one_run, [(ground, seed) for seed in range(runs)], chunksize=4))
            told = [run for run in found if not run.declined]
            declined = len(found) - len(told)
            if ground == "plain":
                fine = declined == runs
                print(f"{ground:8} {'':39} {declined:9d}{'' if fine else '  missed'}", flush=True)
            else:
                error = np.array([run.error_deg for run in told])
                stated = np.array([run.stated_deg for run in told])
                rms = float(np.sqrt((error**2).mean()))
                holds = float(np.mean(np.abs(error) <= 1.96 * stated))
                fine = rms <= RMS_DEG and COVERED[0] <= holds <= COVERED[1]
                print(f"{ground:8} {rms:9.3f}° {np.abs(error).max():7.2f}° {stated.mean():6.3f}° "
                      f"{100 * holds:9.0f} % {declined:9d}{'' if fine else '  missed'}",
                      flush=True)  # fmt: skip
            kept &= fine
    return kept


def seconds(work: Callable[[], object]) -> float:
    start = time.perf_counter()
    work()
    return time.perf_counter() - start


def print_speed() -> bool:
    hills = Hills(SITE, 1, relief_m=700.0, reach_m=150_000.0, waves=12)
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        for south in (45, 46, 47):
            for west in (13, 14, 15):
                # Coarse ground on a fine lattice: its shape does not matter to the time.
                coarse = np.frombuffer(hgt_tile(hills, south, west), ">i2").reshape(1201, 1201)
                fine = coarse.repeat(3, axis=0).repeat(3, axis=1)[1:-1, 1:-1]
                path = folder / f"N{south}E{west:03d}.hgt"
                path.write_bytes(fine.astype(">i2").tobytes())
        # In a process of its own: what made the tiles counts neither for time nor for memory.
        with ProcessPoolExecutor(1, multiprocessing.get_context("spawn")) as alone:
            hashing, whole, worked, more, peak = alone.submit(far_horizons, folder).result()
    print("\nnine tiles of 1 arc second, 234 MB")
    ratio = whole / hashing
    print(
        f"hashing alone {hashing:.2f} s; one far horizon {whole:.2f} s, {ratio:.1f} times that, "
        f"of processors {worked:.2f} s; "
        f"nine more {more:.2f} s; at most {peak:.0f} MB"
    )
    return whole <= SECONDS and peak <= MEGABYTES


def far_horizons(folder: Path) -> tuple[float, float, float, float, float]:
    """Seconds: hashing the tiles; one far horizon, and of processors; nine more. Megabytes."""
    paths = sorted(folder.iterdir())
    hashing = seconds(lambda: [hashlib.sha256(p.read_bytes()).digest() for p in paths])
    start, worked = time.perf_counter(), time.process_time()
    heights = read_heights(folder, SITE, 151_000.0)

    def first() -> FarHorizon:
        return far_horizon(heights, SITE.latitude_deg, SITE.longitude_deg, 312.0, 9.7)

    first()
    whole, worked = time.perf_counter() - start, time.process_time() - worked
    more = seconds(lambda: [first() for _ in range(9)])
    return hashing, whole, worked, more, peak_megabytes()


def peak_megabytes() -> float:
    """Of this process; NaN where the system does not tell."""
    try:
        import resource
    except ImportError:
        return float("nan")
    size = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    return size / (1 << 20 if sys.platform == "darwin" else 1 << 10)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.split("\n\n", maxsplit=1)[0])
    parser.add_argument("--runs", type=int, default=100, help="sweeps on each ground; 0 for none")
    parser.add_argument("--ground", choices=GROUNDS, help="this ground alone, and no speed")
    parser.add_argument("--processes", type=int, default=2)
    options = parser.parse_args()
    kept = bool(options.ground) or print_speed()
    if options.runs:
        grounds = [options.ground] if options.ground else GROUNDS
        kept &= print_north(options.runs, grounds, options.processes)
    print("\nevery limit kept" if kept else "\nlimits missed")
    sys.exit(0 if kept else 4)


if __name__ == "__main__":
    for name in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS"):
        os.environ.setdefault(name, "1")
    main()
