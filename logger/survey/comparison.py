"""Whether two figures differ by more than what is known of them."""

from __future__ import annotations

import math
from dataclasses import dataclass


@dataclass(frozen=True)
class Difference:
    """First minus second, with the 95 % interval of the difference."""

    # NaN where one of the two is not defined; low and high are NaN also where nothing is known
    # of the uncertainty of either
    value: float
    low: float
    high: float

    @property
    def is_real(self) -> bool | None:
        """Whether zero lies outside the interval; None where that cannot be told."""
        if math.isnan(self.value) or math.isnan(self.low):
            return None
        return self.low > 0 or self.high < 0


def difference(first: tuple[float, float, float], second: tuple[float, float, float]) -> Difference:
    """Compare two figures given as value, low and high.

    The intervals are taken as independent, so that their arms add in quadrature: the lower arm
    of the difference is made of the first one's lower and the second one's upper arm. Errors that
    both figures share, such as the declination, make the true interval narrower; taking them as
    independent never finds a difference that is not there.
    """
    value, low, high = first
    other, other_low, other_high = second
    gap = value - other
    if not (high > low or other_high > other_low):
        return Difference(gap, math.nan, math.nan)
    below = math.hypot(value - low, other_high - other)
    above = math.hypot(high - value, other - other_low)
    return Difference(gap, gap - below, gap + above)
