"""How truly observers' spread, tracing bias and growth are found, on classes known exactly.

Run it with ``python benchmarks/observers.py`` (``--help`` for fewer classes). Horizons are sampled
from the virtual operator's model (a bias, a turn, a tremor that is alike over 3 degrees) on the
true skyline of the invented street, for a hundred classes from bytes would take hours; ``simulate
--observers 20 --output FOLDER`` and ``class FOLDER`` make one class from bytes.

Part one: of how many classes of twenty observers (ten of them sweep twice) the 95 % interval of
each standard deviation holds the true one; and of how many a further observer's bias, and the
annual access of that observer's sweep, lie within the interval that the found tracing bias makes.

Part two: how often growth of 0.3 m a year at 15 m is found significant, and its interval true.

Leaves with 4 when a limit is missed.
"""

from __future__ import annotations

import argparse
import datetime as dt
import sys

import numpy as np

from logger.access import Plane, SiteYear
from logger.agreement import Traced, observers_of
from logger.agreement.growth import YEAR_DAYS, Dated, changes_of
from logger.agreement.observers import MIDDLE_DEG
from logger.horizon import HorizonProfile, Obstruction
from logger.settings import Settings
from logger.simulation import DEFAULT_SITE, scene_named

STREET = scene_named("street", 12).truth()
OBSERVERS, TWICE = 20, 10
BIAS_DEG, AGAIN_BIAS_DEG = 0.4, 0.15  # Between observers, and from sweep to sweep of one
TURN_DEG, AGAIN_TURN_DEG = 0.8, 0.3
TREMOR_DEG, ALIKE_DEG = 0.15, 3.0
LEVEL_DEG = 0.1
COVERED = (0.90, 0.99)


def tremor(rng: np.random.Generator) -> np.ndarray:
    """Noise round the circle, alike over `ALIKE_DEG`."""
    apart = np.minimum(MIDDLE_DEG, 360.0 - MIDDLE_DEG)
    root = np.sqrt(np.maximum(np.fft.rfft(np.exp(-0.5 * (apart / ALIKE_DEG) ** 2)).real, 0.0))
    return TREMOR_DEG * np.fft.irfft(np.fft.rfft(rng.normal(size=apart.size)) * root, apart.size)


def swept(rng: np.random.Generator, bias: float, turn: float, **errors: float) -> HorizonProfile:
    """The street as somebody traced it."""
    at = STREET.elevation_at(MIDDLE_DEG - turn) + bias + tremor(rng)
    random = np.full(at.size, TREMOR_DEG)
    return HorizonProfile(
        MIDDLE_DEG,
        at,
        random,
        obstructions=STREET.obstructions,
        correlation_deg=ALIKE_DEG,
        **errors,
    )


def one_class(rng: np.random.Generator) -> tuple[list[Traced], np.ndarray]:
    """Sweeps of a class, and the level's error that all have in common, drawn."""
    level = rng.normal(0.0, LEVEL_DEG)
    sweeps = []
    for k in range(OBSERVERS):
        bias, turn = rng.normal(0.0, BIAS_DEG), rng.normal(0.0, TURN_DEG)
        for again in range(2 if k < TWICE else 1):
            profile = swept(
                rng,
                bias + rng.normal(0.0, AGAIN_BIAS_DEG) + level,
                turn + rng.normal(0.0, AGAIN_TURN_DEG),
            )
            sweeps.append(
                Traced(f"{k}-{again}", f"observer {k}", profile, np.full(13, np.nan), 2,
                       level_error_deg=LEVEL_DEG)
            )  # fmt: skip
    return sweeps, level


def print_classes(classes: int, draws: int) -> bool:
    year = SiteYear(DEFAULT_SITE, [Plane("south", 35.0, 180.0)], Settings(draws=draws))
    right = year.assess(STREET).planes[0].solar_access.annual
    whole_bias, whole_turn = np.hypot(BIAS_DEG, AGAIN_BIAS_DEG), np.hypot(TURN_DEG, AGAIN_TURN_DEG)
    held: dict[str, list[bool]] = {}
    found = []
    for seed in range(classes):
        rng = np.random.default_rng([seed, 2101])
        sweeps, _ = one_class(rng)
        result = observers_of(sweeps, STREET)
        spreads = {
            "lift, same observer again": (result.lift.repeatability, AGAIN_BIAS_DEG),
            "lift, another observer": (result.lift.reproducibility, whole_bias),
            "turn, same observer again": (result.turn.repeatability, AGAIN_TURN_DEG),
            "turn, another observer": (result.turn.reproducibility, whole_turn),
        }
        for name, (spread, true) in spreads.items():
            held.setdefault(name, []).append(spread.low <= true <= spread.high)
        five = observers_of([s for s in sweeps if s.observer in result.names[:5]], STREET)
        found.append((result.tracing.found_deg, result.tracing.to_use_deg, five.tracing.to_use_deg))
        bias, level = rng.normal(0.0, whole_bias), rng.normal(0.0, LEVEL_DEG)
        turn = rng.normal(0.0, whole_turn)
        for many, tracing in (("20", result.tracing), ("5", five.tracing)):
            error = float(np.hypot(tracing.to_use_deg, LEVEL_DEG))
            name = f"a further observer's bias, from {many}"
            held.setdefault(name, []).append(abs(bias + level) <= 1.96 * error)
            profile = swept(np.random.default_rng([seed, 2102]), bias + level, turn,
                            level_error_deg=error, heading_error_deg=float(whole_turn))  # fmt: skip
            access = year.assess(profile).planes[0].solar_access
            low, high = float(access.survey_low[12]), float(access.survey_high[12])
            name = f"that observer's annual access, from {many}"
            held.setdefault(name, []).append(low <= right <= high)
    print(f"{classes} classes of {OBSERVERS} observers, {TWICE} of whom sweep twice; in how many "
          "the 95 % interval holds the truth")  # fmt: skip
    fine = True
    for name, hits in held.items():
        share = float(np.mean(hits))
        kept = COVERED[0] <= share <= COVERED[1]
        fine &= kept
        print(f"  {name:42} {100 * share:4.0f} %{'' if kept else '  missed'}")
    middle = np.median(found, axis=0)
    print(
        f"tracing bias, true {whole_bias:.2f}°: median found {middle[0]:.2f}°, to use "
        f"{middle[1]:.2f}° from 20 and {middle[2]:.2f}° from 5 (assumed without: 0.5°)"
    )
    return fine


def spruces(rng: np.random.Generator, height_m: float, tracing_deg: float) -> HorizonProfile:
    """A row of spruces 15 m away on a level horizon, as one observer traced it."""
    inside = (MIDDLE_DEG > 150.0) & (MIDDLE_DEG < 190.0)
    elevation = np.where(inside, np.degrees(np.arctan(height_m / 15.0)), 4.0)
    bias = rng.normal(0.0, np.hypot(tracing_deg, LEVEL_DEG))
    return HorizonProfile(
        MIDDLE_DEG,
        elevation + bias + tremor(rng),
        np.full(MIDDLE_DEG.size, TREMOR_DEG),
        obstructions=(Obstruction("spruces", 150.0, 190.0, "evergreen", 15.0),),
        heading_error_deg=0.5,
        level_error_deg=float(np.hypot(tracing_deg, LEVEL_DEG)),
        correlation_deg=ALIKE_DEG,
    )


def print_growth(runs: int) -> bool:
    print(f"\ngrowth of 0.3 m a year at 15 m, spruces 8 m above the sight, {runs} pairs of surveys")
    print(f"{'tracing bias':>13} {'years':>6} {'significant':>12} {'interval true':>14}")
    day, fine = dt.date(2026, 6, 1), True
    for tracing in (0.5, 0.2):
        for years in (1, 2, 3, 5):
            hits, significant = [], []
            for seed in range(runs):
                rng = np.random.default_rng([seed, years, 2103])
                then = Dated(spruces(rng, 8.0, tracing), day)
                now = Dated(
                    spruces(rng, 8.0 + 0.3 * years, tracing),
                    day + dt.timedelta(days=round(YEAR_DAYS * years)),
                )
                change = changes_of(then, now)[0]
                low, high = change.rate_m.interval
                hits.append(low <= 0.3 <= high)
                significant.append(bool(change.significant))
            share, held = float(np.mean(significant)), float(np.mean(hits))
            fine &= COVERED[0] <= held <= COVERED[1]
            if tracing == 0.5:
                fine &= share < 0.5 if years == 1 else share > 0.5 if years == 3 else True
            print(f"{tracing:12.1f}° {years:6} {100 * share:10.0f} % {100 * held:12.0f} %")
    return fine


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.split("\n\n", maxsplit=1)[0])
    parser.add_argument("--classes", type=int, default=100)
    parser.add_argument("--draws", type=int, default=300, help="of the interval of access")
    parser.add_argument("--runs", type=int, default=200, help="pairs of surveys")
    given = parser.parse_args()
    kept = [print_classes(given.classes, given.draws), print_growth(given.runs)]
    print("every limit kept" if all(kept) else "limits missed")
    sys.exit(0 if all(kept) else 4)


if __name__ == "__main__":
    main()
