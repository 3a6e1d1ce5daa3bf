"""The solar window: only while the sun is up, by month, with who blocks it and when."""

from types import SimpleNamespace

import numpy as np
import pandas as pd
import pvlib
import pytest

from logger.access import Plane, SiteYear
from logger.access.blocking import SunBlocking
from logger.access.surroundings import Names, Stretch
from logger.access.window import Clock, _runs, solar_window, sun_in_window, zone_of
from logger.errors import UsageError
from logger.files import plain
from logger.horizon import HorizonProfile, Obstruction
from logger.settings import Settings
from logger.site import Site
from logger.sun import sun_track

from .conftest import NOTHING_DRAWN, ROOF, roof
from .suns import sun_at


def in_window(sun, hours=(9, 15), disc=None):
    return sun_in_window(sun, np.ones(len(sun)) if disc is None else np.array(disc), hours)


def layers(*of_layers):
    """Layers of one interval, each with its names and their shares."""
    found = []
    for names in of_layers:
        stretches = tuple(Stretch(name, "other", 0, 360) for name, _ in names)
        share = np.array([[share for _, share in names]])
        found.append(SimpleNamespace(names=Names(np.array([0.0]), share, stretches)))
    return found


def taken(rows, *shares):
    return SunBlocking(
        np.array(rows), np.array(shares), np.zeros((len(shares), len(rows)), dtype=int)
    )


def minutes_of(first, count, month=0):
    """A sun that stands in the window minute by minute, once each."""
    return sun_at(180, 30, month=month, solar_hour=9.0 + (first + np.arange(count) + 0.5) / 60.0)


def test_the_window_has_its_first_minute_and_not_its_last():
    hours = [8.999, 9.0, 9.0 + 1 / 60, 14.999, 15.0]
    found = in_window(sun_at(180, 30, month=[0, 0, 1, 11, 11], solar_hour=hours))
    assert list(found.inside) == [False, True, True, True, False]
    assert list(found.cell[1:4]) == [0, 360 + 1, 11 * 360 + 359]
    assert list(found.minutes) == [1, 1, *[0] * 9, 1]


def test_the_clear_share_is_what_is_not_taken():
    found = solar_window(
        in_window(minutes_of(0, 10)), taken([2, 3], [1.0, 0.5]), layers([("barn", 1.0)])
    )
    assert found.monthly_clear_fraction[0] == pytest.approx(0.85)
    assert found.annual_clear_fraction == pytest.approx(0.85)
    assert np.isnan(found.monthly_clear_fraction[1:]).all()
    assert found.clock == "UTC"
    (stretch,) = found.blocked
    assert (stretch.month, stretch.obstruction) == (1, "barn")
    assert stretch.from_solar_hour == pytest.approx(9 + 2 / 60)
    assert stretch.to_solar_hour == pytest.approx(9 + 4 / 60)
    assert stretch.share == pytest.approx(0.75)


def test_what_several_share_is_told_of_each_and_who_has_no_share_is_not_told():
    sun = in_window(minutes_of(0, 4, month=[0, 0, 2, 2]))
    blocking = taken(range(4), [0.4, 0.4, 0.0, 0.4], [0.0, 0.0, 0.2, 0.2])
    both = layers([("oak", 0.25), ("fir", 0.75), ("elm", 0.0)], [("barn", 1.0)])
    found = solar_window(sun, blocking, both)
    assert found.monthly_clear_fraction[[0, 2]] == pytest.approx([0.6, 1 - 0.8 / 2])
    assert found.annual_clear_fraction == pytest.approx(0.6)
    told = [(b.month, b.obstruction, pytest.approx(b.share)) for b in found.blocked]
    assert told == [
        (1, "fir", 0.3), (1, "oak", 0.1), (3, "barn", 0.2), (3, "fir", 0.3), (3, "oak", 0.1),
    ]  # fmt: skip
    assert found.blocked[4].from_solar_hour == pytest.approx(9 + 3 / 60)


OAK = [("oak", 1.0)]


@pytest.mark.parametrize(
    ("sun", "blocking", "of", "clear", "blocked"),
    [
        # Two stretches of one name add up over layers.
        (in_window(minutes_of(0, 2)), taken(range(2), [0.3, 0.3], [0.2, 0.2]), (OAK, OAK),
         0.5, [(9 + 2 / 60, 0.5)]),
        # A stretch ends with the window at the latest.
        (in_window(sun_at(180, 30, solar_hour=10.005), (10.0, 10.01)), taken([0], [1.0]), (OAK,),
         0.0, [(10.01, 1.0)]),
        # A sun outside the window is nobody's loss.
        (in_window(sun_at(180, 30, solar_hour=[8.0, 12.0])), taken([0], [1.0]), (OAK,), 1.0, []),
        # Half a disc for a minute, all of it hidden, and a whole one for a minute in sight.
        (in_window(minutes_of(0, 2), disc=[0.5, 1.0]), taken([0], [0.5]), (OAK,),
         1 / 1.5, [(9 + 1 / 60, 1.0)]),
    ],
    ids=["two layers", "end of the window", "outside", "disc partly below level"],
)  # fmt: skip
def test_what_is_clear_and_until_when_how_much_is_blocked(sun, blocking, of, clear, blocked):
    found = solar_window(sun, blocking, layers(*of))
    assert found.monthly_clear_fraction[0] == pytest.approx(clear)
    told = [(b.to_solar_hour, b.share) for b in found.blocked]
    assert told == [pytest.approx(one) for one in blocked]


@pytest.mark.parametrize(
    ("mask", "runs"),
    [
        ("", []), ("....", []), ("###", [(0, 3)]), ("..#", [(2, 3)]),
        ("#..#", [(0, 4)]), ("#...#", [(0, 1), (4, 5)]), (".##.#....#", [(1, 5), (9, 10)]),
    ],
)  # fmt: skip
def test_stretches_are_joined_over_two_idle_minutes_and_not_over_three(mask, runs):
    assert _runs(np.array([c == "#" for c in mask])) == runs


# --- Clock times ---


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
    told = Clock(sun_at(180, 30, site=Site(45.0, longitude)), zone)
    assert told.zone == (zone or "UTC")
    hour, minute = map(int, told.at(month, solar_hour).split(":"))
    want_hour, want_minute = map(int, clock.split(":"))
    assert abs(60 * (hour - want_hour) + minute - want_minute) <= 1
    assert len(told.at(month, solar_hour)) == 5


def test_a_time_zone_that_is_none_is_named_with_a_hint(site):
    assert str(zone_of("Europe/Ljubljana")) == "Europe/Ljubljana"
    for wrong in ("Mars/Olympus", "../etc/passwd", "", "a\0b"):
        with pytest.raises(UsageError, match="no time zone ") as caught:
            zone_of(wrong)
        assert repr(wrong) in caught.value.what
        assert caught.value.hint == "give an IANA name such as Europe/Ljubljana"
    with pytest.raises(UsageError, match="Mars/Olympus"):
        roof(SiteYear(site, [ROOF], NOTHING_DRAWN, timezone="Mars/Olympus"), HorizonProfile.level())


# --- A whole year ---


def window_of(year, horizon):
    return roof(year, horizon).window


def test_clear_fractions_are_shares_of_the_sun_s_time(year, street):
    """January against minutes counted one by one with pvlib."""
    site = year.site
    start = np.datetime64("2026-01-01T00:00") - np.timedelta64(58, "m")
    times = np.arange(start, start + np.timedelta64(31 * 1440, "m"))
    sun = sun_track(times, site)
    index = pd.DatetimeIndex(times, tz="UTC")
    position = pvlib.solarposition.get_solarposition(index, 46.05, 14.51)
    hour = pvlib.solarposition.hour_angle(index, 14.51, position["equation_of_time"]) / 15 + 12
    inside = (sun.elevation_deg > 0) & (hour >= 9) & (hour < 15)
    clears = sun.elevation_deg > street.elevation_at(sun.azimuth_deg)
    found = window_of(year, street).monthly_clear_fraction[0]
    # The sun as a point here, as a disc there: as much is gained at one edge as lost at another.
    assert found == pytest.approx(clears[inside].mean(), abs=2e-3)


def test_who_blocks_when(year, street):
    window = window_of(year, street)
    by = {b.obstruction: b for b in window.blocked if b.month == 1}
    assert {"spruce", "house"} <= set(by)
    # Azimuth 120 to 150 is before noon, 200 to 240 after.
    assert by["spruce"].to_solar_hour < 11
    assert by["house"].from_solar_hour > 13
    for b in window.blocked:
        assert 9 <= b.from_solar_hour < b.to_solar_hour <= 15
        assert 0 < b.share <= 1
    assert not [b for b in window.blocked if b.month == 6]
    february = next(b for b in window.blocked if b.month == 2 and b.obstruction == "spruce")
    # 16 February: 14.51 degrees east of Greenwich, equation of time -14.1 minutes, UTC.
    minutes = february.from_solar_hour * 60 - 4 * 14.51 + 14.1
    assert february.from_clock == f"{int(minutes // 60):02d}:{round(minutes % 60):02d}"


def test_overlapping_names_share_their_stretch_and_a_nameless_one_is_its_azimuths(year):
    both = (Obstruction("oak", 100, 150), Obstruction("fir", 130, 160))
    horizon = HorizonProfile([100, 100, 160, 160], [0, 40, 40, 0], obstructions=both)
    assert {b.obstruction for b in window_of(year, horizon).blocked} == {"oak", "fir"}
    bare = HorizonProfile([100, 100, 150, 150], [0, 40, 40, 0])
    assert {b.obstruction for b in window_of(year, bare).blocked} == {"100 to 150°"}


@pytest.mark.parametrize(
    ("latitude", "dark", "summer"), [(75.0, [0, 10, 11], 1.0), (68.5, [11], 1.0)]
)
def test_beyond_the_polar_circle_a_low_skyline_leaves_nothing_in_winter(latitude, dark, summer):
    """At 68.5 degrees in December the sun's upper limb only just shows: five degrees hide it."""
    year = SiteYear(Site(latitude, 20), [Plane("p", 60, 180)], NOTHING_DRAWN)
    window = window_of(year, HorizonProfile([0], [5]))
    assert (np.nan_to_num(window.monthly_clear_fraction[dark]) == 0).all()
    assert window.monthly_clear_fraction[5] == summer
    assert 0.5 < window.annual_clear_fraction < 1


def test_another_window_may_be_asked_for(site, street):
    year = SiteYear(site, [ROOF], Settings(solar_window=(10.5, 13.5), draws=0))
    for b in window_of(year, street).blocked:
        assert 10.5 <= b.from_solar_hour < b.to_solar_hour <= 13.5


def test_what_was_not_seen_of_the_window_is_between_open_and_blocked(year):
    gap = HorizonProfile(
        [100, 100, 150, 200, 200, 300], [0, 20, 20, 20, 0, 0],
        measured=[True, True, False, True, True, True],
    )  # fmt: skip
    window = window_of(year, gap)
    cases = (window_of(year, gap.filled(fill)) for fill in (0.0, 90.0))
    opened, shut = (case.monthly_clear_fraction for case in cases)
    assert window.monthly_clear_fraction == pytest.approx(opened)
    assert window.monthly_unmeasured_fraction == pytest.approx(opened - shut)
    told = plain(window.as_dict())
    unknown = window.monthly_unmeasured_fraction > 0.02
    assert unknown.any()
    assert [x is None for x in told["monthly_clear_fraction"]] == list(unknown)
    assert told["annual_clear_fraction"] is None
