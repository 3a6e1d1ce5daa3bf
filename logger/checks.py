"""Checks: what a result must satisfy to be fit for use."""

from __future__ import annotations

from dataclasses import asdict, dataclass
from typing import Annotated, Any

from logger.structured import Within

Figure = Annotated[float, Within(-1e6, 1e6)]
NORMAL_95 = 1.96  # Half-width of a 95 % interval in standard errors of a normal distribution
PERCENTILES_95 = (2.5, 97.5)  # Between them lie 95 % of what was drawn


@dataclass(frozen=True)
class Check:
    """One test of a result. Every room that can judge its own work returns some."""

    check: str  # Short plain name, such as "compass calibration" or "sun's range measured"
    passed: bool
    value: Figure | None  # What was found; None where it is no number
    limit: Figure | None  # What is allowed
    unit: str  # Of both; "" for a count or a share
    why: str  # One sentence for the surveyor: what was found and, when failed, what to do

    def as_dict(self) -> dict[str, Any]:
        """The form that the result's ``quality`` list holds."""
        return asdict(self)


def at_most(
    check: str, value: float, limit: float, unit: str, why: str, failed: str = "", digits: int = 3
) -> Check:
    """Whether a value stays within its limit; what is added to the sentence where it does not."""
    passed = bool(value <= limit)
    value = round(float(value), digits)
    return Check(check, passed, value, limit, unit, why if passed else why + failed)
