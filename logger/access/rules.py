"""Rules of a programme or permit: is a plane good enough, and can this survey tell?"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Annotated, Any

from logger.errors import UsageError
from logger.structured import Within

Share = Annotated[float, Within(0.0, 1.0)]

PASS, FAIL, TOO_CLOSE = "pass", "fail", "too close to call"


@dataclass(frozen=True)
class Rules:
    """Least values that a programme or permit asks for; None asks nothing."""

    minimum_solar_access: Share | None = None  # Of the year
    minimum_total_solar_resource_fraction: Share | None = None
    minimum_window_clear: Share | None = None  # Of the solar window in its worst month
    source: str = ""  # Where the rules stand, for the report

    def __post_init__(self) -> None:
        for value in self._minima:
            if not (math.isfinite(value) and 0 <= value <= 1):
                raise UsageError(f"a minimum of {value:g} is outside 0 to 1")

    @property
    def _minima(self) -> list[float]:
        asked = (
            self.minimum_solar_access,
            self.minimum_total_solar_resource_fraction,
            self.minimum_window_clear,
        )
        return [value for value in asked if value is not None]

    def __bool__(self) -> bool:
        return bool(self._minima)


@dataclass(frozen=True)
class Verdict:
    """One rule held against one plane."""

    rule: str
    # 0 to 1; low and high bound the 95 % interval
    limit: float
    value: float
    low: float
    high: float

    @property
    def verdict(self) -> str:
        """Pass or fail where the whole interval agrees, else too close to call."""
        if not (math.isfinite(self.low) and math.isfinite(self.high)):
            return FAIL
        # Without an interval the value alone decides.
        if self.low >= self.limit:
            return PASS
        return FAIL if self.high < self.limit else TOO_CLOSE

    def as_dict(self) -> dict[str, Any]:
        """The form of an entry of the result's ``rules`` list."""
        return {**vars(self), "verdict": self.verdict}
