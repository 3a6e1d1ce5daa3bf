"""What if something is built, felled, cut, grown or of another kind."""

from dataclasses import replace

import numpy as np
import pytest

from logger.access import Box, added, cut, grown, names_in, of_kind, removed
from logger.errors import UsageError
from logger.horizon import HorizonProfile, Obstruction

from .conftest import roof


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


@pytest.mark.parametrize(
    ("measures", "refusal"),
    [
        ((0, 1, 3, 10, 5, 0), "the point lies inside shed"),
        ((0, -5, 1, 1), "distance -5 m of shed is not above 0"),
        ((0, 5, 0, 1), "height 0 m of shed is not above 0"),
        ((0, 5, 1, float("nan")), "width nan m of shed is not above 0"),
        ((0, 5, 1, 1, -1), "depth -1 m of shed is below 0"),
    ],
)
def test_nonsense_measures_are_refused(measures, refusal):
    with pytest.raises(UsageError, match=refusal):
        added(HorizonProfile.level(), Box("shed", *measures))


@pytest.mark.parametrize("middle", [180.0, 5.0, 358.0])
def test_of_a_box_and_what_stands_there_the_higher_one_is_seen(street, middle):
    box = Box("shed", middle, 8, 3, 12, 4)
    fine = np.arange(0.005, 360, 0.07)
    front = box.profile().elevation_at(fine)
    with_it = added(street, box)
    expected = np.maximum(street.elevation_at(fine), front)
    # Where two steep edges cross between nodes, a tenth of a degree of azimuth is neither.
    assert (np.abs(with_it.elevation_at(fine) - expected) > 0.02).sum() <= 4
    (shed,) = (o for o in with_it.obstructions if o.name == "shed")
    assert (shed.kind, shed.distance_m) == ("building", 8)
    start = fine[front > 0].min()
    others = (o for o in with_it.obstructions if o is not shed)
    assert not [o.name for o in others if o.from_azimuth_deg < start < o.to_azimuth_deg]
    assert "shed added: 3 m high, 12 m wide, 8 m away" in with_it.steps[-1]


def test_what_is_added_bears_no_errors_of_the_survey(street):
    surveyed = replace(street, standard_error_deg=np.full(len(street), 0.7))
    shed = added(surveyed, Box("shed", 180, 8, 3, 12, 4))
    at = shed.standard_error_deg[(shed.azimuth_deg > 160) & (shed.azimuth_deg < 198)]
    assert (at == 0.0).all()
    assert (shed.standard_error_deg[shed.azimuth_deg < 100] == 0.7).all()


def test_a_box_behind_what_stands_there_changes_nothing(year, street):
    hut = added(street, Box("hut", 220, 60, 2, 5))
    assert "hut" not in names_in(hut)
    found, before = (roof(year, h).solar_access.value for h in (hut, street))
    assert found == pytest.approx(before, abs=1e-6)


def test_a_removed_tree_leaves_what_stands_beside_it(year, street):
    without = removed(street, "spruce")
    # Straight across from one neighbour to the other.
    left, right = street.elevation_at([119, 151])
    assert without.elevation_at(135) == pytest.approx((left + right) / 2, abs=1.0)
    assert without.elevation_at(220) == 24
    assert names_in(without) == ("house",)
    before, after = roof(year, street), roof(year, without)
    assert after.solar_access.annual - before.solar_access.annual > 0.01
    assert "spruce" not in {o.name for o in after.by_obstruction}
    assert without.steps[-1] == "spruce removed, behind it straight across"


def test_what_stands_behind_may_be_given(street):
    without = removed(street, "house", behind_deg=9.0)
    assert without.elevation_at([201, 220, 239]) == pytest.approx([9, 9, 9])
    higher = removed(street, "house", behind_deg=60.0)
    assert higher.elevation_at(220) == 24  # never higher than the thing itself


def test_a_cut_lowers_to_an_elevation_and_no_further(street):
    lower = cut(street, "spruce", 10.0)
    assert lower.elevation_at([125, 135, 145]) == pytest.approx([10, 10, 10])
    assert lower.elevation_at(220) == 24
    assert names_in(lower) == names_in(street)
    assert cut(street, "spruce", 50.0).elevation_at(135) == 28
    with pytest.raises(UsageError, match="cannot cut"):
        cut(street, "spruce", 100.0)


def test_growth_goes_by_the_tangent(street):
    # 0.4 m a year for ten years, 15 m away: tan 28 + 4 / 15.
    grew = grown(street, "spruce", 0.4, 10)
    expected = np.degrees(np.arctan(np.tan(np.radians(28)) + 4 / 15))
    assert grew.elevation_at(135) == pytest.approx(expected)
    assert grew.elevation_at([100, 220]) == pytest.approx(street.elevation_at([100, 220]))
    nearer = grown(street, "spruce", 0.4, 10, distance_m=10.0)
    assert nearer.elevation_at(135) > expected
    bare = HorizonProfile([0], [10], obstructions=(Obstruction("oak", 0, 90),))
    with pytest.raises(UsageError, match="distance must be known"):
        grown(bare, "oak", 0.3, 10)


def test_a_name_that_is_none_is_refused_with_those_that_are(street):
    for change in (removed, lambda h, n: cut(h, n, 5), lambda h, n: of_kind(h, n, "building")):
        with pytest.raises(UsageError, match="no obstruction is called 'elm'") as caught:
            change(street, "elm")
        assert caught.value.hint == "names known: spruce, house"
    with pytest.raises(UsageError, match="kind 'plastic' is none of"):
        of_kind(street, "spruce", "plastic")


def test_a_sector_across_north_and_several_of_one_name():
    nodes, heights = [20, 20, 100, 100, 120, 120, 340, 340], [10, 2, 2, 10, 10, 2, 2, 10]
    hedge = HorizonProfile(
        nodes, heights,
        obstructions=(Obstruction("hedge", 340, 20), Obstruction("hedge", 100, 120)),
    )  # fmt: skip
    lower = cut(hedge, "hedge", 5.0)
    assert lower.elevation_at([0, 345, 15, 110]) == pytest.approx([5, 5, 5, 5])
    assert removed(hedge, "hedge").elevation_at([0, 110, 60]) == pytest.approx([2, 2, 2])


def test_changes_stand_one_after_another(street):
    both = removed(cut(street, "house", 12), "spruce")
    assert both.steps[-2:] == ("house cut to 12°", "spruce removed, behind it straight across")
    assert both.elevation_at(220) == pytest.approx(12)
