"""How close and how fast logger.access is, against a straightforward pvlib script.

    python benchmarks/access.py              speed, memory and start-up (about a minute)
    python benchmarks/access.py --agreement  50 random sites and horizons (several minutes)

Everything is a ratio of times taken in one run, so that a slow or busy machine changes little.
"""

from __future__ import annotations

import argparse
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

import numpy as np

HERE = Path(__file__).parent
sys.path.insert(0, str(HERE))


def random_case(rng: np.random.Generator) -> object:
    """A site between 70 S and 70 N, a plane towards the equator, a skyline of hills and blocks."""
    from access_reference import Case

    latitude = rng.uniform(-70, 70)
    azimuth = np.arange(360.0)
    horizon = np.zeros(360)
    for k in range(1, 9):
        size, phase = rng.normal(0, 6 / k), rng.uniform(0, 360)
        horizon += size * np.cos(np.radians(k * azimuth + phase))
    horizon = np.abs(horizon)
    for _ in range(rng.integers(0, 4)):
        start, width, height = rng.integers(0, 360), rng.integers(5, 60), rng.uniform(5, 45)
        sector = (start + np.arange(width)) % 360
        horizon[sector] = np.maximum(horizon[sector], height)
    return Case(
        latitude,
        rng.uniform(-180, 180),
        rng.uniform(0, 3000),
        rng.uniform(0, 60),
        (180.0 if latitude >= 0 else 0.0) + rng.uniform(-60, 60),
        horizon,
    )


def ours(case, **errors):
    """Our objects of a reference case: site, plane, settings, profile."""
    from logger.access import Plane
    from logger.horizon import HorizonProfile
    from logger.settings import Settings
    from logger.site import Site

    step = 360.0 / len(case.horizon_deg)
    return (
        Site(case.latitude_deg, case.longitude_deg, case.altitude_m),
        Plane("plane", case.tilt_deg, case.azimuth_deg % 360),
        Settings(year=case.year),
        HorizonProfile(np.arange(len(case.horizon_deg)) * step, case.horizon_deg, **errors),
    )


def agreement(sites: int, seed: int) -> None:
    """Monthly and annual beam access against brute force."""
    from access_reference import as_weather, solar_access, sun_and_sky

    from logger.access import SiteYear

    rng = np.random.default_rng(seed)
    differences = []
    for k in range(sites):
        case = random_case(rng)
        sky = sun_and_sky(case)
        _, truth = solar_access(case, sky)
        site, plane, settings, profile = ours(case)
        weather = as_weather(sky[0], sky[2])
        year = SiteYear(site, [plane], settings, weather)
        found = year.assess(profile).planes[0]
        counts = np.append(year.planes[0].monthly_beam_kwh_m2 >= 1.0, True)
        difference = np.abs(found.beam_access.value - truth)[counts] * 100
        differences.append(difference)
        print(
            f"{k + 1:3d}  lat {case.latitude_deg:6.1f}  months {counts[:12].sum():2d}  "
            f"largest difference {difference.max():.5f} points, of the year {difference[-1]:.6f}",
            flush=True,
        )
    every = np.concatenate(differences)
    print(f"\n{len(every)} months and years at {sites} sites, seed {seed}")
    print(f"largest difference from brute force {every.max():.5f} points (limit 0.02)")


def timed(work: Callable[[], object], repeat: int = 1) -> float:
    """The shortest of some runs: what else the machine does only ever adds. [s]"""
    times = []
    for _ in range(repeat):
        start = time.perf_counter()
        work()
        times.append(time.perf_counter() - start)
    return min(times)


COLD = """
import sys, time
sys.path.insert(0, {here!r})
import numpy as np, pandas, pvlib, scipy.interpolate, scipy.sparse
from access_reference import Case, as_weather, solar_access, sun_and_sky
from logger.access import Plane, SiteYear
from logger.horizon import HorizonProfile
from logger.settings import Settings
from logger.site import Site
azimuth = np.arange(360.0)
horizon = np.abs(8 * np.sin(np.radians(3 * azimuth)) + 6 * np.cos(np.radians(7 * azimuth))) + 3
profile = HorizonProfile(azimuth, horizon)
site, plane = Site(46.05, 14.51, 310), Plane("plane", 35, 180)
case = Case(46.05, 14.51, 310.0, 35.0, 180.0, horizon)
times, _, sky = sun_and_sky(case)
weather = as_weather(times, sky)
start = time.perf_counter()
{work}
print(time.perf_counter() - start)
"""


def cold(work: str, repeat: int) -> float:
    """Shortest time of the first call in fresh processes, libraries imported. [s]"""
    program = COLD.format(here=str(HERE), work=work)
    return min(
        float(subprocess.run([sys.executable, "-c", program], capture_output=True, text=True,
                             check=True).stdout)
        for _ in range(repeat)
    )  # fmt: skip


def speed() -> None:
    """Ratios of time."""
    from access_reference import Case, as_weather, sun_and_sky

    from logger.access import SiteYear
    from logger.horizon import HorizonProfile
    from logger.settings import Settings

    script = cold("solar_access(case)", 3)
    first = cold("SiteYear(site, [plane], Settings(), weather).assess(profile)", 8)
    drawn_sky = cold("SiteYear(site, [plane]).assess(profile)", 8)
    print(f"straightforward pvlib script, a year at one minute   {script:8.3f} s")
    print(f"first horizon under its sky, cold in the process     {first:8.3f} s"
          f"   {script / first:6.1f} times faster (wanted 15)")  # fmt: skip
    print(f"the same under 1000 skies that could be              {drawn_sky:8.3f} s"
          f"   {script / drawn_sky:6.1f} times faster")  # fmt: skip

    rng = np.random.default_rng(3)
    azimuth = np.arange(360.0)
    skyline = np.abs(8 * np.sin(np.radians(3 * azimuth)) + 6 * np.cos(np.radians(7 * azimuth))) + 3
    case = Case(46.05, 14.51, 310.0, 35.0, 180.0, skyline)
    times, _, sky = sun_and_sky(case)
    site, plane, settings, _ = ours(case)
    year = SiteYear(site, [plane], settings, as_weather(times, sky))
    unknown = SiteYear(site, [plane], settings)
    others = [HorizonProfile(azimuth, np.abs(skyline + rng.normal(0, 2, 360))) for _ in range(20)]
    year.assess(others[0])
    unknown.assess(others[0])
    remaining, once_more = iter(others), iter(others)
    further = timed(lambda: year.assess(next(remaining)), 20)
    drawn_sky = timed(lambda: unknown.assess(next(once_more)), 20)
    print(f"a further horizon, same site and plane               {further:8.5f} s"
          f"   {script / further:6.0f} times faster (wanted 300)")  # fmt: skip
    print(f"the same under 1000 skies                            {drawn_sky:8.5f} s"
          f"   {script / drawn_sky:6.0f} times faster")  # fmt: skip

    uncertain = HorizonProfile(
        azimuth, skyline, np.full(360, 0.5), heading_error_deg=1.5, level_error_deg=0.4
    )
    fresh = iter([SiteYear(site, [plane], Settings()) for _ in range(3)])
    drawn = timed(lambda: next(fresh).assess(uncertain), 3)
    again = timed(lambda: unknown.assess(uncertain), 5)
    print(f"1000 drawn horizons with monthly results             {drawn:8.3f} s"
          f"   {drawn / first:6.2f} times the first (limit 2); again {again:.3f} s")  # fmt: skip


def start_up() -> None:
    """The whole command, and its memory."""
    rng = np.random.default_rng(5)
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "horizon.csv"
        rows = [f"{a},{abs(rng.normal(8, 4)):.2f},0.5" for a in range(360)]
        path.write_text(
            "# heading_error_deg: 1.5\n# level_error_deg: 0.3\n"
            "azimuth_deg,elevation_deg,standard_error_deg\n" + "\n".join(rows) + "\n"
        )
        command = [
            str(Path(sys.executable).with_name("horizon-logger")), "assess", str(path),
            "--latitude", "46.05", "--longitude", "14.51", "--altitude", "310",
            "--tilt", "35", "--azimuth", "180", "--json", "-",
        ]  # fmt: skip
        imports = [sys.executable, "-c", "import pvlib, scipy.interpolate"]

        def run(what: list[str]) -> float:
            return timed(lambda: subprocess.run(what, stdout=subprocess.DEVNULL, check=True))

        pairs = [(run(imports), run(command)) for _ in range(7)]
        base, whole = (min(x) for x in zip(*pairs, strict=True))
        print(f'python -c "import pvlib, scipy.interpolate"          {base:8.3f} s')
        print(f"assess from CSV to JSON with 1000 draws              {whole:8.3f} s"
              f"   {whole / base:6.2f} times that (limit 2)")  # fmt: skip
        print(f"peak memory of assess                                "
              f"{peak_memory_mb(command):8.0f} MB (limit 500)")  # fmt: skip


def peak_memory_mb(command: list[str]) -> float:
    """Peak resident memory of a command, from a small process of its own. [MB]"""
    # A child's own peak would count the memory of this process, from which it is started.
    program = (
        "import resource, subprocess, sys\n"
        "subprocess.run(sys.argv[1:], stdout=subprocess.DEVNULL, check=True)\n"
        "print(resource.getrusage(resource.RUSAGE_CHILDREN).ru_maxrss)"
    )
    done = subprocess.run(
        [sys.executable, "-c", program, *command], capture_output=True, text=True, check=True
    )
    return float(done.stdout) / (1024 if sys.platform != "darwin" else 2**20)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--agreement", action="store_true", help="instead of the times")
    parser.add_argument("--sites", type=int, default=50)
    parser.add_argument("--seed", type=int, default=20260101)
    options = parser.parse_args()
    if options.agreement:
        agreement(options.sites, options.seed)
    else:
        speed()
        start_up()


if __name__ == "__main__":
    main()
