"""The sun stands where published tables and the full algorithm put it, every minute of a year."""

import datetime as dt

import numpy as np
import pytest

from logger.errors import UsageError
from logger.geometry import angle_between
from logger.site import Site
from logger.sun import sun_track, sun_year


def test_the_worked_example_of_the_published_algorithm():
    # Reda and Andreas, NREL/TP-560-34302, appendix A.5: zenith 50.11162, azimuth 194.34024.
    # The example's air (820 mbar, 11 degC) differs a little from the standard air used here.
    sun = sun_track(["2003-10-17T19:30:30"], Site(39.742476, -105.1786, 1830.14))
    assert 90 - sun.elevation_deg[0] == pytest.approx(50.11162, abs=0.0003)
    assert sun.azimuth_deg[0] == pytest.approx(194.34024, abs=0.0001)


@pytest.mark.parametrize(
    ("latitude", "longitude", "elevation", "year"),
    [
        (46.05, 14.51, 310, 2026),
        (-70, 170, 0, 2026),
        (0, -179.9, 4000, 1950),
        (90, 10, 0, 2099),
        (23.44, 0, 0, 2024),
        (-33.9, 151.2, 20, 2026),
    ],
)
def test_every_minute_agrees_with_the_full_algorithm(latitude, longitude, elevation, year):
    site = Site(latitude, longitude, elevation)
    year_long = sun_year(site, year)
    some = slice(0, None, 331)  # a step that meets every hour and season
    truth = sun_track(year_long.times[some], site)
    across = np.cos(np.radians(truth.elevation_deg))
    turn = angle_between(year_long.azimuth_deg[some], truth.azimuth_deg)
    assert np.abs(turn * across).max() < 2e-5
    assert np.abs(year_long.elevation_deg[some] - truth.elevation_deg).max() < 2e-5


def test_no_minute_with_the_sun_up_is_missing():
    site = Site(68.0, 20.0)
    found = set(sun_year(site, 2026).minute.tolist())
    for start in ("2026-01-11T08:00", "2026-05-30T00:00", "2026-12-02T09:00"):
        times = np.datetime64(start) + np.arange(360)
        up = sun_track(times, site).elevation_deg > 0
        for minute, is_up in zip(times.astype("datetime64[m]").astype(int), up, strict=True):
            assert (int(minute) in found) == is_up


def test_the_year_is_one_of_local_mean_solar_time():
    for longitude in (-180.0, 0.0, 180.0):
        sun = sun_year(Site(0.0, longitude), 2026)
        local = sun.times + np.timedelta64(round(4 * longitude), "m")
        assert local[0] >= np.datetime64("2026-01-01")
        assert local[-1] < np.datetime64("2027-01-01")
        months = local.astype("datetime64[M]").astype(int) % 12
        assert np.array_equal(months, sun.month)


def at(site, date, clock, zone=0):
    """Apparent sun at a clock time, hours ahead of UTC."""
    day = np.datetime64(dt.date(*date))
    moment = np.datetime64(f"{day}T{clock}") - np.timedelta64(zone, "h")
    sun = sun_track([moment], site)
    return float(sun.azimuth_deg[0]), float(sun.elevation_deg[0])


def is_on_the_horizon(elevation, within):
    """Whether the sun's centre is 0.8333 degrees below level, refraction added or, as pvlib has it
    from just there downwards, not: NREL/TP-560-34302 calls that rise and set."""
    return min(abs(elevation + 0.8333), abs(elevation + 0.8333 - 0.5667)) < within


# Rise, transit and set: NREL's algorithm as quoted in pvlib's test suite (constants, BSD-3).
@pytest.mark.parametrize(
    ("date", "site", "zone", "rise", "transit", "sets"),
    [
        ((1996, 7, 5), Site(-35, 0), 0, "07:08:15", "12:04:36", "17:01:04"),
        ((2004, 12, 4), Site(-35, 0), 0, "04:38:57", "11:50:22", "19:02:03"),
        ((2015, 1, 2), Site(39.742476, -105.1786), -7, "07:21:55", "12:04:45", "16:47:43"),
        ((2000, 1, 1), Site(40, -80), -5, "07:41:51", "12:23:23", "17:05:04"),
    ],
)
def test_published_moments_of_rise_transit_and_set(date, site, zone, rise, transit, sets):
    for clock in (rise, sets):
        # Three hundredths of a degree are some ten seconds.
        assert is_on_the_horizon(at(site, date, clock, zone)[1], 0.03)
    meridian = at(site, date, transit, zone)[0]
    assert abs(angle_between(meridian, site.equatorward_azimuth_deg)) < 0.02


@pytest.mark.parametrize(
    ("date", "rise", "sets"),
    [
        ((2015, 1, 2), "07:36", "17:00"),
        ((2015, 4, 2), "05:58", "18:39"),
        ((2015, 8, 2), "05:13", "19:28"),
        ((2015, 12, 2), "07:17", "16:50"),
    ],
)
def test_rise_and_set_of_the_naval_observatory(date, rise, sets):
    # US Naval Observatory, to the minute, UTC+8; as quoted in pvlib's test suite.
    for clock in (rise, sets):
        assert is_on_the_horizon(at(Site(39.917, 116.383), date, f"{clock}:00", 8)[1], 0.13)


def test_polar_day_and_night():
    for latitude, light, dark in ((75, 5, 11), (-75, 11, 5)):
        minutes = np.bincount(sun_year(Site(latitude, 0), 2026).month, minlength=12)
        assert minutes[light] == (30 if light == 5 else 31) * 1440
        assert minutes[dark] == 0


def test_the_june_sun_at_40_north_is_up_from_4_35_to_19_25_solar_time():
    # cos(hour angle) = -tan(latitude) tan(declination), declination 23.45 (Duffie and Beckman,
    # equation 1.6.10). Refraction lifts the sun by 34', four minutes of its slanting path.
    sun = sun_year(Site(40, 0), 2026)
    day = sun.times.astype("datetime64[D]") == np.datetime64("2026-06-21")
    up = sun.solar_hour[day & (sun.elevation_deg > 0.52)]
    assert up.min() == pytest.approx(4 + 35 / 60, abs=2 / 60)
    assert up.max() == pytest.approx(19 + 25 / 60, abs=2 / 60)


def test_years_outside_the_algorithm_are_refused():
    with pytest.raises(UsageError, match="1899"):
        sun_year(Site(0, 0), 1899)
