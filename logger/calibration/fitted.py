"""What every calibration gives: a correction, the figures behind it and the checks on it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Generic, TypeVar

import numpy as np

from logger.checks import Check
from logger.recording.samples import Samples

Correction = TypeVar("Correction", covariant=True)


@dataclass(frozen=True)
class Calibration(Generic[Correction]):
    """A correction with its proof."""

    correction: Correction
    figures: Mapping[str, Any]  # What the report prints, by the names that `words` knows
    checks: tuple[Check, ...]


def figures_of(samples: Samples, figures: Mapping[str, Any]) -> dict[str, Any]:
    """Figures to four decimals, and the board's temperature while they were taken."""
    known = samples.temperature_c[np.isfinite(samples.temperature_c)]
    temperature = float(np.median(known)) if len(known) else None
    return {key: _rounded(value) for key, value in figures.items()} | {"temperature_c": temperature}


def _rounded(value: Any) -> Any:
    if isinstance(value, (float, np.floating)):
        return round(float(value), 4)
    if isinstance(value, Mapping):
        return {key: _rounded(one) for key, one in value.items()}
    return [_rounded(one) for one in value] if isinstance(value, (list, np.ndarray)) else value
