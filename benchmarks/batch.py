"""How fast ``replay --batch`` is on two processes against one, and how much memory it takes.

Run it with ``python benchmarks/batch.py [--sweeps N] [--different N]``; the full run is
``--sweeps 200``. The virtual board makes sweeps of three minutes, some of them different and then
the same ones over and over under other names, in jobs of eight points with a site each. The same
folder is worked through by one process and by two, in turns, and the JSON of both must be alike
byte for byte; then half of the jobs, for the memory. Linux and macOS only.
"""

from __future__ import annotations

import argparse
import datetime as dt
import filecmp
import os
import resource
import shutil
import statistics
import subprocess
import sys
import tempfile
import time
from dataclasses import dataclass, replace
from pathlib import Path

from logger.job import create_job, sweep_path
from logger.recording import write_recording
from logger.simulation import BoardSettings, Operator, Sensor, scene_named, simulate_sweep
from logger.site import Site

POINTS = 8
ROUNDS = 3
SPEED_DEG_S = 4.6  # twice round and up and down at the edges takes three minutes
SCENES = ("open-meadow", "street", "courtyard")
STARTED = dt.datetime(2026, 5, 14, 8, 0, 0, tzinfo=dt.UTC)
LEAST_SPEED_UP = 1.6
# The command in a process that tells its own and its workers' largest memory when it ends.
MEASURED = """
import atexit, resource, sys
def tell():
    unit = 1 if sys.platform == "darwin" else 1024
    sizes = (resource.getrusage(w).ru_maxrss * unit
             for w in (resource.RUSAGE_SELF, resource.RUSAGE_CHILDREN))
    print("PEAK", *sizes, file=sys.stderr)
atexit.register(tell)
from logger.cli import main
main(sys.argv[1:])
"""


@dataclass(frozen=True)
class Run:
    """One run of the command: wall and processor time [s], largest memory [bytes]."""

    seconds: float
    processor_s: float
    own: int
    worker: int


def sweep(seed: int) -> tuple[list[tuple[float, bytes]], dict[str, object], float]:
    """Chunks, header and length of a sweep of three minutes. [s]"""
    done = simulate_sweep(
        scene_named(SCENES[seed % len(SCENES)], seed),
        replace(Operator.calm(), speed_deg_s=SPEED_DEG_S),
        Sensor(individual=seed),
        Site(46.05, 14.51, 310.0),
        STARTED,
        seed,
        streams="MG",
        settings=BoardSettings(name="virtual board"),
    )
    chunks = list(done.chunks)
    return chunks, dict(done.header), chunks[-1][0]


def make(folder: Path, sweeps: int, different: int) -> float:
    """Jobs with so many sweeps; the mean length of one. [s]"""
    made: list[Path] = []
    lengths = []
    for k in range(min(sweeps, different)):
        chunks, header, length = sweep(k + 1)
        path = folder / "made" / f"{k}.sweep"
        write_recording(path, header, chunks)
        made.append(path)
        lengths.append(length)
    for k in range(sweeps):
        number, point = divmod(k, POINTS)
        home = folder / "jobs" / f"job {number:03d}"
        if point == 0:
            job = create_job(home, Site(46.05 + 0.01 * number, 14.51, 310.0))
        path = sweep_path(job, f"point {point + 1}", STARTED)
        path.parent.mkdir(parents=True, exist_ok=True)
        shutil.copyfile(made[k % len(made)], path)
    return statistics.fmean(lengths)


def run(folder: Path, processes: int, out: Path) -> Run:
    """Work a folder through."""
    command = [sys.executable, "-c", MEASURED, "replay", "--batch", str(folder)]
    command += ["--processes", str(processes), "--json", str(out)]
    before, start = resource.getrusage(resource.RUSAGE_CHILDREN), time.perf_counter()
    done = subprocess.run(command, capture_output=True, check=False, encoding="utf-8")
    seconds = time.perf_counter() - start
    if done.returncode not in (0, 4):
        raise SystemExit(f"{command} left with {done.returncode}: {done.stderr[-2000:]}")
    peak = next(line for line in done.stderr.splitlines() if line.startswith("PEAK")).split()
    after = resource.getrusage(resource.RUSAGE_CHILDREN)
    processor_s = after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime
    return Run(seconds, processor_s, int(peak[1]), int(peak[2]))


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--sweeps", type=int, default=32)
    parser.add_argument("--different", type=int, default=6)
    parser.add_argument("--rounds", type=int, default=ROUNDS)
    given = parser.parse_args()
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        length = make(folder, given.sweeps, given.different)
        jobs = sorted((folder / "jobs").iterdir())
        print(
            f"{given.sweeps} sweeps of {length:.0f} s (mean), {min(given.sweeps, given.different)} "
            f"of them different, in {len(jobs)} jobs; {os.cpu_count()} processors"
        )
        one, two = folder / "one.json", folder / "two.json"
        ratios = []
        for _ in range(given.rounds):
            alone, shared = run(folder / "jobs", 1, one), run(folder / "jobs", 2, two)
            ratios.append(alone.seconds / shared.seconds)
            print(
                f"one process {alone.seconds:.1f} s, two {shared.seconds:.1f} s: "
                f"{ratios[-1]:.2f} times the speed (processor time {alone.processor_s:.1f} and "
                f"{shared.processor_s:.1f} s); load {os.getloadavg()[0]:.1f}; "
                f"JSON {'alike' if filecmp.cmp(one, two, shallow=False) else 'NOT ALIKE'}",
                flush=True,
            )
        print(
            f"two processes: {statistics.median(ratios):.2f} times the speed of one (median); "
            f"at least {LEAST_SPEED_UP:g} is the aim"
        )
        fewer = folder / "fewer"
        fewer.mkdir()
        for job in jobs[: max(1, len(jobs) // 2)]:
            shutil.copytree(job, fewer / job.name)
        small = run(fewer, 2, folder / "fewer.json")
        for what, result in (("half of the jobs", small), ("all jobs", shared)):
            print(
                f"{what}: {result.own / 2**20:.0f} MiB in the command, at most "
                f"{result.worker / 2**20:.0f} MiB in a worker"
            )


if __name__ == "__main__":
    main()
