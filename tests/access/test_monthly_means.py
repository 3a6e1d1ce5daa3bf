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


# Duffie and Beckman, examples 2.13.1 to 2.13.3 and 2.12.1. Questions and answers from memory; each
# answer was recomputed by hand from the equations and agrees.
def test_the_share_of_the_day_that_melbourne_gets_from_8_to_9_in_january():
    sunset = sunset_hour_angle(-38, -20.9)
    assert sunset == pytest.approx(107, abs=0.5)
    assert global_share_of_hour(-52.5, sunset) == pytest.approx(0.076, abs=0.001)


def test_an_hour_of_a_clear_august_day_in_madison():
    share = global_share_of_hour(22.5, sunset_hour_angle(43, 11.2))
    assert 31.4 * share == pytest.approx(3.7, abs=0.05)  # MJ/m2


def test_an_hour_of_june_in_madison_total_diffuse_and_beam():
    sunset = sunset_hour_angle(43.1, 23.1)
    share = diffuse_fraction(0.55, sunset)
    assert share == pytest.approx(0.38, abs=0.005)
    total = 23.0 * global_share_of_hour(22.5, sunset)
    diffuse = 23.0 * share * diffuse_share_of_hour(22.5, sunset)
    assert total == pytest.approx(2.49, abs=0.03)
    assert diffuse == pytest.approx(0.89, abs=0.02)
    assert total - diffuse == pytest.approx(1.60, abs=0.04)


def test_extraterrestrial_irradiation_of_june_in_madison():
    # The same example: 41.8 MJ/m2 on the month's mean day, 11 June; their solar constant is 1367.
    assert 3.6 * extraterrestrial_kwh_m2(162, 43.1) == pytest.approx(41.8, rel=0.005)


@pytest.mark.parametrize(("sunset", "at_half"), [(75.0, 0.391), (90.0, 0.429)])
def test_winter_and_the_other_seasons_have_a_curve_each(sunset, at_half):
    # Erbs and others (1982), coefficients as in Duffie and Beckman, equation 2.12.1, by hand.
    assert diffuse_fraction(0.5, sunset) == pytest.approx(at_half, abs=0.001)
    assert diffuse_fraction(0.1, sunset) == diffuse_fraction(0.3, sunset)
    assert diffuse_fraction(0.95, sunset) == diffuse_fraction(0.8, sunset)


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
