"""What must hold for every horizon, plane and site."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from logger.access import Layer, Plane, SiteYear, Surroundings, assess
from logger.access.blocking import block_sun, disc_above, layouts
from logger.access.irradiance import on_plane
from logger.access.losses import access, losses, open_plane
from logger.access.surroundings import shared_loss
from logger.horizon import HorizonProfile, Obstruction
from logger.settings import Settings
from logger.site import Site

FEW = settings(max_examples=15, deadline=None, suppress_health_check=list(HealthCheck))
HEIGHTS = st.lists(st.floats(-5, 60), min_size=3, max_size=24)


def profile_of(heights, **more):
    return HorizonProfile(np.linspace(0, 360, len(heights), endpoint=False), heights, **more)


def test_a_level_horizon_takes_exactly_nothing(year):
    for level in (HorizonProfile.level(), HorizonProfile([10, 200], [-3, 0])):
        for plane in year.assess(level).planes:
            assert (plane.solar_access.value == 1).all()
            assert (plane.beam_access.value == 1).all()
            assert (plane.loss_kwh_m2 == 0).all()
            assert (plane.window.monthly_clear_fraction == 1).all()
            assert plane.by_obstruction == ()
            assert plane.window.blocked == ()


def test_a_horizon_at_the_zenith_leaves_only_what_the_ground_reflects(year):
    planes = year.assess(HorizonProfile([0], [90])).planes
    for plane, opened in zip(planes, year.planes, strict=True):
        assert plane.beam_access.value == pytest.approx(0, abs=1e-12)
        ground = opened.unshaded.sum() - opened.sunward.sum() - opened.isotropic.sum()
        assert plane.received_kwh_m2.sum() == pytest.approx(ground, rel=1e-9)


@FEW
@given(HEIGHTS, st.integers(0, 23), st.floats(0.01, 40))
def test_raising_any_point_never_raises_access(year, heights, where, lift):
    raised = list(heights)
    k = where % len(heights)
    raised[k] = min(raised[k] + lift, 90.0)
    low, high = year.assess(profile_of(heights)), year.assess(profile_of(raised))
    for before, after in zip(low.planes, high.planes, strict=True):
        for name in ("solar_access", "beam_access"):
            assert (getattr(after, name).value <= getattr(before, name).value + 1e-12).all()
        assert (
            after.window.monthly_clear_fraction <= before.window.monthly_clear_fraction + 1e-12
        ).all()


SECTORS = st.lists(
    st.tuples(st.sampled_from("abcd"), st.floats(0, 360), st.floats(0, 360)), max_size=5
)


@FEW
@given(HEIGHTS, SECTORS)
def test_losses_by_obstruction_add_up_to_the_loss(year, heights, sectors):
    named = tuple(Obstruction(*sector) for sector in sectors)
    for plane in year.assess(profile_of(heights, obstructions=named)).planes:
        total = sum((o.loss_fraction for o in plane.by_obstruction), np.zeros(13))
        assert total == pytest.approx(1 - plane.solar_access.value, abs=1e-9)


@FEW
@given(HEIGHTS, HEIGHTS, st.floats(0, 1), st.floats(0, 1))
def test_losses_of_layers_add_up_too_and_lie_between_the_extremes(year, first, second, tau, tau2):
    layers = Surroundings(
        (
            Layer(profile_of(first)),
            Layer(profile_of(second), (tau,) * 6 + (tau2,) * 6, name="hedge"),
        )
    )
    both = year.assess(layers).planes[0]
    total = sum((o.loss_fraction for o in both.by_obstruction), np.zeros(13))
    assert total == pytest.approx(1 - both.solar_access.value, abs=1e-9)
    alone = year.assess(profile_of(first)).planes[0]
    assert (both.solar_access.value <= alone.solar_access.value + 1e-12).all()


def test_an_opaque_layer_in_front_is_the_higher_skyline(year):
    azimuth = np.arange(0, 360, 1.0)
    back = 8 + 5 * np.sin(np.radians(2 * azimuth))
    front = 10 + 9 * np.cos(np.radians(3 * azimuth))
    two = Surroundings(
        (Layer(HorizonProfile(azimuth, back)), Layer(HorizonProfile(azimuth, front), name="f"))
    )
    # The crossings of the two lie between nodes: fine steps make the merged skyline close.
    fine = np.arange(0, 360, 0.01)
    higher = np.maximum(
        HorizonProfile(azimuth, back).elevation_at(fine),
        HorizonProfile(azimuth, front).elevation_at(fine),
    )
    merged = year.assess(HorizonProfile(fine, higher)).planes[0]
    layered = year.assess(two).planes[0]
    assert layered.solar_access.value == pytest.approx(merged.solar_access.value, abs=1e-6)


def test_an_opaque_layer_of_full_transmittance_is_not_there(year, street):
    wall = Layer(HorizonProfile([0], [50]), (1.0,) * 12, name="glass")
    with_it = year.assess(Surroundings((Layer(street), wall))).planes[0]
    assert with_it.solar_access.value == pytest.approx(
        year.assess(street).planes[0].solar_access.value, abs=1e-12
    )


def test_shared_blocking_is_split_by_what_each_would_take_alone():
    # Two layers of heights 10 and 20; 3 units of light below 10, 4 below 20.
    height, hidden = np.array([[10.0], [20.0]]), np.array([[3.0], [4.0]])
    opaque = shared_loss(height, hidden, np.array([[0.0], [0.0]]))
    assert opaque.ravel() == pytest.approx([1.5, 2.5])
    # 0.5 and 0 pass: below 10 all is lost, split 1 to 2; above it the opaque one takes all.
    mixed = shared_loss(height, hidden, np.array([[0.5], [0.0]]))
    assert mixed.ravel() == pytest.approx([1.0, 3.0])
    # 0.5 and 0.5: three quarters lost below 10, half between.
    porous = shared_loss(height, hidden, np.array([[0.5], [0.5]]))
    assert porous.ravel() == pytest.approx([1.125, 1.625])


def test_the_disc_s_share_is_the_area_of_a_circle_s_segment():
    height = np.array([-1.0, -0.5, 0.0, 0.5, 1.0])
    # Area above a chord at half the radius: 1/3 - sqrt(3) / (4 pi) of the circle.
    third = 1 / 3 - np.sqrt(3) / (4 * np.pi)
    assert disc_above(height, 1.0) == pytest.approx([0, third, 0.5, 1 - third, 1])
    assert list(disc_above(height, 0.0)) == [0, 0, 0, 1, 1]


def test_the_other_hemisphere_mirrors(site, street):
    """Sun, plane and horizon mirrored on the equator give the same access, minute by minute."""
    year = SiteYear(site, [Plane("roof", 30, 150)])
    sun = year.sun
    mirrored_sun = replace(
        sun,
        azimuth_deg=np.mod(180 - sun.azimuth_deg, 360),
        vectors=sun.vectors * np.array([[1.0], [-1.0], [1.0]]),
        minute=sun.minute.copy(),
        month=sun.month.copy(),
        elevation_deg=sun.elevation_deg.copy(),
        solar_hour=sun.solar_hour.copy(),
    )
    mirrored = HorizonProfile(180 - street.azimuth_deg[::-1], street.elevation_deg[::-1])
    found = []
    for track, azimuth, horizon in ((sun, 150, street), (mirrored_sun, 30, mirrored)):
        plane = Plane("roof", 30, azimuth)
        light = on_plane(plane, track, year.split, year.light, year.settings)
        opened = open_plane(plane, light, year.open_disc, year.month_hour)
        around = Surroundings.of(horizon)
        blocking = block_sun(around, layouts(around), track, year.open_disc, 0.2665)
        loss = losses(opened, around, layouts(around), blocking, year.month_hour)
        found.append(access(loss.total_kwh_m2(opened), opened.monthly_kwh_m2))
    # Straight lines between nodes mirror exactly; only the last digits of angles differ.
    assert found[0] == pytest.approx(found[1], abs=1e-9)


def test_months_of_the_south_are_those_of_the_north_half_a_year_later():
    azimuth = np.arange(0, 360, 1.0)
    skyline = 12 + 10 * np.cos(np.radians(azimuth - 140))
    turbid = Settings(turbidity=3.0)
    north = assess(HorizonProfile(azimuth, skyline), Site(40, 0), [Plane("p", 35, 160)], turbid)
    south = assess(
        HorizonProfile(180 - azimuth, skyline), Site(-40, 0), [Plane("p", 35, 20)], turbid
    )
    a, b = (r.planes[0].solar_access.value for r in (north, south))
    # The orbit is no circle and months differ in length: a point of access is left over.
    assert np.roll(a[:12], 6) == pytest.approx(b[:12], abs=0.012)
    assert a[12] == pytest.approx(b[12], abs=0.004)


@pytest.mark.parametrize(
    "place", [Site(0, 0), Site(78, 15), Site(-78, 15), Site(-17, 180), Site(-17, -180), Site(90, 0)]
)
def test_far_places_give_sane_figures(place):
    planes = assess(HorizonProfile([0, 90], [5, 15]), place, [Plane("p", 30, 180)]).planes
    value = planes[0].solar_access.value
    lit = np.isfinite(value)
    assert ((value[lit] > 0) & (value[lit] <= 1)).all()
    assert lit[12]
    if abs(place.latitude_deg) > 70:
        assert not lit[:12].all()


def test_a_month_without_sun_is_null():
    result = assess(HorizonProfile.level(), Site(78, 15), [Plane("p", 30, 180)]).as_dict()
    december = result["planes"][0]["solar_access"]["monthly"][11]
    assert december == {"value": None, "low": None, "high": None}
    assert result["planes"][0]["window"]["monthly_clear_fraction"][11] is None
