"""What must hold for any site and horizon."""

from copy import copy
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from logger.access import Plane, SiteYear
from logger.access.blocking import block_sun
from logger.access.losses import access, losses, open_plane
from logger.access.surroundings import layers_of
from logger.horizon import HorizonProfile, Obstruction
from logger.settings import Settings
from logger.site import Site

from .conftest import NOTHING_DRAWN, roof

SOME = settings(max_examples=12, deadline=None)
HEIGHTS = st.lists(st.floats(-5, 80), min_size=3, max_size=60)


def profile_of(heights, **more):
    return HorizonProfile(np.linspace(0, 360, len(heights), endpoint=False), heights, **more)


@SOME
@given(HEIGHTS)
def test_access_lies_between_nothing_and_all(year, heights):
    for plane in year.assess(profile_of(heights)).planes:
        for share in (plane.solar_access, plane.beam_access):
            assert ((share.value >= 0) & (share.value <= 1)).all()
        assert (plane.received_kwh_m2 <= plane.unshaded_kwh_m2 + 1e-9).all()


@SOME
@given(HEIGHTS, st.lists(st.floats(0, 30), min_size=3, max_size=60))
def test_a_higher_skyline_never_gives_more(year, heights, rise):
    low = profile_of(heights)
    fine = np.linspace(0, 360, 720, endpoint=False)
    lift = profile_of(rise).elevation_at(fine)
    base = HorizonProfile(fine, low.elevation_at(fine))
    higher = HorizonProfile(fine, np.minimum(low.elevation_at(fine) + lift, 90))
    below, above = roof(year, base), roof(year, higher)
    assert (above.solar_access.value <= below.solar_access.value + 1e-9).all()
    assert (above.beam_access.value <= below.beam_access.value + 1e-9).all()


def test_an_open_horizon_takes_nothing_and_a_closed_one_all_but_the_ground(year):
    opened, shut = roof(year, HorizonProfile.level()), roof(year, HorizonProfile([0], [90]))
    assert (opened.solar_access.value == 1).all()
    assert (opened.beam_access.value == 1).all()
    assert shut.beam_access.value == pytest.approx(np.zeros(13), abs=1e-12)
    plane = year.planes[0]
    expected = 1 - (plane.sunward + plane.isotropic).sum() / plane.unshaded.sum()
    assert shut.solar_access.annual == pytest.approx(expected, abs=1e-9)


@SOME
@given(HEIGHTS, st.sampled_from(["deciduous", "building"]))
def test_losses_by_obstruction_add_up(year, heights, kind):
    sectors = (
        Obstruction("a", 90, 170, kind), Obstruction("b", 150, 260), Obstruction("c", 350, 20),
    )  # fmt: skip
    for plane in year.assess(profile_of(heights, obstructions=sectors)).planes:
        total = sum((o.loss_fraction for o in plane.by_obstruction), np.zeros(13))
        assert total == pytest.approx(1 - plane.solar_access.value, abs=1e-9)


def test_losses_by_obstruction_add_up_under_an_unknown_sky_too(unknown, unsure):
    for plane in unknown.assess(unsure).planes:
        total = sum(o.loss_fraction for o in plane.by_obstruction)
        assert total == pytest.approx(1 - plane.solar_access.value, abs=1e-9)


@SOME
@given(HEIGHTS)
def test_a_crown_lets_more_through_than_a_wall(year, heights):
    wall, crown = (
        roof(year, profile_of(heights, obstructions=(Obstruction("x", 100, 200, kind),)))
        for kind in ("building", "deciduous")
    )
    assert (crown.solar_access.value >= wall.solar_access.value - 1e-9).all()


def test_the_other_hemisphere_mirrors(site, street, clear):
    """Sun, plane and horizon mirrored on the equator give the same access, minute by minute."""
    year = SiteYear(site, [], NOTHING_DRAWN, clear)
    sun = year.sun
    mirrored_sun = replace(
        sun,
        azimuth_deg=np.mod(180 - sun.azimuth_deg, 360),
        vectors=sun.vectors * np.array([[1.0], [-1.0], [1.0]]),
    )
    mirrored = HorizonProfile(180 - street.azimuth_deg[::-1], street.elevation_deg[::-1])
    found = []
    for track, azimuth, horizon in ((sun, 150, street), (mirrored_sun, 30, mirrored)):
        of_track = copy(year)
        of_track.sun = track
        opened = open_plane(Plane("roof", 30, azimuth), of_track)
        layers = layers_of(horizon, np.zeros(12))
        loss = losses(opened, layers, block_sun(layers, track, year.open_disc), year.month_hour)
        found.append(access(loss.total_kwh_m2(opened), opened.monthly_kwh_m2))
    # Straight lines between nodes mirror exactly; only the last digits of angles differ.
    assert found[0] == pytest.approx(found[1], abs=1e-9)


def test_months_of_the_south_are_those_of_the_north_half_a_year_later():
    azimuth = np.arange(0, 360, 1.0)
    skyline = 12 + 10 * np.cos(np.radians(azimuth - 140))
    turbid = Settings(turbidity=3.0, draws=0)
    years = (SiteYear(Site(lat, 0), [Plane("p", 35, facing)], turbid)
             for lat, facing in ((40, 160), (-40, 20)))  # fmt: skip
    north, south = (
        roof(year, HorizonProfile(at, skyline)).solar_access.value
        for year, at in zip(years, (azimuth, 180 - azimuth), strict=True)
    )
    # The orbit is no circle and months differ in length: a point of access is left over.
    assert np.roll(north[:12], 6) == pytest.approx(south[:12], abs=0.013)
    assert north[12] == pytest.approx(south[12], abs=0.004)


@pytest.mark.parametrize("place", [Site(0, 0), Site(78, 15), Site(-78, 15), Site(90, 0)])
def test_far_places_give_sane_figures(place):
    year = SiteYear(place, [Plane("p", 30, 180)], Settings(draws=20))
    plane = roof(year, HorizonProfile([0, 90], [5, 15], [0.5, 0.5]))
    value = plane.solar_access.value
    lit = np.isfinite(value)
    assert ((value[lit] > 0) & (value[lit] <= 1)).all()
    assert (plane.solar_access.low[lit] <= value[lit]).all()
    assert (plane.solar_access.high[lit] >= value[lit]).all()
    assert lit[12]
    assert 0 < plane.orientation_factor.low <= plane.orientation_factor.high <= 1
    if abs(place.latitude_deg) > 70:
        assert not lit[:12].all()


def test_both_sides_of_the_date_line_are_one_place():
    years = (SiteYear(Site(46, east), [Plane("p", 30, 180)], NOTHING_DRAWN) for east in (180, -180))
    one, other = (roof(year, HorizonProfile([0, 180], [5, 12])).solar_access for year in years)
    # A month of local mean solar time begins a day apart on the two sides, and they fall into
    # neighbouring cells of the turbidity table.
    assert one.value[:12] == pytest.approx(other.value[:12], abs=0.012)
    assert one.annual == pytest.approx(other.annual, abs=0.001)
