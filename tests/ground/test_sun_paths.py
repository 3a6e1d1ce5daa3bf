"""The tracks and hour lines that charts draw: solar time, pairs of dates, both hemispheres."""

from __future__ import annotations

import numpy as np
import pytest

from logger.geometry import angle_between
from logger.site import Site
from logger.sun import sun_track
from logger.sun_paths import sun_paths, utc_of_solar_hour

PLACES = [
    Site(43.0, -89.4),
    Site(-35.0, 149.0),
    Site(52.0, 180.0),
    Site(52.0, -180.0),
    Site(70, 25),
]


def sun_at(site: Site, date: str, solar_hour: float) -> tuple[float, float]:
    """Zenith and azimuth from south (west positive), as the textbook counts it."""
    times = utc_of_solar_hour(
        np.array([date], dtype="datetime64[D]"), solar_hour, site.longitude_deg
    )
    sun = sun_track(times, site)
    return 90 - float(sun.elevation_deg[0]), float(angle_between(sun.azimuth_deg[0], 180.0))


@pytest.mark.parametrize(
    ("date", "solar_hour", "zenith", "from_south"),
    [
        ("2026-02-13", 9.5, 66.5, -40.0),
        ("2026-07-01", 18.5, 79.6, 112.0),
        ("2026-03-16", 16.0, 70.3, 66.8),
    ],
)
def test_solar_time_is_the_textbooks(date, solar_hour, zenith, from_south):
    # Duffie and Beckman, Solar Engineering of Thermal Processes, examples 1.6.2 and 1.6.3,
    # latitude 43. Their declination is Cooper's, up to 0.8 degrees off on these days.
    found_zenith, found_azimuth = sun_at(Site(43.0, -89.4), date, solar_hour)
    assert found_zenith == pytest.approx(zenith, abs=0.9)
    assert found_azimuth == pytest.approx(from_south, abs=0.9)


@pytest.mark.parametrize("latitude_deg", [43.0, -35.0, 5.0])
@pytest.mark.parametrize("solar_hour", [8.0, 10.5, 14.0, 16.0])
def test_solar_time_is_the_hour_angle_of_the_true_sun(latitude_deg, solar_hour):
    # Duffie and Beckman, equation 1.6.5: cos z = cos lat cos d cos w + sin lat sin d, with the
    # hour angle w 15 degrees an hour from noon. The declination is what noon shows.
    site, date = Site(latitude_deg, 100.0), "2026-11-03"
    noon_zenith, noon_from_south = sun_at(site, date, 12.0)
    southward = noon_zenith if abs(noon_from_south) < 90 else -noon_zenith
    lat, d, w = np.radians([latitude_deg, latitude_deg - southward, 15 * (solar_hour - 12)])
    expected = np.degrees(np.arccos(np.cos(lat) * np.cos(d) * np.cos(w) + np.sin(lat) * np.sin(d)))
    # Refraction and the declination's drift since noon.
    assert sun_at(site, date, solar_hour)[0] == pytest.approx(expected, abs=0.15)


@pytest.mark.parametrize("site", PLACES)
def test_at_solar_noon_the_sun_stands_on_the_meridian(site):
    for track in sun_paths(site).tracks:
        noon = int(np.argmin(np.abs(track.solar_hour - 12)))
        turn = angle_between(track.azimuth_deg[noon], site.equatorward_azimuth_deg)
        assert abs(turn) < 0.02


def test_longitude_180_is_one_place_from_either_side():
    east, west = (sun_paths(Site(52.0, lon)).tracks[3] for lon in (180.0, -180.0))
    # A day apart in UTC: 0.4 degrees of declination at the equinox.
    up = (east.elevation_deg > 10) & (west.elevation_deg > 10)
    assert np.abs(east.elevation_deg - west.elevation_deg)[up].max() < 0.45


def test_paired_dates_have_the_same_noon_sun():
    site = Site(46.05, 14.51)
    for track in sun_paths(site).tracks:
        heights = [90 - sun_at(site, date.isoformat(), 12.0)[0] for date in track.dates]
        assert max(heights) - min(heights) < 0.25


def test_solstices_stand_alone_and_bound_the_others():
    highest = [t.elevation_deg.max() for t in sun_paths(Site(46.05, 14.51)).tracks]
    assert highest == sorted(highest)
    dates = [t.dates for t in sun_paths(Site(46.05, 14.51)).tracks]
    assert [d[0].month for d in dates if len(d) == 1] == [12, 6]
    assert all(d.year == 2026 for pair in dates for d in pair)
