"""The solar window: only while the sun is up, by month, with who blocks it and when."""

import numpy as np
import pytest

from logger.access import UNNAMED, Plane, SiteYear
from logger.errors import UsageError
from logger.horizon import HorizonProfile, Obstruction
from logger.settings import Settings
from logger.site import Site
from logger.sun import sun_track


def window_of(year, horizon):
    return year.assess(horizon).planes[0].window


def test_clear_fractions_are_shares_of_the_sun_s_time(year, street):
    """Counted by hand on one month: full solar position, the hour angle from pvlib."""
    import pandas as pd
    import pvlib

    site = year.site
    start = np.datetime64("2026-01-01T00:00") - np.timedelta64(58, "m")
    times = np.arange(start, start + np.timedelta64(31 * 1440, "m"))
    sun = sun_track(times, site)
    index = pd.DatetimeIndex(times, tz="UTC")
    position = pvlib.solarposition.get_solarposition(index, 46.05, 14.51)
    hour = pvlib.solarposition.hour_angle(index, 14.51, position["equation_of_time"]) / 15 + 12
    inside = (sun.elevation_deg > 0) & (hour >= 9) & (hour < 15)
    clears = sun.elevation_deg > street.elevation_at(sun.azimuth_deg)
    expected = clears[inside].mean()
    found = window_of(year, street).monthly_clear_fraction[0]
    # The sun as a point here, as a disc there: as much is gained at one edge as lost at another.
    assert found == pytest.approx(expected, abs=2e-3)


def test_who_blocks_when(year, street):
    window = window_of(year, street)
    january = [b for b in window.blocked if b.month == 1]
    by = {b.obstruction: b for b in january}
    assert {"lime tree", "house"} <= set(by)
    # Azimuth 120 to 150 is before noon, 200 to 240 after.
    assert by["lime tree"].to_solar_hour < 11
    assert by["house"].from_solar_hour > 13
    for b in window.blocked:
        assert 9 <= b.from_solar_hour < b.to_solar_hour <= 15
        assert 0 < b.share <= 1
    assert not [b for b in window.blocked if b.month == 6]


def test_stretches_and_fractions_tell_the_same(year, street):
    window = window_of(year, street)
    for month in range(12):
        lost = sum(
            b.share * (b.to_solar_hour - b.from_solar_hour)
            for b in window.blocked
            if b.month == month + 1
        )
        assert lost / 6 == pytest.approx(1 - window.monthly_clear_fraction[month], abs=0.002)


def test_clock_times_are_those_of_the_mean_day(site, street):
    year = SiteYear(site, [Plane("roof", 35, 180)], timezone="Europe/Ljubljana")
    window = window_of(year, street)
    assert window.clock == "Europe/Ljubljana"
    tree = next(b for b in window.blocked if b.month == 2 and b.obstruction == "lime tree")
    # 16 February: 14.51 degrees east of Greenwich, equation of time -14.1 minutes, UTC+1.
    minutes = tree.from_solar_hour * 60 - 4 * 14.51 + 14.1 + 60
    assert tree.from_clock == f"{int(minutes // 60):02d}:{round(minutes % 60):02d}"


def test_an_unnamed_skyline_is_said_to_be_one(year):
    window = window_of(year, HorizonProfile([100, 100, 150, 150], [0, 40, 40, 0]))
    assert {b.obstruction for b in window.blocked} == {UNNAMED}


def test_overlapping_names_share_their_stretch(year):
    both = (Obstruction("oak", 100, 150), Obstruction("fir", 130, 160))
    horizon = HorizonProfile([100, 100, 160, 160], [0, 40, 40, 0], obstructions=both)
    blocked = window_of(year, horizon).blocked
    assert {b.obstruction for b in blocked} == {"oak", "fir"}


def test_a_month_without_sun_in_the_window_has_no_fraction():
    window = window_of(SiteYear(Site(75, 20), [Plane("p", 60, 180)]), HorizonProfile([0], [3]))
    assert np.isnan(window.monthly_clear_fraction[[0, 11]]).all()
    assert window.monthly_clear_fraction[5] == 1


def test_another_window_may_be_asked_for(site, street):
    settings = Settings(solar_window=(10.5, 13.5))
    narrow = window_of(SiteYear(site, [Plane("p", 35, 180)], settings), street)
    assert all(10.5 <= b.from_solar_hour < b.to_solar_hour <= 13.5 for b in narrow.blocked)


def test_an_unknown_time_zone_is_refused(site, street):
    with pytest.raises(UsageError, match="Mars/Olympus"):
        SiteYear(site, [Plane("p", 35, 180)], timezone="Mars/Olympus").assess(street)


def test_nine_to_fifteen_and_months_in_pairs():
    """Common practice, no source: the sun runs the same path twice a year, so that months pair up
    around the solstices; at 40 N a skyline of 20 degrees to the south blocks pairs alike."""
    year = SiteYear(Site(40, 0), [Plane("p", 40, 180)])
    clear = window_of(year, HorizonProfile([120, 120, 240, 240], [0, 24, 24, 0]))
    fraction = clear.monthly_clear_fraction
    for early, late in ((0, 10), (1, 9), (2, 8), (3, 7), (4, 6)):
        assert fraction[early] == pytest.approx(fraction[late], abs=0.12)
    assert fraction[11] == fraction.min()
