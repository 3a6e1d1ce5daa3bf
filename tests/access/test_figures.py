"""What each figure of access is made of, on suns and skylines that can be reckoned by hand."""

from dataclasses import replace

import numpy as np
import pytest

from logger.access import (
    UNNAMED,
    Layer,
    Plane,
    Rules,
    SiteYear,
    Surroundings,
    Weather,
    assess,
    seasonal,
    sky_view_factor,
)
from logger.access.blocking import (
    SunBlocking,
    block_sky,
    block_sun,
    disc_above,
    layouts,
    skyline_at,
)
from logger.access.calculator import bound
from logger.access.surroundings import Names
from logger.access.window import (
    Blocked,
    Clock,
    _runs,
    equation_of_time_min,
    solar_window,
    sun_in_window,
    zone_of,
)
from logger.errors import UsageError
from logger.horizon import HorizonProfile, Obstruction
from logger.settings import Settings
from logger.site import Site
from logger.sun import SunYear, sun_year

ROOF = Plane("roof", 35, 180)
WALL = HorizonProfile([100, 100, 200, 200], [0, 20, 20, 0])


def sun_at(azimuth_deg, elevation_deg, *, month=0, solar_hour=12.0, site=None):
    """A sun of a few minutes."""
    azimuth, elevation, months, hours = np.broadcast_arrays(
        *np.atleast_1d(azimuth_deg, elevation_deg, month, solar_hour)
    )
    n = len(azimuth)
    return SunYear(
        site or Site(45.0, 15.0), 2026, np.arange(n), np.array(months, dtype=np.int64),
        np.array(azimuth, dtype=float), np.array(elevation, dtype=float),
        np.array(hours, dtype=float), np.zeros((3, n)),
    )  # fmt: skip


# --- What a skyline hides of the sun ---


@pytest.mark.parametrize(
    ("height", "share"),
    [
        (-9.0, 0.0), (-0.25, 0.0), (0.0, 0.5), (0.25, 1.0), (9.0, 1.0),
        # A segment that reaches half a radius over the centre: area of the circle by hand.
        (0.125, 0.5 + (0.5 * np.sqrt(0.75) + np.pi / 6) / np.pi),
        (-0.125, 0.5 - (0.5 * np.sqrt(0.75) + np.pi / 6) / np.pi),
    ],
)  # fmt: skip
def test_the_share_of_a_disc_above_an_edge(height, share):
    assert disc_above(np.array([height]), 0.25)[0] == pytest.approx(share)


def test_a_sun_without_size_is_up_only_above_the_edge():
    assert list(disc_above(np.array([-0.1, 0.0, 0.1]), 0.0)) == [0.0, 0.0, 1.0]


def test_a_skyline_below_level_is_level():
    profile = HorizonProfile([0, 100, 200], [-4, 10, 10])
    assert skyline_at(profile, np.array([0.0, 100.0, 50.0])) == pytest.approx([0.0, 10.0, 3.0])


def blocked(horizon, sun, radius=0.25):
    around = Surroundings.of(horizon)
    names = layouts(around)
    return block_sun(around, names, sun, disc_above(sun.elevation_deg, radius), radius)


def test_only_minutes_at_which_something_hides_the_sun_are_kept():
    sun = sun_at([150, 150, 150, 150, 50, 150], [5, 19.9, 20.0, 20.24, 5, 20.26])
    found = blocked(WALL, sun)
    assert list(found.row) == [0, 1, 2, 3]
    shares = 1 - disc_above(np.array([-15.0, -0.1, 0.0, 0.24]), 0.25)
    assert found.hidden == pytest.approx(shares)
    assert found.taken.shape == (1, 4)


def test_a_sun_partly_below_level_offers_less_to_hide():
    """At 0.125 degrees a part of the disc has set: only what is above level can be taken."""
    found = blocked(WALL, sun_at(150, 0.125))
    assert found.hidden == pytest.approx([0.5 + (0.5 * np.sqrt(0.75) + np.pi / 6) / np.pi])
    level = blocked(HorizonProfile.level(), sun_at([150, 150], [0.1, 5.0]))
    assert level.hidden == pytest.approx(np.zeros(len(level.row)))


def test_a_crown_lets_its_share_through_in_each_month_and_the_wall_behind_takes_the_rest():
    tree = Layer(
        HorizonProfile([90, 90, 210, 210], [0, 40, 40, 0]), (0.6,) * 6 + (0.2,) * 6, "tree"
    )
    around = Surroundings((Layer(WALL, name="wall"), tree))
    sun = sun_at([150, 150, 150], [30, 30, 10], month=[0, 11, 0])
    names = layouts(around)
    found = block_sun(around, names, sun, np.ones(3), 0.25)
    assert list(found.row) == [0, 1, 2]
    assert found.hidden == pytest.approx([0.4, 0.8, 1.0])
    assert found.taken[0, :2] == pytest.approx([0.0, 0.0])
    assert found.taken[1, :2] == pytest.approx([0.4, 0.8])
    assert (found.taken[:, 2] > 0).all()


def test_whose_the_sun_is_at_each_azimuth():
    named = replace(
        WALL, obstructions=(Obstruction("barn", 100, 150), Obstruction("shed", 150, 200))
    )
    found = blocked(named, sun_at([120, 180], [5, 5]))
    (names,) = layouts(Surroundings.of(named))
    whose = [
        next(n for n, share in zip(names.names, names.share[j], strict=True) if share)
        for j in found.interval[0]
    ]
    assert whose == ["barn", "shed"]


# --- What a skyline takes of the sky ---


@pytest.mark.parametrize("height", [0.0, 10.0, 30.0, 90.0])
def test_an_even_skyline_takes_sin_squared_of_a_flat_planes_sky(height):
    """Closed form: the view of a level plane above a ring of height h is cos^2 h."""
    around = Surroundings.of(HorizonProfile([0], [height]))
    (taken,) = block_sky(around, layouts(around), 0.0, 180.0)
    assert taken.shape == (1, 12)
    assert taken == pytest.approx(np.full((1, 12), np.sin(np.radians(height)) ** 2), abs=1e-9)


def test_what_is_taken_of_the_sky_goes_to_the_names_by_their_azimuth():
    profile = HorizonProfile(
        [0], [30], obstructions=(Obstruction("barn", 0, 90), Obstruction("shed", 90, 180))
    )
    around = Surroundings.of(profile)
    (names,) = layouts(around)
    (taken,) = block_sky(around, (names,), 0.0, 180.0)
    by_name = names.share.T @ taken
    assert names.names == ("barn", "shed", UNNAMED)
    assert by_name[:, 0] == pytest.approx([0.25 / 4, 0.25 / 4, 0.25 / 2], abs=1e-9)


def test_a_wall_behind_a_tilted_plane_takes_nothing_it_could_see():
    behind = Surroundings.of(HorizonProfile([315, 315, 45, 45], [0, 20, 20, 0]))
    before = Surroundings.of(HorizonProfile([135, 135, 225, 225], [0, 20, 20, 0]))
    lost_behind, lost_before = (
        float(block_sky(around, layouts(around), 60.0, 180.0)[0].sum(axis=0)[0])
        for around in (behind, before)
    )
    assert lost_behind == pytest.approx(0.0, abs=1e-9)
    assert lost_before > 0.05
    open_view, view = (
        sky_view_factor(h, 60.0, 180.0) for h in (HorizonProfile.level(), before.layers[0].profile)
    )
    assert lost_before == pytest.approx(open_view - view, abs=1e-6)


def test_a_crown_takes_less_of_the_sky_in_the_months_it_is_bare():
    tree = Layer(HorizonProfile([0], [30]), (0.6, 0.6, 0.6, *(0.1,) * 6, 0.6, 0.6, 0.6), "tree")
    around = Surroundings((tree,))
    (taken,) = block_sky(around, layouts(around), 0.0, 180.0)
    expected = np.array([0.4] * 3 + [0.9] * 6 + [0.4] * 3) * 0.25
    assert taken.sum(axis=0) == pytest.approx(expected)


# --- The solar window ---


def test_the_window_has_its_first_minute_and_not_its_last():
    hours = [8.999, 9.0, 9.0 + 1 / 60, 14.999, 15.0]
    found = sun_in_window(sun_at(180, 30, month=[0, 0, 1, 11, 11], solar_hour=hours), (9, 15))
    assert list(found.inside) == [False, True, True, True, False]
    assert found.minutes_a_day == 360
    assert list(found.cell[1:4]) == [0, 360 + 1, 11 * 360 + 359]
    assert found.offered.shape == (12, 360)
    assert found.offered.sum() == 3
    assert list(found.minutes) == [1, 1, *[0] * 9, 1]
    assert (found.from_solar_hour, found.to_solar_hour) == (9, 15)


@pytest.mark.parametrize(
    ("start", "end", "minutes"), [(9, 15, 360), (9, 9.5, 30), (10, 10.01, 1), (0, 24, 1440)]
)
def test_a_window_has_as_many_minutes_as_it_lasts(start, end, minutes):
    assert sun_in_window(sun_at(180, 30), (start, end)).minutes_a_day == minutes


def one_layer(*names_and_shares):
    names = tuple(name for name, _ in names_and_shares)
    share = np.array([[share for _, share in names_and_shares]])
    return (Names(np.array([0.0]), share, names, (None,) * len(names)),)


def minutes_of(first, count, month=0):
    """A sun that stands in the window minute by minute, once each."""
    hours = 9.0 + (first + np.arange(count) + 0.5) / 60.0
    return sun_at(180, 30, month=month, solar_hour=hours)


def test_the_clear_share_is_what_is_not_taken():
    sun = minutes_of(0, 10)
    blocking = SunBlocking(np.array([2, 3]), np.array([[1.0, 0.5]]), np.zeros((1, 2), dtype=int))
    found = solar_window(sun_in_window(sun, (9, 15)), blocking, one_layer(("barn", 1.0)))
    assert found.monthly_clear_fraction[0] == pytest.approx(0.85)
    assert np.isnan(found.monthly_clear_fraction[1:]).all()
    assert found.monthly_unmeasured_fraction[0] == 0.0
    assert np.isnan(found.monthly_unmeasured_fraction[1:]).all()
    assert found.clock == "UTC"
    (stretch,) = found.blocked
    assert (stretch.month, stretch.obstruction) == (1, "barn")
    assert stretch.from_solar_hour == pytest.approx(9 + 2 / 60)
    assert stretch.to_solar_hour == pytest.approx(9 + 4 / 60)
    assert stretch.share == pytest.approx(0.75)
    assert (found.from_solar_hour, found.to_solar_hour) == (9, 15)


def test_clock_times_of_a_stretch_are_those_of_its_ends():
    sun = minutes_of(200, 60, month=3)
    blocking = SunBlocking(np.arange(10, 50), np.ones((1, 40)), np.zeros((1, 40), dtype=int))
    in_window = sun_in_window(sun, (9, 15))
    (stretch,) = solar_window(in_window, blocking, one_layer(("barn", 1.0))).blocked
    assert stretch.from_solar_hour == pytest.approx(9 + 210 / 60)
    assert stretch.from_clock == Clock(sun).at(3, 9 + 210 / 60)
    assert stretch.to_clock == Clock(sun).at(3, 9 + 250 / 60)
    assert stretch.from_clock < stretch.to_clock


def test_what_several_share_is_told_of_each_and_who_has_no_share_is_not_told():
    sun = minutes_of(0, 4, month=[0, 0, 2, 2])
    layers = (*one_layer(("oak", 0.25), ("fir", 0.75), ("elm", 0.0)), *one_layer(("barn", 1.0)))
    taken = np.array([[0.4, 0.4, 0.0, 0.4], [0.0, 0.0, 0.2, 0.2]])
    blocking = SunBlocking(np.arange(4), taken, np.zeros((2, 4), dtype=int))
    found = solar_window(sun_in_window(sun, (9, 15)), blocking, layers)
    assert found.monthly_clear_fraction[[0, 2]] == pytest.approx([0.6, 1 - 0.8 / 2])
    told = [(b.month, b.obstruction, pytest.approx(b.share)) for b in found.blocked]
    assert told == [
        (1, "fir", 0.3),
        (1, "oak", 0.1),
        (3, "barn", 0.2),
        (3, "fir", 0.3),
        (3, "oak", 0.1),
    ]
    assert found.blocked[4].from_solar_hour == pytest.approx(9 + 3 / 60)


def test_two_stretches_of_one_name_add_up_over_layers():
    sun = minutes_of(0, 2)
    layers = (*one_layer(("oak", 1.0)), *one_layer(("oak", 1.0)))
    blocking = SunBlocking(
        np.arange(2), np.array([[0.3, 0.3], [0.2, 0.2]]), np.zeros((2, 2), dtype=int)
    )
    (stretch,) = solar_window(sun_in_window(sun, (9, 15)), blocking, layers).blocked
    assert stretch.share == pytest.approx(0.5)


def test_a_stretch_ends_with_the_window_at_the_latest():
    sun = sun_at(180, 30, solar_hour=10.005)
    blocking = SunBlocking(np.array([0]), np.array([[1.0]]), np.zeros((1, 1), dtype=int))
    (stretch,) = solar_window(
        sun_in_window(sun, (10, 10.01)), blocking, one_layer(("a", 1.0))
    ).blocked
    assert stretch.to_solar_hour == 10.01


def test_a_sun_outside_the_window_is_nobodys_loss():
    sun = sun_at(180, 30, solar_hour=[8.0, 12.0])
    blocking = SunBlocking(np.array([0]), np.array([[1.0]]), np.zeros((1, 1), dtype=int))
    found = solar_window(sun_in_window(sun, (9, 15)), blocking, one_layer(("a", 1.0)))
    assert found.blocked == ()
    assert found.monthly_clear_fraction[0] == 1.0


@pytest.mark.parametrize(
    ("mask", "runs"),
    [
        ("", []), ("....", []), ("###", [(0, 3)]), ("..#", [(2, 3)]),
        ("#..#", [(0, 4)]), ("#...#", [(0, 1), (4, 5)]), (".##.#....#", [(1, 5), (9, 10)]),
    ],
)  # fmt: skip
def test_stretches_are_joined_over_two_idle_minutes_and_not_over_three(mask, runs):
    assert _runs(np.array([c == "#" for c in mask])) == runs


def test_a_stretch_in_the_form_of_a_result():
    stretch = Blocked(3, 9.5, 10.25, "oak", 0.4, "09:10", "09:55")
    assert stretch.as_dict() == {
        "month": 3, "from": 9.5, "to": 10.25, "obstruction": "oak", "share": 0.4,
        "from_clock": "09:10", "to_clock": "09:55",
    }  # fmt: skip


def test_the_equation_of_time():
    """Extremes and zeros as every almanac has them, to the minute (from memory)."""
    assert equation_of_time_min(42) == pytest.approx(-14.2, abs=0.5)  # 11 February
    assert equation_of_time_min(105) == pytest.approx(0.0, abs=0.6)  # 15 April
    assert equation_of_time_min(307) == pytest.approx(16.4, abs=0.5)  # 3 November


@pytest.mark.parametrize(
    ("longitude", "zone", "month", "solar_hour", "clock"),
    [
        (0.0, None, 3, 12.0, "12:00"),  # 15 April, the equation of time is nothing
        (15.0, None, 3, 12.0, "11:00"),
        (-15.0, None, 3, 9.25, "10:15"),
        (15.0, "Europe/Ljubljana", 3, 12.0, "13:00"),
        (15.0, "Europe/Ljubljana", 1, 12.0, "12:14"),  # 16 February, -14.1 minutes
        (0.0, None, 10, 12.0, "11:45"),  # 14 November, +15.5 minutes
        (179.0, "Pacific/Auckland", 3, 0.5, "00:34"),
    ],
)
def test_clock_times_of_solar_times(longitude, zone, month, solar_hour, clock):
    sun = sun_at(180, 30, site=Site(45.0, longitude))
    told = Clock(sun, zone)
    assert told.zone == (zone or "UTC")
    hour, minute = map(int, told.at(month, solar_hour).split(":"))
    want_hour, want_minute = map(int, clock.split(":"))
    assert abs(60 * (hour - want_hour) + minute - want_minute) <= 1
    assert len(told.at(month, solar_hour)) == 5


def test_a_time_zone_that_is_none_is_named_with_a_hint():
    assert str(zone_of("Europe/Ljubljana")) == "Europe/Ljubljana"
    for wrong in ("Mars/Olympus", "../etc/passwd", "", "a\0b"):
        with pytest.raises(UsageError, match="no time zone ") as caught:
            zone_of(wrong)
        assert repr(wrong) in caught.value.what
        assert caught.value.hint == "give an IANA name such as Europe/Ljubljana"


# --- Bounds ---


def test_without_draws_the_interval_reaches_from_the_worst_case_to_the_value():
    found = bound(np.array([0.9, 0.5]), np.array([0.7, 0.5]), [])
    assert list(found.low) == [0.7, 0.5]
    assert list(found.high) == list(found.value) == [0.9, 0.5]


def test_draws_widen_the_interval_by_95_per_cent_of_them():
    drawn = np.linspace(0.0, 1.0, 1001)[:, None]
    found = bound(np.array([0.5]), np.array([0.5]), [drawn])
    assert found.low[0] == pytest.approx(0.025)
    assert found.high[0] == pytest.approx(0.975)
    kept = bound(np.array([0.99]), np.array([0.01]), [drawn])
    assert (kept.low[0], kept.high[0]) == (0.01, 0.99)


def test_of_an_unmeasured_horizon_the_blocked_draws_give_low_and_the_open_ones_high():
    open_draws, blocked_draws = np.full((9, 1), 0.8), np.full((9, 1), 0.3)
    found = bound(np.array([0.7]), np.array([0.4]), [open_draws, blocked_draws])
    assert (found.low[0], found.high[0]) == (0.3, 0.8)


def test_a_share_lies_between_nothing_and_all_and_what_is_undefined_stays_so():
    drawn = np.array([[-0.2, np.nan], [1.2, np.nan]])
    found = bound(np.array([0.5, np.nan]), np.array([0.5, np.nan]), [drawn])
    assert (found.low[0], found.high[0]) == (0.0, 1.0)
    assert np.isnan([found.low[1], found.high[1], found.value[1]]).all()


# --- The calculator ---


def test_notes_say_what_low_and_high_do_not_know(year, site):
    (known,) = year.assess(HorizonProfile.level()).notes[-1:]
    assert known == "the horizon comes without errors: low and high say nothing of them"
    none = assess(HorizonProfile.level(), site, [ROOF], Settings(draws=0)).notes[-1]
    assert none == "no horizons were drawn: low and high say nothing of the horizon's errors"
    gap = HorizonProfile([0, 100, 200], [1, np.nan, 1], measured=[True, False, True])
    assert (
        "parts of the horizon were not measured: value takes them as open, "
        "low as fully blocked, high as open"
    ) in year.assess(gap).notes
    errors = HorizonProfile([0], [1], [0.5])
    assert not [n for n in year.assess(errors).notes if "say nothing" in n]


def test_bare_trees_and_skyline_without_a_name_are_told_where_they_matter(site):
    year = SiteYear(site, [ROOF, Plane("gable", 80, 230)], Settings(draws=0))
    tree = replace(WALL, obstructions=(Obstruction("lime", 100, 200, "deciduous"),))
    bare = year.assess(tree)
    notes = bare.notes
    assert "deciduous, and taken as opaque all year: lime" in notes
    assert bare.hints == (
        'with light through bare crowns: horizon-logger assess HORIZON.csv --leafy "lime"',
    )
    assert not any("unnamed skyline" in n for n in notes)
    leafy = year.assess(seasonal(tree, "lime", site, 2026)).notes
    assert not any("taken as opaque" in n for n in leafy)
    barn = replace(WALL, obstructions=(Obstruction("barn", 100, 200, "building"),))
    assert not any("taken as opaque" in n for n in year.assess(barn).notes)
    (unnamed,) = (n for n in year.assess(WALL).notes if "unnamed skyline" in n)
    result = year.assess(WALL)
    worst = max(p.by_obstruction[0].loss_fraction[12] for p in result.planes)
    assert unnamed == f"unnamed skyline takes {100 * worst:.1f} % of the year's light"
    assert "edit name-sector" in result.hints[0]
    small = HorizonProfile([0, 1], [1, 1], obstructions=(Obstruction("far", 0, 1, "deciduous"),))
    assert not any("deciduous" in n for n in year.assess(small).notes)


def test_two_sectors_of_one_name_matter_together(site):
    """0.3 % each: half a per cent of the year between them is worth telling."""
    year = SiteYear(site, [ROOF], Settings(draws=0))

    def noted(*sectors):
        nodes = [x for a, b in sectors for x in (a, a, b, b)]
        heights = [0, 9, 9, 0] * len(sectors)
        trees = tuple(Obstruction("lime", a, b, "deciduous") for a, b in sectors)
        found = year.assess(HorizonProfile(nodes, heights, obstructions=trees))
        taken = sum(o.loss_fraction[12] for o in found.planes[0].by_obstruction)
        return taken, any("deciduous" in n for n in found.notes)

    (one, alone), (both, together) = noted((125, 137)), noted((125, 137), (223, 235))
    assert one < 0.005 <= both
    assert (alone, together) == (False, True)


def test_what_was_changed_and_what_the_light_is_stand_in_the_result(site, street):
    weather = Weather(*(np.full(8760, x) for x in (300.0, 200.0, 200.0)), source="made up")
    found = SiteYear(site, [ROOF], Settings(draws=0), weather).assess(
        Surroundings((Layer(street),), ("hedge cut to 2 m",))
    )
    assert "hedge cut to 2 m" in found.notes
    assert "made up" in found.sky
    assert found.site == site
    assert found.settings.draws == 0
    assert SiteYear(site, [ROOF]).checks == ()


def test_received_and_lost_make_what_is_offered(year, street):
    result = year.assess(street)
    for plane, of_open in zip(result.planes, year.planes, strict=True):
        solar = plane.solar_access.value
        assert plane.received_kwh_m2 == pytest.approx(solar[:12] * plane.unshaded_kwh_m2)
        whole = plane.received_kwh_m2.sum() / plane.unshaded_kwh_m2.sum()
        assert solar[12] == pytest.approx(whole)
        assert plane.unshaded_beam_kwh_m2 == pytest.approx(of_open.monthly_beam_kwh_m2)
        assert plane.unshaded_kwh_m2 == pytest.approx(of_open.monthly_kwh_m2)
        assert plane.sky_view_factor == pytest.approx(
            sky_view_factor(street, plane.plane.tilt_deg, plane.plane.azimuth_deg), abs=1e-6
        )
        assert plane.best_unshaded is year.best_unshaded
        assert plane.energy is None
        assert plane.verdicts == ()


def test_hours_of_the_table_are_solar_hours(year):
    """A wall to the east takes the morning, and nothing after noon."""
    east = HorizonProfile([60, 60, 120, 120], [0, 50, 50, 0])
    hourly = year.assess(east).planes[0].hourly_beam_access
    assert hourly.shape == (12, 24)
    assert hourly[5, 7] < 0.05
    assert (hourly[5, 12:18] == 1.0).all()
    assert np.isnan(hourly[0, 22])


def test_the_orientation_factor_is_one_for_the_best_plane_and_less_for_others(year):
    best = year.best_unshaded
    assert year.orientation_factor(Plane("best", best.tilt_deg, best.azimuth_deg)) == pytest.approx(
        1.0, abs=1e-4
    )
    north = year.orientation_factor(Plane("north", 60, 0))
    assert 0.1 < north < 0.4
    direct = year.map_under(None)
    assert direct.irradiation_kwh_m2.max() == pytest.approx(best.irradiation_kwh_m2, rel=2e-3)
    under = year.map_under(WALL)
    assert under.irradiation_kwh_m2.max() == pytest.approx(
        year.best_under(WALL).irradiation_kwh_m2, rel=2e-3
    )


def test_under_a_bare_crown_the_best_plane_receives_more_than_under_a_wall(site):
    year = SiteYear(site, [ROOF], Settings(draws=0))
    tree = Surroundings((Layer(WALL, (0.7,) * 12, "tree"),))
    found = [year.best_under(h).irradiation_kwh_m2 for h in (WALL, tree, HorizonProfile.level())]
    assert found[0] < found[1] < found[2]
    assert found[2] == pytest.approx(year.best_unshaded.irradiation_kwh_m2)
    # Behind one another: only what passes both; the order in which they are named is all one.
    two = Surroundings((Layer(WALL, (0.7,) * 12, "a"), Layer(WALL, (0.0,) * 12, "b")))
    turned = Surroundings(tuple(reversed(two.layers)))
    assert year.best_under(two).irradiation_kwh_m2 == pytest.approx(found[0])
    assert year.best_under(turned).irradiation_kwh_m2 == pytest.approx(found[0])


def test_energy_follows_the_light(site):
    """Without what heat, losses and the inverter do, energy is light times rated power."""
    sized = SiteYear(site, [Plane("roof", 35, 180, 2.5)], Settings(draws=0))
    plane = sized.assess(WALL).planes[0]
    energy = plane.energy
    assert energy.size_kwp == 2.5
    assert not energy.weather_temperature
    level = sized.assess(HorizonProfile.level()).planes[0].energy
    assert level.kwh == pytest.approx(level.unshaded_kwh)
    assert energy.unshaded_kwh == pytest.approx(level.kwh)
    lost = 1 - energy.kwh / energy.unshaded_kwh
    assert lost == pytest.approx(1 - plane.solar_access.value[:12], abs=0.02)
    ratio = level.kwh / (2.5 * plane.unshaded_kwh_m2)
    assert ((ratio > 0.7) & (ratio < 0.9)).all()
    air = {"temperature_c": np.full(8760, 10.0), "wind_ms": np.full(8760, 2.0)}
    weather = Weather(*(np.full(8760, x) for x in (300.0, 200.0, 200.0)), **air)
    windy = SiteYear(site, [Plane("roof", 35, 180, 2.5)], Settings(draws=0), weather)
    assert windy.assess(WALL).planes[0].energy.weather_temperature


UNSURE = replace(WALL, standard_error_deg=np.full(4, 0.8), heading_error_deg=2.0)
GAP = HorizonProfile(
    [100, 100, 150, 200, 200, 300], [0, 20, 20, 20, 0, 0],
    measured=[True, True, False, True, True, True],
)  # fmt: skip


@pytest.mark.parametrize("draws", [1, 100, 101, 250])
def test_every_draw_asked_for_is_made(site, draws):
    year = SiteYear(site, [ROOF], Settings(draws=draws))
    (spread,) = year._spreads(Surroundings.of(UNSURE))
    assert spread.planes.shape == (draws, 3, 12)
    assert spread.window is None


def test_draws_go_on_in_blocks_of_a_thousand(site):
    year = SiteYear(site, [ROOF], Settings(draws=1003))
    (spread,) = year._spreads(Surroundings.of(UNSURE))
    assert spread.planes.shape == (1003, 3, 12)
    assert len(np.unique(spread.planes[:, 0, 11])) == 1003


def test_each_plane_has_the_draws_that_it_would_have_alone(site):
    """Beam, all sunlight and sky of one plane never mix with another's."""
    settings = Settings(draws=20)
    planes = [ROOF, Plane("gable", 80, 230), Plane("flat", 0, 0)]
    together = SiteYear(site, planes, settings).assess(UNSURE).planes
    for plane, found in zip(planes, together, strict=True):
        (alone,) = SiteYear(site, [plane], settings).assess(UNSURE).planes
        for share in ("solar_access", "beam_access"):
            for part in ("value", "low", "high"):
                one, other = (getattr(getattr(x, share), part) for x in (found, alone))
                assert one == pytest.approx(other, abs=1e-9)
        assert found.beam_access.low[12] < found.beam_access.value[12] < found.beam_access.high[12]


def test_weather_of_another_place_fails_the_result_s_checks(site):
    weather = Weather(
        *(np.full(8760, x) for x in (300.0, 200.0, 200.0)), place=Site(40.0, 14.51, 310.0)
    )
    found = SiteYear(site, [ROOF], Settings(draws=0), weather).assess(WALL)
    assert [check.passed for check in found.checks] == [False, True]
    assert found.checks[0].value == pytest.approx(673, abs=5)  # 6.05 degrees of latitude


def test_nothing_is_drawn_where_there_is_no_error_or_none_is_asked_for(site):
    for draws, horizon in ((10, WALL), (0, UNSURE)):
        year = SiteYear(site, [ROOF], Settings(draws=draws))
        assert year._spreads(Surroundings.of(horizon)) == ()
    made_up = Surroundings((Layer(UNSURE, measured=False),))
    assert SiteYear(site, [ROOF], Settings(draws=10))._spreads(made_up) == ()


def test_an_unmeasured_horizon_is_drawn_open_and_blocked(site):
    year = SiteYear(site, [ROOF], Settings(draws=20))
    unsure = replace(GAP, standard_error_deg=np.full(6, 0.5))
    opened, shut = year._spreads(Surroundings.of(unsure))
    assert (opened.planes[:, 1].sum(axis=1) < shut.planes[:, 1].sum(axis=1)).all()


def test_what_was_not_seen_of_the_window_is_between_open_and_blocked(site):
    year = SiteYear(site, [ROOF], Settings(draws=0))
    window = year.assess(GAP).planes[0].window
    opened, shut = (
        year.assess(GAP.filled(fill)).planes[0].window.monthly_clear_fraction
        for fill in (0.0, 90.0)
    )
    assert window.monthly_clear_fraction == pytest.approx(opened)
    assert window.monthly_unmeasured_fraction == pytest.approx(opened - shut)
    assert window.monthly_unmeasured_fraction.max() > 0.1
    whole = year.assess(WALL).planes[0].window
    assert (whole.monthly_unmeasured_fraction == 0).all()


def test_the_interval_of_an_unmeasured_horizon_is_that_of_both_cases(site):
    year = SiteYear(site, [ROOF], Settings(draws=0))
    found = year.assess(GAP).planes[0]
    for share in ("solar_access", "beam_access"):
        opened, shut = (
            getattr(year.assess(GAP.filled(fill)).planes[0], share).value for fill in (0.0, 90.0)
        )
        assert getattr(found, share).value == pytest.approx(opened)
        assert getattr(found, share).low == pytest.approx(shut)
        assert getattr(found, share).high == pytest.approx(opened)


def rules_of(site, horizon, draws=0, **limits):
    year = SiteYear(site, [ROOF], Settings(draws=draws), rules=Rules(**limits))
    return year.assess(horizon).planes[0]


def test_each_rule_has_its_own_verdict_and_only_those_asked_for(site):
    names = {
        "minimum_solar_access": "solar access",
        "minimum_total_solar_resource_fraction": "total solar resource fraction",
        "minimum_window_clear": "clear solar window in the worst month",
    }
    for rule, name in names.items():
        (verdict,) = rules_of(site, WALL, **{rule: 0.6}).verdicts
        assert (verdict.rule, verdict.limit) == (name, 0.6)
    plane = rules_of(site, GAP, **dict.fromkeys(names, 0.6))
    solar, resource, window = plane.verdicts
    year = plane.solar_access.year
    assert (solar.value, solar.low, solar.high) == (year.value, year.low, year.high)
    factor = plane.orientation_factor
    assert (resource.value, resource.low, resource.high) == pytest.approx(
        (factor * year.value, factor * year.low, factor * year.high)
    )
    clear = plane.window.monthly_clear_fraction
    least = clear - plane.window.monthly_unmeasured_fraction
    assert (window.value, window.low, window.high) == pytest.approx(
        (clear.min(), least.min(), clear.min())
    )


def test_the_worst_month_of_the_window_has_an_interval_of_its_own(site):
    (verdict,) = rules_of(site, UNSURE, draws=200, minimum_window_clear=0.5).verdicts
    assert 0 <= verdict.low < verdict.value < verdict.high <= 1
    plain = rules_of(site, WALL, minimum_window_clear=0.5).window.monthly_clear_fraction.min()
    assert verdict.value == pytest.approx(plain)
    assert verdict.high - verdict.low < 0.5


def test_a_window_in_which_the_sun_never_is_has_no_worst_month():
    settings = Settings(draws=0, solar_window=(0, 0.5))
    rules = Rules(minimum_window_clear=0.5)
    year = SiteYear(Site(46.05, 14.51), [ROOF], settings, rules=rules)
    (verdict,) = year.assess(WALL).planes[0].verdicts
    assert np.isnan([verdict.value, verdict.low, verdict.high]).all()
    assert verdict.verdict == "fail"


def test_the_year_is_that_of_the_settings_and_minutes_fall_into_their_months(site):
    year = SiteYear(site, [ROOF], Settings(year=2024, draws=0))
    assert year.sun.year == 2024
    assert len(year.sun) == len(sun_year(site, 2024))
    assert (year.month_hour // 24 == year.sun.month).all()
    assert (year.month_hour % 24 == np.floor(year.sun.solar_hour).clip(max=23)).all()
