"""Low and high: what a survey's errors, skies that could be, leaf, height and gaps do."""

from copy import copy
from dataclasses import replace

import numpy as np
import pytest

from logger.access import Plane, SiteYear
from logger.access.draws import SECTOR_MIDDLES, SurveyErrors, drawn_elevation, survey_errors
from logger.access.intervals import (
    PERCENTILES_95,
    Drawn,
    Shares,
    interval_of,
    plane_table,
    shares,
    taken_by,
)
from logger.access.leaf import middle_leaf
from logger.access.losses import open_plane
from logger.access.point import _bounded
from logger.access.surroundings import without_crowns
from logger.files import plain
from logger.horizon import HorizonProfile, Obstruction
from logger.settings import Settings
from logger.site import Site

from .conftest import NOTHING_DRAWN, ROOF, roof


def parts(plane):
    return {part.cause: part.width for part in plane.parts}


@pytest.mark.parametrize("share", ["solar_access", "beam_access"])
def test_the_value_lies_in_both_intervals_and_the_survey_within_the_whole(unknown, unsure, share):
    for plane in unknown.assess(unsure).planes:
        b = getattr(plane, share)
        rising = np.stack([b.low, b.survey_low, b.value, b.survey_high, b.high])
        assert (np.diff(rising, axis=0, prepend=0.0, append=1.0) >= 0).all()
        assert 0.01 < b.high[11] - b.low[11] < 0.4


def test_the_interval_leaves_out_one_draw_in_forty_at_either_end():
    drawn = np.tile(np.linspace(0.0, 1.0, 1001)[:, None], (1, 13))
    low, high = interval_of(drawn, np.full(13, 0.5))
    assert (low[0], high[0]) == pytest.approx((0.025, 0.975))


def test_without_errors_the_survey_adds_nothing_and_it_says_so(year, unknown, street):
    for known in (year, unknown):
        result = known.assess(street)
        for plane in result.planes:
            solar = plane.solar_access
            assert np.array_equal(solar.survey_low, solar.value)
            assert np.array_equal(solar.survey_high, solar.value)
        assert any("without errors" in note for note in result.notes)


def test_nothing_drawn_leaves_no_interval(site, clear, unsure):
    none = SiteYear(site, [ROOF], NOTHING_DRAWN, clear).assess(unsure)
    solar = none.planes[0].solar_access
    assert np.array_equal([solar.low, solar.high], [solar.value] * 2)
    assert any("nothing was drawn" in note for note in none.notes)
    assert none.planes[0].parts == ()


def test_drawn_access_is_that_of_every_draw_assessed_one_by_one(year, unsure):
    """The table behind the draws against the exact minute-by-minute evaluation of each."""
    errors = survey_errors(25, 3, unsure.correlation_deg)
    drawn = drawn_elevation(unsure, errors)
    plane, one = year.planes[0], np.ones(1)
    table = plane_table(plane, year.grid)
    (taken,) = taken_by(drawn, None, [table], year.grid)
    quick = shares(plane, taken, np.zeros((1, 12)), year.skies.middle[None], one)
    exact = [roof(year, HorizonProfile(SECTOR_MIDDLES, row)) for row in drawn]
    for which, share in (("solar", "solar_access"), ("beam", "beam_access")):
        slow = np.array([getattr(p, share).value for p in exact])
        apart = getattr(quick, which) - slow
        assert np.abs(apart).max() < 0.004
        assert np.abs(apart.mean(axis=0)).max() < 0.0008
        assert slow.std(axis=0)[11] > 0.002


def test_drawn_crowns_let_their_share_through(year, leafy):
    """Two skylines and a transmittance in the table, and minute by minute."""
    none, plane = SurveyErrors.of([0.0], [0.0]), year.planes[0]
    heights = [drawn_elevation(p, none) for p in (without_crowns(leafy), leafy)]
    (taken,) = taken_by(*heights, [plane_table(plane, year.grid)], year.grid)
    leaf = middle_leaf(year.site).monthly()
    quick = shares(plane, taken, leaf, year.skies.middle[None], np.ones(1)).solar[0]
    assert quick == pytest.approx(roof(year, leafy).solar_access.value, abs=0.004)


def test_the_same_seed_gives_the_same_interval_and_another_one_nearly(site, clear, unsure):
    first, second, other = (
        roof(SiteYear(site, [ROOF], Settings(draws=300, seed=s), clear), unsure).solar_access
        for s in (4, 4, 5)
    )
    assert np.array_equal(first.low, second.low)
    assert not np.array_equal(first.low, other.low)
    assert first.low == pytest.approx(other.low, abs=0.02)


def test_each_plane_has_the_draws_that_it_would_have_alone(site, unsure):
    """Light of one plane never mixes with another's."""
    settings = Settings(draws=20)
    planes = [ROOF, Plane("gable", 80, 230), Plane("flat", 0, 0)]
    together = SiteYear(site, planes, settings).assess(unsure).planes
    for plane, found in zip(planes, together, strict=True):
        alone = roof(SiteYear(site, [plane], settings), unsure)
        for share in ("solar_access", "beam_access"):
            for part in ("value", "low", "high", "survey_low", "survey_high"):
                one, other = (getattr(getattr(x, share), part) for x in (found, alone))
                assert one == pytest.approx(other, abs=1e-9)
        assert found.drawn_resource == pytest.approx(alone.drawn_resource, abs=1e-9)
        assert len(found.drawn_resource) == 20


def test_a_forgotten_declination_of_ten_degrees_shows_and_lies_inside_its_interval():
    # A street with a terrace of houses to the south-east, low fences elsewhere.
    street = HorizonProfile([80, 80, 172, 172, 260], [4, 32, 32, 4, 6], heading_error_deg=10.0)
    year = SiteYear(Site(45, 10), [ROOF])
    told, turned = (roof(year, h).solar_access for h in (street, street.turned(-10)))
    assert np.abs(turned.value - told.value)[:12].max() > 0.03
    assert ((told.survey_low <= turned.value) & (turned.value <= told.survey_high)).all()


# --- The sky ---


def test_an_unknown_sky_widens_the_interval_and_the_value_is_the_median_of_skies(unknown, street):
    plane = roof(unknown, street)
    solar = plane.solar_access
    assert (solar.high - solar.low)[12] > 0.005
    assert parts(plane)["sky"] > parts(plane)["diffuse light"]
    # Half of the drawn skies give more than the value, half less.
    one, found = SiteYear(unknown.site, [], NOTHING_DRAWN), []
    for sky in unknown.skies.drawn[:60]:
        again = copy(one)
        again.skies = replace(unknown.skies, middle=sky, drawn=sky[None])
        again.planes = (open_plane(ROOF, again),)
        found.append(roof(again, street).solar_access.annual)
    assert found[0] != solar.annual
    assert 18 <= (np.array(found) > solar.annual).sum() <= 42


def test_where_nothing_is_drawn_the_one_sky_is_the_middle_of_those_that_could_be(site):
    # An array's figures are medians over drawn skies: without draws they rest on this one.
    alone, many = (SiteYear(site, [ROOF], Settings(draws=n)).skies for n in (0, 20))
    assert np.array_equal(alone.drawn, many.middle[None])


def test_without_weather_there_is_no_energy(unknown, year, street):
    sized = SiteYear(unknown.site, [replace(ROOF, size_kwp=4.0)], NOTHING_DRAWN)
    plane = roof(sized, street)
    assert plane.energy is None
    assert np.isnan(plane.loss_kwh_m2).all()
    entry = plain(plane.as_dict())
    assert entry["loss"] == {"annual_kwh_per_m2": None, "monthly_kwh_per_m2": [None] * 12}
    assert entry["best_unshaded_plane"]["annual_kwh_per_m2"] is None
    assert np.isfinite(roof(year, street).loss_kwh_m2).all()


def test_orientation_and_resource_carry_an_interval_that_is_wide_where_the_sky_is_not_known(
    year, unknown, street
):
    known, not_known = year.assess(street).planes[1], unknown.assess(street).planes[1]
    for plane in (known, not_known):
        factors = plane.orientation_factor, plane.total_solar_resource_fraction
        assert factors[1].value == plane.solar_access.annual * factors[0].value
        for interval in factors:
            assert 0 < interval.low <= interval.value <= interval.high < 1
    spreads = [p.orientation_factor.high - p.orientation_factor.low for p in (known, not_known)]
    assert spreads[0] < 0.02 < spreads[1]
    resource = not_known.total_solar_resource_fraction
    ends = np.percentile(not_known.drawn_resource, PERCENTILES_95)
    assert (resource.low, resource.high) == pytest.approx(ends, abs=1e-9)


def test_haze_matters_less_where_it_is_given(site, street):
    free, given = (
        roof(SiteYear(site, [ROOF], Settings(draws=300, turbidity=t)), street) for t in (None, 3.0)
    )
    assert given.solar_access.value != pytest.approx(free.solar_access.value, abs=1e-6)
    assert parts(given)["sky"] < parts(free)["sky"]


# --- Leaf ---


def test_deciduous_trees_are_bare_in_winter_without_being_asked(year, street, leafy):
    solid, bare = (roof(year, h).solar_access for h in (street, leafy))
    gained = bare.value - solid.value
    assert gained[11] > 0.02
    assert 0 < gained[6] < 0.4 * gained[11]
    assert any("in leaf and bare by season: lime" in n for n in year.assess(leafy).notes)


def test_leaves_of_the_south_come_half_a_year_later():
    north, south = (middle_leaf(Site(lat, 0.0)).monthly()[0][[0, 6]] for lat in (46.0, -46.0))
    for winter, summer in (north, south[::-1]):  # bare in January, and in July
        assert summer < 0.2 < 0.45 < winter


def test_what_is_published_of_crowns_widens_the_interval(year, leafy):
    plane = roof(year, leafy)
    assert parts(plane)["leaf"] > 0.001
    solar = plane.solar_access
    assert (solar.high - solar.low)[11] > 0.01
    assert np.array_equal(solar.survey_low, solar.value)


def test_a_kind_that_is_not_known_is_solid_and_said(year, street):
    unsaid = replace(street, obstructions=(Obstruction("tree", 119.5, 150.5),))
    result = year.assess(unsaid)
    assert any("kind not known, treated as solid all year: tree" in n for n in result.notes)
    solid = roof(year, street).solar_access.value
    assert result.planes[0].solar_access.value == pytest.approx(solid)


# --- Height ---


def raised(profile, rise_m, distance_m=None):
    obstructions = tuple(replace(o, distance_m=distance_m) for o in profile.obstructions)
    return replace(profile, rise_m=rise_m, obstructions=obstructions)


def test_with_its_distance_a_thing_stands_at_the_angle_that_geometry_gives(year):
    """A wall 20 degrees high 10 m away, the module 2 m above the sight: tan e' = tan e - 0.2."""
    wall = Obstruction("wall", 100, 200, "building", 10.0)
    seen = HorizonProfile([100, 100, 200, 200], [0, 20, 20, 0], obstructions=(wall,), rise_m=-2.0)
    lower = np.degrees(np.arctan(np.tan(np.radians(20)) - 0.2))
    there = HorizonProfile([100, 100, 200, 200], [0, lower, lower, 0])
    for share in ("solar_access", "beam_access"):
        found, expected = (getattr(roof(year, h), share).value for h in (seen, there))
        assert found == pytest.approx(expected, abs=1e-9)


def test_a_higher_module_never_gets_less_than_the_survey_gave_the_sight(year, unsure):
    at_sight = roof(year, raised(unsure, 0.0)).solar_access
    higher = roof(year, raised(unsure, -3.0))
    assert higher.solar_access.low[12] >= at_sight.survey_low[12]
    assert (higher.solar_access.low >= at_sight.low - 1e-3).all()
    assert higher.solar_access.annual > at_sight.annual
    assert parts(higher)["height of the module"] > 0.02
    lower = roof(year, raised(unsure, 1.0)).solar_access
    assert lower.high[12] <= at_sight.survey_high[12]
    assert lower.annual < at_sight.annual


@pytest.mark.parametrize("distance_m", [5.0, 10.0, 15.0, 25.0, 40.0])
def test_wherever_near_things_stand_the_truth_lies_inside(year, street, distance_m):
    unknown = roof(year, raised(street, -3.0)).solar_access
    truth = roof(year, raised(replace(street, distance_m=np.full(360, distance_m)), -3.0))
    annual = truth.solar_access.annual
    assert unknown.low[12] <= annual <= unknown.high[12]
    assert parts(truth).get("height of the module", 0.0) == 0.0


# --- What was not measured ---


def with_gap(profile, start, end):
    azimuth = profile.azimuth_deg
    gap = (azimuth > start) & (azimuth < end)
    return replace(
        profile, elevation_deg=np.where(gap, np.nan, profile.elevation_deg), measured=~gap
    )


def test_an_unmeasured_sector_that_matters_leaves_bounds_and_no_value(year, street, unsure):
    result = year.assess(with_gap(street, 160, 195))
    plane = result.planes[0]

    def filled(height):
        kept = np.delete(np.arange(360), range(161, 195))
        azimuth, own = street.azimuth_deg[kept], street.elevation_deg[kept]
        return HorizonProfile([195, *azimuth, 160], [height, *own, height])

    for share in ("solar_access", "beam_access"):
        bounded = getattr(plane, share)
        best, worst = (getattr(roof(year, filled(h)), share) for h in (0.0, 90.0))
        assert np.isnan(bounded.value).all()
        assert bounded.survey_high == pytest.approx(best.value, abs=2e-4)
        assert bounded.survey_low == pytest.approx(worst.value, abs=2e-4)
        assert (bounded.high >= bounded.survey_high).all()
        assert (bounded.low <= bounded.survey_low).all()
    assert any("solar access is not known" in note for note in result.notes)
    assert np.isnan(plane.total_solar_resource_fraction.value)
    assert plane.total_solar_resource_fraction.low < plane.total_solar_resource_fraction.high
    assert np.isnan(plane.loss_kwh_m2).all()
    assert plane.energy is None
    assert plane.parts[0].cause == "not measured"
    surveyed = roof(year, with_gap(unsure, 160, 195)).solar_access
    assert (surveyed.low <= plane.solar_access.low + 1e-9).all()


@pytest.mark.parametrize(("end", "told"), [(172, True), (174, False)])
def test_past_two_points_between_open_and_blocked_no_value_is_told(year, street, end, told):
    solar = roof(year, with_gap(street, 170, end)).solar_access
    between = solar.survey_high[12] - solar.survey_low[12]
    assert (between <= 0.02) == told
    assert between < 0.03
    assert np.isfinite(solar.annual) == told


@pytest.mark.parametrize(("start", "end"), [(355, 359), (10, 14), (280, 281.5)])
def test_a_gap_that_matters_little_takes_no_value_away(year, street, start, end):
    whole, result = roof(year, street), year.assess(with_gap(street, start, end))
    gap = result.planes[0]
    assert gap.solar_access.value == pytest.approx(whole.solar_access.value, abs=0.005)
    assert (gap.solar_access.low <= whole.solar_access.value + 1e-4).all()
    assert np.isfinite(gap.loss_kwh_m2).all()
    assert any("they matter little" in note for note in result.notes)


def test_nothing_measured_at_all_says_nothing(year):
    solar = roof(year, HorizonProfile([0, 120, 240], [np.nan] * 3)).solar_access
    assert np.isnan(solar.value).all()
    assert (solar.high == 1).all()
    assert (solar.low < 0.15).all()


def test_parts_stand_with_the_largest_first_and_say_what_would_help(unknown, unsure, leafy):
    found = roof(unknown, raised(replace(unsure, obstructions=leafy.obstructions), -1.0)).parts
    assert [p.width for p in found] == sorted((p.width for p in found), reverse=True)
    assert {p.cause for p in found} == {
        "horizon turned", "horizon too high or low", "single edges", "sky", "leaf",
        "height of the module", "diffuse light",
    }  # fmt: skip
    assert all(p.remedy for p in found)


def test_the_whole_interval_holds_the_survey_s_where_other_causes_narrow_the_draws():
    value = np.full(13, 0.8)
    alike, apart = np.tile(value, (50, 1)), np.linspace(0.7, 0.9, 50)[:, None] * np.ones(13)
    whole, survey, median = (Shares(rows, rows) for rows in (alike, apart, value[None]))
    found = _bounded([value], Drawn(whole, survey, median, {}), "solar", True)
    assert np.array_equal(found.low, found.survey_low)
    assert np.array_equal(found.high, found.survey_high)
    assert found.low == pytest.approx(0.705, abs=0.003)
