"""What would be gained if one obstruction were taken away: at a point, and over a whole array."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from logger.access import SiteYear, removed
from logger.access.many import under_drawn_skies, under_median_sky
from logger.access.notes import WORTH_TELLING
from logger.access.result import YEAR
from logger.arrays import Floats
from logger.checks import NORMAL_95, PERCENTILES_95
from logger.job import Job
from logger.parallax import Surroundings
from logger.parallax.carry import Drawn
from logger.survey.recipe import year_of
from logger.survey.result import PointResult

REMOVABLE = ("evergreen", "deciduous", "pole or wire")
"""Kinds that can be cut or moved where nobody said otherwise; houses and hills stay."""

PLACES, FEW_PLACES, DRAWS = 60, 12, 24
"""Of an array, that a gain is the mean of; that its interval is drawn at; and how often."""


@dataclass(frozen=True)
class Gain:
    """What a plane's annual solar access would gain without one obstruction; shares, 0 to 1."""

    name: str
    plane: str
    before: float
    value: float
    # The 95 % interval; NaN where nothing was drawn
    low: float
    high: float
    removable: bool

    @property
    def is_worth_telling(self) -> bool:
        """Whether it is more than next to nothing."""
        return self.value >= WORTH_TELLING


def can_be_removed(job: Job, name: str, kind: str) -> bool:
    """Whether an obstruction could be cut or moved: as the job says, else by its kind."""
    said = {o.name: o.removable for o in job.obstructions if o.removable is not None}
    return said.get(name, kind in REMOVABLE)


def gain_at(job: Job, result: PointResult) -> Gain | None:
    """Without what takes most at a point and can be taken away, on the plane that gains most.

    None where nothing is worth it. Both horizons are drawn with the same errors and skies.
    """
    kinds = {o.name: o.kind for o in result.horizon.profile.obstructions}
    taken: dict[tuple[str, str], float] = {}
    for plane in result.access.planes:
        for o in plane.by_obstruction:
            if o.name in kinds and can_be_removed(job, o.name, kinds[o.name]):
                key = plane.plane.name, o.name
                taken[key] = taken.get(key, 0.0) + float(np.nan_to_num(o.loss_fraction[YEAR]))
    if not taken or max(taken.values()) < WORTH_TELLING:
        return None
    name = max(taken, key=lambda key: (taken[key], key[1]))[1]
    after = year_of(result.recipe).assess(removed(result.horizon.profile, name)).planes
    gains = []
    for one, other in zip(result.access.planes, after, strict=True):
        before, value = one.solar_access.annual, other.solar_access.annual
        value -= before
        # Drawn is the total solar resource fraction, the orientation's own part alike in both.
        drawn = (other.drawn_resource - one.drawn_resource) / one.orientation_factor.value
        low, high = np.percentile(drawn, PERCENTILES_95) if drawn.size > 1 else (np.nan, np.nan)
        low, high = max(0.0, min(float(low), value)), max(float(high), value)
        gains.append(Gain(name, one.plane.name, before, value, low, high, True))
    return max(gains, key=lambda gain: gain.value)


def gains_over(
    job: Job, year: SiteYear, k: int, here: Surroundings, places_m: Floats, before: float
) -> tuple[Gain, ...]:
    """What the mean over an array would gain without each near thing, most first."""
    some, few = (places_m[:: max(1, len(places_m) // most)] for most in (PLACES, FEW_PLACES))
    drawn = Drawn.of(here.layout, DRAWS, year.settings.seed)

    def means(without: str) -> tuple[float, Floats]:
        found = here.horizons(some, here.found, without)
        value = under_median_sky(year, k, found)
        few_drawn = here.horizons(few, drawn, without)
        of_draws, _ = under_drawn_skies(year, k, few_drawn, DRAWS)
        return float(value.solar[:, YEAR].mean()), of_draws.solar[..., YEAR].mean(axis=0)

    now, now_drawn = means("")
    gains = []
    for o in here.obstructions:
        if o.taken_as:
            without, without_drawn = means(o.name)
            value = without - now
            half = NORMAL_95 * float(np.std(without_drawn - now_drawn, ddof=1))
            can_go = can_be_removed(job, o.name, o.kind)
            low, high = max(0.0, value - half), value + half
            gains.append(Gain(o.name, year.planes[k].plane.name, before, value, low, high, can_go))
    return tuple(sorted(gains, key=lambda gain: -gain.value))
