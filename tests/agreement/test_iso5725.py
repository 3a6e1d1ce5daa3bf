"""Repeatability and reproducibility against published data and tables."""

from __future__ import annotations

import numpy as np
import pytest

from logger.agreement import h_limit, k_limit, precision

# NIST Statistical Reference Datasets, analysis of variance, "SiRstv": resistivity of silicon by
# five instruments, five times each. Certified: sums of squares between 5.11462616000000E-02 (4
# degrees of freedom) and within 2.16636560000000E-01 (20).
SILICON = (
    (196.3052, 196.1240, 196.1890, 196.2569, 196.3403),
    (196.3042, 196.3825, 196.1669, 196.3257, 196.0422),
    (196.1303, 196.2005, 196.2889, 196.0343, 196.1811),
    (196.2795, 196.1748, 196.1494, 196.1485, 195.9885),
    (196.2119, 196.1051, 196.1850, 196.0052, 196.2090),
)
WITHIN, BETWEEN = 2.16636560000000e-01 / 20, 5.11462616000000e-02 / 4

# ISO 5725-2:1994, table 6 (1 %), as quoted at metrology.wordpress.com, "Indicators for Mandel's h
# and k statistics at 1% significance level": observers, h, k for two to ten results. It cuts the
# third decimal as often as it rounds it.
TABLE_6 = {
    3: (1.15, 1.71, 1.64, 1.58, 1.53, 1.49, 1.46, 1.43, 1.41, 1.39),
    4: (1.49, 1.91, 1.77, 1.67, 1.60, 1.55, 1.51, 1.48, 1.45, 1.43),
    6: (1.87, 2.14, 1.90, 1.77, 1.68, 1.62, 1.57, 1.53, 1.50, 1.47),
    8: (2.06, 2.25, 1.97, 1.81, 1.71, 1.65, 1.59, 1.55, 1.52, 1.49),
    10: (2.18, 2.32, 2.00, 1.84, 1.74, 1.66, 1.61, 1.57, 1.53, 1.50),
    14: (2.30, 2.39, 2.04, 1.87, 1.76, 1.69, 1.63, 1.58, 1.55, 1.52),
}


def test_the_standard_deviations_are_those_of_certified_sums_of_squares() -> None:
    found = precision([np.array(one) for one in SILICON])
    assert found.repeatability is not None
    assert found.reproducibility is not None
    assert found.repeatability.value == pytest.approx(WITHIN**0.5, rel=1e-9)
    expected = (WITHIN + (BETWEEN - WITHIN) / 5) ** 0.5
    assert found.reproducibility.value == pytest.approx(expected, rel=1e-9)
    assert found.repeatability.freedom == 20
    assert 4 < found.reproducibility.freedom < 24


@pytest.mark.parametrize("observers", TABLE_6)
def test_h_and_k_have_the_limits_of_the_standard(observers: int) -> None:
    h, *k = TABLE_6[observers]
    assert h_limit(observers, 0.01) == pytest.approx(h, abs=0.01)
    for results, limit in enumerate(k, start=2):
        assert k_limit(observers, results, 0.01) == pytest.approx(limit, abs=0.01)


def test_who_stands_apart_or_scatters_is_named_and_stays_in() -> None:
    rng = np.random.default_rng(1)
    usual = [rng.normal(0.0, 0.1, 3) for _ in range(9)]
    apart = precision([*usual, rng.normal(2.0, 0.1, 3)])
    assert [one[:2] for one in apart.outlying()] == [(9, "h")]
    assert apart.h_limits.outlier == pytest.approx(TABLE_6[10][0], abs=0.01)
    assert apart.h_limits.straggler < apart.h_limits.outlier
    assert apart.k_limits[9].outlier == pytest.approx(TABLE_6[10][2], abs=0.01)
    scattered = precision([*usual, np.array([-1.0, 0.0, 1.0])])
    assert (9, "k") in [one[:2] for one in scattered.outlying()]
    assert scattered.repeatability is not None
    assert scattered.repeatability.value > 0.25  # with the tenth's results in it


def test_results_taken_once_each_give_no_repeatability_but_the_spread_of_all() -> None:
    values = np.array([1.0, 2.0, 4.0])
    found = precision([values[k : k + 1] for k in range(3)])
    assert found.repeatability is None
    assert found.reproducibility is not None
    assert found.reproducibility.value == pytest.approx(values.std(ddof=1))
    assert np.isnan(found.k).all()


def test_one_observer_alone_has_no_reproducibility() -> None:
    found = precision([np.array([1.0, 2.0, 3.0])])
    assert found.reproducibility is None
    assert found.repeatability is not None
    assert found.repeatability.value == pytest.approx(1.0)


@pytest.mark.parametrize("results", [1, 3])
def test_the_interval_of_a_standard_deviation_holds_it_in_95_of_100(results: int) -> None:
    rng = np.random.default_rng(7)
    held = 0
    for _ in range(400):
        bias = rng.normal(0.0, 0.5, 12)
        found = precision([rng.normal(b, 0.3, results) for b in bias])
        assert found.reproducibility is not None
        held += found.reproducibility.low <= np.hypot(0.5, 0.3) <= found.reproducibility.high
    assert 0.92 <= held / 400 <= 0.98
