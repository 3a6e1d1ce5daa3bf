"""Low and high: what the errors of a survey and its gaps do to access."""

from dataclasses import replace

import numpy as np
import pytest

from logger.access import Plane, SiteYear, Surroundings, assess
from logger.access.bounds import draw_layers, look_up
from logger.access.losses import access
from logger.horizon import HorizonProfile
from logger.settings import Settings
from logger.site import Site

NAMES = ("solar_access", "beam_access")


def uncertain(profile, **errors):
    given = {"heading_error_deg": 2.0, "level_error_deg": 0.3, **errors}
    return replace(profile, standard_error_deg=np.full(len(profile), 0.5), **given)


def test_without_errors_low_value_and_high_are_one_and_it_says_so(year, street):
    result = year.assess(street)
    for plane in result.planes:
        for name in NAMES:
            bounded = getattr(plane, name)
            assert np.array_equal(bounded.low, bounded.value, equal_nan=True)
            assert np.array_equal(bounded.high, bounded.value, equal_nan=True)
    assert any("without errors" in note for note in result.notes)


def test_the_value_lies_in_its_interval_and_the_interval_says_something(year, street):
    result = year.assess(uncertain(street))
    for plane in result.planes:
        for name in NAMES:
            b = getattr(plane, name)
            assert (b.low <= b.value).all()
            assert (b.value <= b.high).all()
            assert (b.low >= 0).all()
            assert (b.high <= 1).all()
    december = result.planes[0].solar_access
    assert 0.01 < december.high[11] - december.low[11] < 0.2
    assert not any("without errors" in note for note in result.notes)


def test_larger_errors_make_wider_intervals(year, street):
    small, large = (
        year.assess(uncertain(street, heading_error_deg=h, level_error_deg=0))
        .planes[0]
        .solar_access
        for h in (0.2, 6)
    )
    assert (large.high - large.low)[12] > 1.5 * (small.high - small.low)[12]


def test_the_interval_is_that_of_the_draws_assessed_one_by_one(year, street):
    """The table behind the draws against the exact minute-by-minute evaluation of each."""
    profile = uncertain(street)
    drawn = draw_layers(Surroundings.of(profile), 25, np.random.default_rng(3), 0.0)
    table = year._table()
    sums = look_up(drawn, np.zeros((1, 12)), table.reach).losses(table)
    plane, sky = year.planes[0], 2 * len(year.planes)
    quick = access(sums[:, 1] + sums[:, sky] * plane.sky_kwh_m2, plane.monthly_kwh_m2)
    exact = np.array(
        [
            year.assess(HorizonProfile(drawn[0].azimuth_deg, row)).planes[0].solar_access.value
            for row in drawn[0].elevation_deg
        ]
    )
    assert np.abs(quick - exact).max() < 0.003
    assert np.abs((quick - exact).mean(axis=0)).max() < 0.0006
    assert exact.std(axis=0)[11] > 0.002


def test_an_unmeasured_sector_widens_to_best_and_worst_case(year, street):
    azimuth = street.azimuth_deg
    gap = (azimuth > 160) & (azimuth < 195)
    missing = replace(
        street, elevation_deg=np.where(gap, np.nan, street.elevation_deg), measured=~gap
    )
    result = year.assess(missing)

    def filled(height):
        before, after = azimuth <= 160, azimuth >= 195
        own = street.elevation_deg
        return HorizonProfile(
            np.concatenate([azimuth[before], [160, 195], azimuth[after]]),
            np.concatenate([own[before], [height, height], own[after]]),
        )

    for name in NAMES:
        bounded = getattr(result.planes[0], name)
        best, worst = (getattr(year.assess(filled(h)).planes[0], name).value for h in (0.0, 90.0))
        assert bounded.value == pytest.approx(best, abs=2e-4)
        assert bounded.high == pytest.approx(best, abs=2e-4)
        assert bounded.low == pytest.approx(worst, abs=2e-4)
    assert any("not measured" in note for note in result.notes)
    drawn = year.assess(uncertain(missing)).planes[0].solar_access
    assert (drawn.low <= result.planes[0].solar_access.low + 1e-12).all()


def test_nothing_measured_at_all_says_nothing(year):
    nothing = HorizonProfile([0, 120, 240], [np.nan] * 3)
    solar = year.assess(nothing).planes[0].solar_access
    assert (solar.value == 1).all()
    assert (solar.high == 1).all()
    assert (solar.low < 0.15).all()


def test_a_forgotten_declination_of_ten_degrees_shows_and_lies_inside_its_interval():
    # A street with a terrace of houses to the south-east, low fences elsewhere.
    street = HorizonProfile([80, 80, 172, 172, 260], [4, 32, 32, 4, 6], heading_error_deg=10.0)
    year = SiteYear(Site(45, 10), [Plane("roof", 35, 180)])
    told = year.assess(street).planes[0].solar_access
    turned = year.assess(street.turned(-10)).planes[0].solar_access
    change = np.abs(turned.value - told.value)[:12]
    assert change.max() > 0.03
    assert ((told.low <= turned.value) & (turned.value <= told.high)).all()


def test_the_same_seed_gives_the_same_interval_and_no_draws_give_none(site, street):
    plane = [Plane("roof", 35, 180)]
    first, second = (
        assess(uncertain(street), site, plane, Settings(draws=50, seed=s)).planes[0] for s in (4, 4)
    )
    assert np.array_equal(first.solar_access.low, second.solar_access.low)
    none = assess(uncertain(street), site, plane, Settings(draws=0))
    assert any("no horizons were drawn" in note for note in none.notes)


def test_layers_of_one_survey_turn_together(year, street):
    from logger.access import seasonal

    profile = uncertain(street)
    around = seasonal(profile, "lime tree", year.site, 2026)
    layers = draw_layers(around, 40, np.random.default_rng(1), 0.0)
    assert len(layers) == 2
    tree_side = [(row > 10).nonzero()[0][0] for row in layers[1].elevation_deg]
    house = layers[0].elevation_deg[:, 380:]
    house_side = [(row > 15).nonzero()[0][0] for row in house]
    assert np.corrcoef(tree_side, house_side)[0, 1] > 0.9


def test_solar_access_alone_is_that_of_the_whole_assessment(year, street):
    for horizon in (uncertain(street), street):
        whole = [plane.solar_access for plane in year.assess(horizon).planes]
        for alone, of_whole in zip(year.solar_access(horizon), whole, strict=True):
            for name in ("value", "low", "high"):
                assert np.array_equal(getattr(alone, name), getattr(of_whole, name), equal_nan=True)
            assert alone.year == of_whole.year


def test_sectors_where_the_sun_never_stands_are_looked_up_for_the_sky_alone(year, street):
    """All sectors of the table against those with the sun alone: the very same sums."""
    table = year._table()
    assert 0.3 < table.sunny.mean() < 0.9
    drawn = draw_layers(Surroundings.of(uncertain(street)), 10, np.random.default_rng(3), 0.0)
    everywhere = replace(table, sunny=np.ones_like(table.sunny))
    sums = [look_up(drawn, np.zeros((1, 12)), table.reach).losses(t) for t in (table, everywhere)]
    assert np.array_equal(*sums)
