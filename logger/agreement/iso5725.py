"""Repeatability and reproducibility of results by several observers.

The formulas are those of ISO 5725-2:1994, chapter 7: each observer is a laboratory of the standard,
each sweep a test result. The intervals are not the standard's: a variance over its mean square has
a chi-squared distribution, with degrees of freedom by Satterthwaite (1946, Biometrics Bulletin
2:110-114) where two mean squares are added.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from logger.arrays import Floats, floats

LEVELS = (0.05, 0.01)  # Probabilities of `Limits`


@dataclass(frozen=True)
class Spread:
    """A standard deviation with its 95 % confidence interval, in the unit of the results."""

    value: float
    low: float
    high: float
    freedom: float  # Degrees of freedom

    @classmethod
    def of(cls, variance: float, freedom: float) -> Spread:
        """Of a variance found with so many degrees of freedom."""
        from scipy.stats import chi2

        high, low = (float(chi2.ppf(share, freedom)) for share in (0.025, 0.975))
        value = math.sqrt(variance)
        return cls(
            value, value * math.sqrt(freedom / low), value * math.sqrt(freedom / high), freedom
        )


@dataclass(frozen=True)
class Limits:
    """What h or k exceeds with a probability of 5 % and of 1 %, as in the standard's tables."""

    straggler: float
    outlier: float


@dataclass(frozen=True, eq=False)
class Precision:
    """What results of several observers say of each other."""

    mean: float  # Over all results
    repeatability: Spread | None  # None: nobody measured twice
    reproducibility: Spread | None  # None: one observer alone
    # An observer's mean against the others', and scatter against theirs (Mandel); NaN where not
    # defined. Shape (observers,).
    h: Floats
    k: Floats
    h_limits: Limits
    k_limits: tuple[Limits, ...]  # For each observer's number of results

    def outlying(self) -> list[tuple[int, str, float, float]]:
        """Observer, statistic, value and limit of each beyond the outlier's limit."""
        found = [(i, "h", float(h), self.h_limits.outlier) for i, h in enumerate(self.h)]
        found += [(i, "k", float(k), self.k_limits[i].outlier) for i, k in enumerate(self.k)]
        return [one for one in found if abs(one[2]) > one[3]]


def precision(results: Sequence[Floats]) -> Precision:
    """Repeatability, reproducibility and Mandel's h and k of one quantity, results by observer."""
    there = [i for i, one in enumerate(results) if len(one)]
    kept = [floats(results[i]) for i in there]
    p, n = len(kept), np.array([len(one) for one in kept])
    means = np.array([one.mean() for one in kept])
    mean = float((n * means).sum() / n.sum()) if p else math.nan
    within = np.array([one.var(ddof=1) if len(one) > 1 else np.nan for one in kept])
    freedom = int((n - 1).sum())
    of_same = float(np.nansum((n - 1) * within)) / freedom if freedom else 0.0
    h, k = (np.full(len(results), np.nan) for _ in range(2))
    twice = np.flatnonzero(n > 1)
    if p > 1 and np.ptp(means) > 0:
        h[there] = (means - mean) / math.sqrt(((means - mean) ** 2).sum() / (p - 1))
    if of_same > 0:
        share = within[twice] * len(twice) / within[twice].sum()
        k[np.array(there)[twice]] = np.sqrt(share)
    return Precision(
        mean,
        Spread.of(of_same, freedom) if freedom else None,
        _reproducibility(means, n, mean, of_same, freedom) if p > 1 else None,
        h,
        k,
        Limits(*(h_limit(p, level) for level in LEVELS)),
        tuple(Limits(*(k_limit(len(twice), len(x), level) for level in LEVELS)) for x in results),
    )


def _reproducibility(
    means: Floats, n: Any, mean: float, of_same: float, freedom: int
) -> Spread | None:
    """Repeatability and what observers differ by, together."""
    p = len(means)
    between = float((n * (means - mean) ** 2).sum()) / (p - 1)  # s_d squared
    size = float(n.sum() - (n**2).sum() / n.sum()) / (p - 1)
    more = (between - of_same) / size  # s_L squared
    if more <= 0:  # the standard sets it to zero: all results are of one kind
        everything = freedom + p - 1
        both = (between * (p - 1) + of_same * freedom) / everything
        return Spread.of(both, everything)
    parts = [(between / size, p - 1), (of_same * (1 - 1 / size), freedom)]
    square = sum(value**2 / count for value, count in parts if count)
    return Spread.of(of_same + more, (of_same + more) ** 2 / square)


def h_limit(observers: int, level: float) -> float:
    """What |h| exceeds with a probability, for results that are all alike.

    With t of ``observers - 2`` degrees of freedom, two-sided: (p - 1) t / sqrt(p (t^2 + p - 2)).
    """
    from scipy.stats import t

    p = observers
    if p < 3:
        return math.inf
    value = t.ppf(1 - level / 2, p - 2)
    return float((p - 1) * value / math.sqrt(p * (value**2 + p - 2)))


def k_limit(observers: int, results: int, level: float) -> float:
    """What k exceeds with a probability, for observers that measure ``results`` times each.

    With F of (n - 1) and (p - 1)(n - 1) degrees of freedom: sqrt(p F / (F + p - 1)).
    """
    from scipy.stats import f

    p, n = observers, results
    if p < 2 or n < 2:
        return math.inf
    value = f.ppf(1 - level, n - 1, (p - 1) * (n - 1))
    return float(math.sqrt(p * value / (value + p - 1)))
