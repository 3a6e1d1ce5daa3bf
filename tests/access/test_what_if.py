"""What if something is built, felled, cut, grown or bare in winter."""

import numpy as np
import pytest

from logger.access import Box, Crown, added, cut, grown, names_in, removed, seasonal
from logger.access.crowns import BARE, IN_LEAF
from logger.errors import UsageError
from logger.horizon import HorizonProfile, Obstruction
from logger.site import Site


def skyline(surroundings, azimuth, layer=0):
    return surroundings.layers[layer].profile.elevation_at(azimuth)


# Duffie and Beckman, Solar Engineering of Thermal Processes, example 1.9.1 (answers from memory,
# recomputed): a long wall 2.5 m above the point and 10 m south of it.
def test_a_long_wall_has_the_textbook_s_horizon():
    wall = Box("wall", 180, 10, 2.5, 1000).profile()
    for off, elevation in ((0, 14.04), (30, 12.22), (45, 10.02), (60, 7.13)):
        assert wall.elevation_at([180 + off, 180 - off]) == pytest.approx(elevation, abs=0.01)
    assert wall.elevation_at(0) < 0


# Example 1.9.2: a building whose top is 26 m above the collector, 45 m to the south, from 52 m west
# to 8 m east: corners at 20.71 degrees, 49.13 west, and 29.63 degrees, 10.08 east.
def test_a_building_s_corners_stand_where_the_textbook_has_them():
    middle = np.degrees(np.arctan2(-22, -45)) % 360
    building = Box("block", middle, np.hypot(22, 45), 26, 60, facing_deg=0).profile()
    assert building.elevation_at(180) == pytest.approx(30.02, abs=0.01)
    assert building.elevation_at(180 + 49.12) == pytest.approx(20.71, abs=0.02)
    assert building.elevation_at(180 - 10.07) == pytest.approx(29.63, abs=0.02)
    assert building.elevation_at([180 + 49.2, 180 - 10.2]) == pytest.approx([-90, -90])


def test_depth_shows_where_the_box_is_seen_from_its_side():
    thin, deep = (Box("b", 90, 10, 5, 6, depth, facing_deg=225).profile() for depth in (0, 8))
    azimuth = np.arange(60.0, 120.0)
    assert (deep.elevation_at(azimuth) >= thin.elevation_at(azimuth) - 1e-9).all()
    assert deep.elevation_at(azimuth).sum() > thin.elevation_at(azimuth).sum() + 10


def test_a_box_around_the_point_is_refused():
    with pytest.raises(UsageError, match="inside"):
        added(HorizonProfile.level(), Box("shed", 0, 1, 3, 10, 5, facing_deg=0))


@pytest.mark.parametrize(
    "measures", [(0, -5, 1, 1), (0, 5, 0, 1), (0, 5, 1, float("nan")), (0, 5, 1, 1, -1)]
)
def test_nonsense_measures_are_refused(measures):
    with pytest.raises(UsageError):
        Box("shed", *measures)


def test_an_added_building_takes_light_and_is_named_for_it(year, street):
    shed = added(street, Box("shed", 180, 8, 3, 12, 4))
    before, after = year.assess(street).planes[0], year.assess(shed).planes[0]
    assert after.solar_access.annual < before.solar_access.annual
    losses = {o.name: o.loss_fraction[12] for o in after.by_obstruction}
    # It also takes its share of what the hills behind it would have taken.
    assert losses["shed"] > before.solar_access.annual - after.solar_access.annual
    assert "shed" in {b.obstruction for b in after.window.blocked}


def test_a_removed_tree_leaves_what_stands_beside_it(year, street):
    without = removed(street, "lime tree")
    # Straight across from one neighbour to the other.
    left, right = street.elevation_at([119, 151])
    assert skyline(without, 135) == pytest.approx((left + right) / 2, abs=1.0)
    assert skyline(without, 220) == 24
    assert names_in(without) == ("house",)
    before, after = year.assess(street).planes[0], year.assess(without).planes[0]
    gained = after.solar_access.annual - before.solar_access.annual
    assert gained > 0.01
    assert "lime tree" not in {o.name for o in after.by_obstruction}


def test_what_stands_behind_may_be_given(street):
    assert skyline(removed(street, "lime tree", behind_deg=10), [125, 145]) == pytest.approx(10)
    # Nothing grows by removal.
    assert skyline(removed(street, "lime tree", behind_deg=60), 135) == pytest.approx(28)


def test_cut_to_a_height(street):
    lower = cut(street, "lime tree", 12)
    assert skyline(lower, [125, 135, 145]) == pytest.approx(12)
    assert skyline(lower, 220) == 24
    assert "lime tree" in names_in(lower)


def test_growth_goes_by_the_tangent(street):
    # 15 m away, 28 degrees: 7.98 m above the sight; 3 m more in ten years.
    taller = grown(street, "lime tree", 0.3, 10)
    expected = np.degrees(np.arctan(np.tan(np.radians(28)) + 3 / 15))
    assert skyline(taller, 135) == pytest.approx(expected, abs=1e-6)
    assert skyline(grown(street, "lime tree", 0.3, 10, distance_m=30), 135) < expected


def test_growth_needs_a_distance():
    nearby = HorizonProfile([0, 90], [5, 9], obstructions=(Obstruction("fir", 60, 100),))
    with pytest.raises(UsageError, match="distance"):
        grown(nearby, "fir", 0.3, 10)
    assert skyline(grown(nearby, "fir", 0.3, 10, 20.0), 90) > 9


def test_an_unknown_name_is_answered_with_those_known(street):
    with pytest.raises(UsageError, match="elm") as caught:
        removed(street, "elm")
    assert "lime tree, house" in caught.value.hint


def test_changes_follow_one_another_and_are_told(year, street):
    around = added(cut(removed(street, "lime tree"), "house", 15), Box("shed", 90, 5, 2, 3))
    assert len(around.changes) == 3
    notes = year.assess(around).notes
    assert all(change in notes for change in around.changes)
    assert names_in(removed(around, "shed")) == ("house",)


def test_a_sector_with_nodes_on_its_ends_and_one_across_north():
    profile = HorizonProfile(
        [0, 10, 10, 20, 350, 350],
        [30, 30, 2, 2, 2, 30],
        obstructions=(Obstruction("fir", 350, 10),),
    )
    felled = removed(profile, "fir")
    assert skyline(felled, [355, 0, 5]) == pytest.approx(2)
    assert skyline(felled, 15) == pytest.approx(2)


class TestCrowns:
    def test_transmittances_follow_the_leaves(self):
        # Defaults 0.03 and 0.50: SOLWEIG's, after Konarska et al. 2014; in leaf from day 97.
        north = Crown().monthly(Site(55, 10), 2026)
        assert north[0] == north[11] == BARE
        assert north[6] == IN_LEAF
        # Day 97 is 7 April: six days of thirty bare.
        assert north[3] == pytest.approx((6 * BARE + 24 * IN_LEAF) / 30)

    def test_the_south_is_half_a_year_off_and_the_tropics_always_in_leaf(self):
        south = Crown().monthly(Site(-35, 10), 2026)
        assert south[6] == BARE
        assert south[0] == south[11] == IN_LEAF
        assert Crown().monthly(Site(5, 10), 2026) == (IN_LEAF,) * 12
        assert Crown(always_in_leaf=True).monthly(Site(60, 10), 2026) == (IN_LEAF,) * 12

    def test_days_may_be_given(self):
        crown = Crown(0.1, 0.6, first_leaf_day=121, last_leaf_day=273)
        assert crown.monthly(Site(50, 0), 2026) == pytest.approx(
            (0.6,) * 4 + (0.1,) * 5 + (0.6,) * 3
        )

    @pytest.mark.parametrize(
        "wrong",
        [{"in_leaf": 1.2}, {"first_leaf_day": 100}, {"first_leaf_day": 0, "last_leaf_day": 9}],
    )
    def test_nonsense_is_refused(self, wrong):
        with pytest.raises(UsageError):
            Crown(**wrong)

    def test_a_bare_tree_lets_its_share_of_the_light_through(self, year, street):
        opaque = year.assess(street).planes[0]
        gone = year.assess(removed(street, "lime tree")).planes[0]
        half = Crown(in_leaf=0.5, bare=0.5)
        porous = year.assess(seasonal(street, "lime tree", year.site, 2026, half)).planes[0]
        # Where the layers do not overlap the loss is exactly half that of the opaque tree.
        middle = (opaque.beam_access.value + gone.beam_access.value) / 2
        assert porous.beam_access.value == pytest.approx(middle, abs=1e-9)

    def test_a_seasonal_tree_costs_less_in_winter_only(self, year, street):
        opaque = year.assess(street).planes[0].solar_access.value
        leafy = year.assess(seasonal(street, "lime tree", year.site, 2026)).planes[0]
        gain = leafy.solar_access.value - opaque
        assert gain[0] > 0.03
        assert 0 <= gain[6] < 0.01
        names = {o.name for o in leafy.by_obstruction}
        assert "lime tree" in names
