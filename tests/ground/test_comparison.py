"""Two figures differ when their difference is larger than what is not known of it."""

from __future__ import annotations

import math

import pytest

from logger.survey.comparison import difference


def test_the_arms_of_independent_intervals_add_in_quadrature():
    gap = difference((0.90, 0.87, 0.92), (0.80, 0.78, 0.84))
    assert gap.value == pytest.approx(0.10)
    assert gap.low == pytest.approx(0.10 - 0.05)  # 0.03 and 0.04 make 0.05
    assert gap.high == pytest.approx(0.10 + math.hypot(0.02, 0.02))
    assert gap.is_real


def test_less_than_the_uncertainty_is_no_real_difference():
    assert difference((0.90, 0.87, 0.93), (0.88, 0.85, 0.91)).is_real is False


def test_the_order_of_the_two_turns_the_sign_and_nothing_else():
    first, second = (0.9, 0.86, 0.92), (0.7, 0.69, 0.74)
    there, back = difference(first, second), difference(second, first)
    assert there.value == pytest.approx(-back.value)
    assert there.low == pytest.approx(-back.high)
    assert there.is_real == back.is_real


@pytest.mark.parametrize(
    ("first", "second"),
    [((math.nan,) * 3, (0.8, 0.7, 0.9)), ((0.9, 0.9, 0.9), (0.8, 0.8, 0.8))],
)
def test_what_cannot_be_told_is_not_told(first, second):
    assert difference(first, second).is_real is None
