"""Hours from monthly means, as in Duffie and Beckman, sections 2.12 and 2.13."""

import numpy as np
import pytest

from logger.access import Plane, SiteYear, monthly_means
from logger.access.monthly_means import (
    MONTH_DAYS,
    diffuse_fraction,
    diffuse_share_of_hour,
    extraterrestrial_kwh_m2,
    global_share_of_hour,
    sunset_hour_angle,
)
from logger.errors import UsageError
from logger.horizon import HorizonProfile
from logger.site import Site

from .conftest import NOTHING_DRAWN

MADISON = Site(43.1, -89.4, 270.0)
# Invented, of a middling sort: kWh/m2 a day, January to December.
MEANS = (1.8, 2.7, 3.9, 5.0, 5.9, 6.5, 6.4, 5.6, 4.4, 3.0, 1.9, 1.5)


MELBOURNE, AUGUST, JUNE = (
    sunset_hour_angle(*place) for place in ((-38, -20.9), (43, 11.2), (43.1, 23.1))
)


@pytest.mark.parametrize(
    ("found", "published", "within"),
    [
        # Duffie and Beckman, examples 2.13.1 to 2.13.3 and 2.12.1. Questions and answers from
        # memory; each answer was recomputed by hand from the equations and agrees.
        (lambda: MELBOURNE, 107, 0.5),
        # The share of the day that Melbourne gets from 8 to 9 in January
        (lambda: global_share_of_hour(-52.5, MELBOURNE), 0.076, 0.001),
        # An hour of a clear August day in Madison, MJ/m2
        (lambda: 31.4 * global_share_of_hour(22.5, AUGUST), 3.7, 0.05),
        # Of June in Madison: diffuse part; an hour's total, diffuse and beam, MJ/m2
        (lambda: diffuse_fraction(0.55, JUNE), 0.38, 0.005),
        (lambda: 23.0 * global_share_of_hour(22.5, JUNE), 2.49, 0.03),
        (lambda: diffuse_of_june(), 0.89, 0.02),
        (lambda: 23.0 * global_share_of_hour(22.5, JUNE) - diffuse_of_june(), 1.60, 0.04),
        # Outside the air on the month's mean day, 11 June; their solar constant is 1367
        (lambda: 3.6 * extraterrestrial_kwh_m2(162, 43.1), 41.8, 0.2),
        # Erbs and others (1982), coefficients as in Duffie and Beckman, equation 2.12.1, by hand:
        # winter and the other seasons have a curve each, level beyond 0.3 and 0.8
        *((lambda k=k: diffuse_fraction(k, 75.0), at, 0.001) for k, at in (
            (0.5, 0.391), (0.1, 0.642), (0.3, 0.642), (0.8, 0.130), (0.95, 0.130))),
        *((lambda k=k: diffuse_fraction(k, 90.0), at, 0.001) for k, at in (
            (0.5, 0.429), (0.1, 0.664), (0.3, 0.664), (0.8, 0.154), (0.95, 0.154))),
    ],
)  # fmt: skip
def test_shares_of_hours_and_months_are_those_that_are_published(found, published, within):
    assert found() == pytest.approx(published, abs=within)


def diffuse_of_june():
    return 23.0 * diffuse_fraction(0.55, JUNE) * diffuse_share_of_hour(22.5, JUNE)


def test_a_year_of_hours_has_the_means_it_was_made_from():
    weather = monthly_means(MADISON, MEANS)
    daily = weather.ghi_wm2.reshape(365, 24).sum(axis=1) / 1000
    months = np.repeat(np.arange(12), MONTH_DAYS)
    assert np.bincount(months, daily) / MONTH_DAYS == pytest.approx(np.array(MEANS), rel=1e-6)
    assert (weather.dhi_wm2 <= weather.ghi_wm2 + 1e-9).all()
    assert weather.sky.kind == "monthly means"


def test_through_the_calculator_it_keeps_its_energy_and_stands_under_the_sun():
    weather = monthly_means(MADISON, MEANS)
    year = SiteYear(MADISON, [Plane("flat", 0, 180, 1.0)], NOTHING_DRAWN, weather)
    assert all(check.passed for check in year.checks), year.checks
    plane = year.assess(HorizonProfile.level()).planes[0]
    assert plane.unshaded_kwh_m2 == pytest.approx(np.array(MEANS) * MONTH_DAYS, rel=0.02)
    assert plane.energy.kwh.sum() > 900
    checks = {c.check: c for c in year.checks}
    assert abs(checks["weather in step with the sun"].value) < 4


@pytest.mark.parametrize("latitude", [70.0, -55.0])
def test_it_works_in_both_hemispheres_and_beyond_the_polar_circle(latitude):
    site = Site(latitude, 100.0)
    days = np.arange(1, 366)
    months = np.repeat(np.arange(12), MONTH_DAYS)
    outside = np.bincount(months, extraterrestrial_kwh_m2(days, latitude)) / MONTH_DAYS
    weather = monthly_means(site, 0.5 * outside)
    assert weather.ghi_wm2.sum() == pytest.approx(500 * (outside * MONTH_DAYS).sum(), rel=1e-6)
    year = SiteYear(site, [Plane("p", 40, 180)], NOTHING_DRAWN, weather)
    assert 0 < year.assess(HorizonProfile([0], [5])).planes[0].solar_access.annual < 1


@pytest.mark.parametrize(
    ("means", "words"),
    [
        (MEANS[:11], "twelve numbers"),
        ((-0.1, *MEANS[1:]), "twelve numbers"),
        ((float("nan"), *MEANS[1:]), "twelve numbers"),
        ((9.0, *MEANS[1:]), "month 1, 9 kWh/m² a day, is more than"),
        (tuple(m * 31 for m in MEANS), "month 1"),
    ],
)
def test_means_that_cannot_be_are_refused(means, words):
    with pytest.raises(UsageError, match=words):
        monthly_means(MADISON, means)
