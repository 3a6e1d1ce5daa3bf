"""How often the interval of solar access holds the truth, by simulation.

    python benchmarks/interval_coverage.py sky FOLDER   drawn skies, under each typical year of a
                                                        folder: 20 planes and horizons each
    python benchmarks/interval_coverage.py leaf         crowns of each published transmittance
    python benchmarks/interval_coverage.py height       modules above and below the sight, each
                                                        thing 5 to 40 m away

Exit code 1 where an aim is missed. Typical years whose own checks fail at their place are left out.
"""

from __future__ import annotations

import argparse
import os
import sys
from dataclasses import replace
from pathlib import Path

import numpy as np
import pvlib

from logger.access import Plane, SiteYear, leaf, read_weather
from logger.access.point import Point
from logger.errors import InputError
from logger.horizon import HorizonProfile, Obstruction
from logger.settings import Settings

EXACT, DRAWN = Settings(draws=0), Settings()
SHIPPED = Path(pvlib.__file__).parent / "data" / "723170TYA.CSV"


def horizon(rng: np.random.Generator, blocks: int | None = None) -> HorizonProfile:
    """Hills, and some blocks before them, each an obstruction."""
    azimuth = np.arange(360.0)
    elevation = np.zeros(360)
    for k in range(1, 9):
        wave = np.cos(np.radians(k * azimuth + rng.uniform(0, 360)))
        elevation += rng.normal(0, 4 / k) * wave
    elevation = np.abs(elevation)
    named = []
    for n in range(rng.integers(1, 4) if blocks is None else blocks):
        start, width = int(rng.integers(0, 360)), int(rng.integers(10, 70))
        sector = (start + np.arange(width)) % 360
        elevation[sector] = np.maximum(elevation[sector], rng.uniform(8, 40))
        end = float((start + width - 0.5) % 360)
        named.append(Obstruction(f"block {n}", (start - 0.5) % 360, end))
    return HorizonProfile(azimuth, elevation, obstructions=tuple(named))


def sky(folder: Path, pairs: int = 20) -> bool:
    """The drawn sky's interval against access under real typical years."""
    held, months, width = [], [], []
    for path in sorted(folder.iterdir()):
        try:
            weather = read_weather(path)
        except InputError:
            continue
        site = weather.place
        if failed := [c.check for c in SiteYear(site, (), EXACT, weather).checks if not c.passed]:
            print(f"{path.name[:30]:30s} left out: {', '.join(failed)}")
            continue
        rng = np.random.default_rng(7)
        facing = 180.0 if site.latitude_deg >= 0 else 0.0
        planes = [
            Plane(f"{k}", rng.uniform(0, 60), (facing + rng.uniform(-90, 90)) % 360)
            for k in range(pairs)
        ]
        horizons = [horizon(rng) for _ in planes]
        known, drawn = SiteYear(site, planes, EXACT, weather), SiteYear(site, planes, DRAWN)
        inside = []
        for k, profile in enumerate(horizons):
            truth = Point(known, profile).result(k).solar_access.value
            found = Point(drawn, profile).result(k).solar_access
            inside.append((found.low <= truth + 1e-12) & (truth <= found.high + 1e-12))
            width.append(found.high[12] - found.low[12])
        inside = np.array(inside)
        held += inside[:, 12].tolist()
        months += inside[:, :12].ravel().tolist()
        print(
            f"{path.name[:30]:30s} latitude {site.latitude_deg:6.1f}  year inside "
            f"{100 * inside[:, 12].mean():3.0f} %  widest {100 * max(width[-pairs:]):4.1f} points",
            flush=True,
        )
    print(f"{len(held)} cases: the year inside in {100 * np.mean(held):.1f} % (aim 90), months in "
          f"{100 * np.mean(months):.1f} %, widest {100 * max(width):.1f} points (aim 12), "
          f"mean {100 * np.mean(width):.1f}")  # fmt: skip
    return bool(np.mean(held) >= 0.9 and max(width) <= 0.12)


def leaves(cases: int = 100) -> bool:
    """Crowns of one source and a value of its range each, dates 14 days off as a rule."""
    rng = np.random.default_rng(11)
    weather = read_weather(SHIPPED)
    planes = [Plane("south", 35.0, 180.0)]
    years = [SiteYear(weather.place, planes, s, weather) for s in (EXACT, DRAWN)]
    known = leaf.IN_LEAF, leaf.BARE, leaf.FIRST_LEAF_DAY, leaf.LAST_LEAF_DAY
    inside = december = 0
    for _ in range(cases):
        profile = horizon(rng, 3)
        crowns = [replace(o, kind="deciduous") for o in profile.obstructions]
        profile = profile.with_obstructions(crowns)
        found = years[1].assess(profile).planes[0].solar_access
        source = rng.integers(len(known[0]))
        leaf.IN_LEAF, leaf.BARE = ((pair,) for pair in (
            (x, x) for x in (rng.uniform(*t[source]) for t in known[:2])
        ))  # fmt: skip
        leaf.FIRST_LEAF_DAY, leaf.LAST_LEAF_DAY = (
            d + rng.normal(0, leaf.LEAF_DAY_ERROR) for d in known[2:]
        )
        truth = years[0].assess(profile).planes[0].solar_access.value
        leaf.IN_LEAF, leaf.BARE, leaf.FIRST_LEAF_DAY, leaf.LAST_LEAF_DAY = known
        held = (found.low <= truth) & (truth <= found.high)
        inside, december = inside + held[12], december + held[11]
    print(f"{cases} crowns: the year inside in {inside}, December in {december} (aim 90)")
    return bool(inside >= 0.9 * cases)


def height(cases: int = 100) -> bool:
    """Modules above and below the sight, distances not known to the interval."""
    rng = np.random.default_rng(12)
    weather = read_weather(SHIPPED)
    planes = [Plane("south", 35.0, 180.0)]
    years = [SiteYear(weather.place, planes, s, weather) for s in (EXACT, DRAWN)]
    inside = far_inside = below = higher = 0
    for _ in range(cases):
        profile = horizon(rng, 4)
        rise = float(rng.choice([-1.0, 1.0], p=[0.75, 0.25]) * rng.uniform(0.5, 4.0))
        away = np.exp(rng.uniform(np.log(5.0), np.log(40.0), 5))
        found = years[1].assess(replace(profile, rise_m=rise)).planes[0].solar_access

        def holds(hills_m: float, profile=profile, rise=rise, away=away, found=found) -> bool:
            truth = years[0].assess(placed(profile, rise, away, hills_m)).planes[0].solar_access
            return bool(found.low[12] <= truth.annual <= found.high[12])

        inside += holds(away[4])
        far_inside += holds(3000.0)
        if rise < 0:
            higher += 1
            level = years[1].assess(profile).planes[0].solar_access
            below += found.low[12] < level.survey_low[12]
    print(f"{cases} modules, all things 5 to 40 m away: the truth inside in {inside} (aim 90); "
          f"where the hills are 3 km away and not named terrain in {far_inside}")  # fmt: skip
    print(f"of {higher} modules above the sight {below} have a lower bound below survey_low at the "
          "sight's height (aim 0)")  # fmt: skip
    return bool(inside >= 0.9 * cases and below == 0)


def placed(profile: HorizonProfile, rise: float, away_m: np.ndarray, hills_m: float):
    """The truth: each block at a distance of its own, what is between them at another."""
    distance = np.full(len(profile), hills_m)
    for o, metres in zip(profile.obstructions, away_m, strict=False):
        span = (profile.azimuth_deg - o.from_azimuth_deg) % 360
        distance[span <= (o.to_azimuth_deg - o.from_azimuth_deg) % 360] = metres
    return replace(profile, rise_m=rise, distance_m=distance)


def main() -> int:
    """Run from the command line."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("what", choices=("sky", "leaf", "height"))
    parser.add_argument("folder", nargs="?", type=Path, default=Path(os.curdir))
    options = parser.parse_args()
    if options.what == "sky":
        return 0 if sky(options.folder) else 1
    return 0 if {"leaf": leaves, "height": height}[options.what]() else 1


if __name__ == "__main__":
    sys.exit(main())
