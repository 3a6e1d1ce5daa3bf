"""Weather as a record: its hours under their own sun, its energy kept, its place held to."""

import numpy as np
import pytest

from logger.access import Plane, SiteYear, Weather, read_weather
from logger.access.skies import skies_of
from logger.horizon import HorizonProfile
from logger.settings import Settings
from logger.site import Site
from logger.sun import sun_year

from .conftest import ALASKA, CAROLINA, NOTHING_DRAWN


def test_each_hour_keeps_its_mean_and_stands_under_its_own_sun(carolina):
    year = SiteYear(carolina.place, [], NOTHING_DRAWN, carolina)
    # A row of the file bears the end of its hour in local standard time, five hours behind UTC.
    local = year.sun.minute - 300
    day = (local // 1440).astype("datetime64[D]")
    noon_hour = (day == np.datetime64("2026-06-10")) & (local % 1440 // 60 == 12)
    row = ((31 + 28 + 31 + 30 + 31 + 9) * 24) + 12
    assert noon_hour.sum() == 60
    assert year.skies.lights[0].dni_wm2[noon_hour].mean() == pytest.approx(carolina.dni_wm2[row])
    air = year.skies.lights[0].temperature_c[noon_hour]
    assert air == pytest.approx(carolina.temperature_c[row])


@pytest.mark.parametrize(
    ("utc", "row"),
    [
        ("2024-02-28T17:00", (31 + 27) * 24 + 12),
        ("2024-02-29T17:00", (31 + 27) * 24 + 12),  # a leap year repeats the 28th
        ("2024-03-01T17:00", (31 + 28) * 24 + 12),
        ("2027-01-01T03:30", 364 * 24 + 22),  # west of Greenwich, still the old year
    ],
)
def test_the_row_of_a_moment_is_that_of_its_local_hour(carolina, utc, row):
    minute = np.datetime64(utc, "m").astype(int)
    assert carolina.rows_at(np.array([minute]))[0] == row


def test_what_is_not_known_of_the_weather_leaves_its_months_undefined():
    # Two clear hours around noon of 10 March, and nothing else known.
    light = np.full((3, 8760), np.nan)
    light[:, 24 * 68 + 11 : 24 * 68 + 13] = [[700], [800], [100]]
    weather = Weather(*light)
    year = SiteYear(Site(45, 0), [Plane("p", 30, 180)], NOTHING_DRAWN, weather)
    plane = year.assess(HorizonProfile([0], [10])).planes[0]
    assert np.isfinite(plane.solar_access.value).nonzero()[0].tolist() == [2, 12]
    assert plane.beam_access.value[2] == 1


@pytest.mark.parametrize(
    ("town", "clearness"),
    [(CAROLINA, 0.517), (ALASKA, 0.363)],  # 36.1 and 55.3 degrees of latitude
)
def test_a_sky_that_nobody_knows_is_like_typical_years_and_as_unsure_as_is_said(town, clearness):
    weather = read_weather(town)
    sun = sun_year(weather.place, 2026)
    height, morning = sun.vectors[2], sun.solar_hour < 12
    (light,) = skies_of(weather, sun, Settings(draws=1)).lights
    outside = (light.extraterrestrial_wm2 * height).sum()
    assert light.ghi_wm2.sum() / outside == pytest.approx(clearness, abs=0.001)
    unknown = skies_of(None, sun, Settings(draws=500))

    def drawn(*of_lights):
        """Sums by draw and half day."""
        halves = [[np.bincount(sun.month[half], watts[half], 12) for half in (morning, ~morning)]
                  for watts in of_lights]  # fmt: skip
        return (unknown.drawn * np.array(halves)).sum(axis=(1, 3))

    found = drawn(*(one.ghi_wm2 for one in unknown.lights)).sum(axis=1) / outside
    # 0.08 for the place, and months beside; mornings 0.10 clearer or duller than afternoons.
    assert found.std() == pytest.approx(0.09, abs=0.012)
    assert abs(clearness - found.mean()) < 0.6 * found.std()
    before, after = drawn(*(one.dni_wm2 * height for one in unknown.lights)).T
    assert ((before - after) / (before + after)).std() == pytest.approx(0.115, abs=0.02)
    clear, hazy = (one.dni_wm2 @ height / outside for one in unknown.lights[:2])
    assert (clear, hazy) == pytest.approx((0.69, 0.35), abs=0.02)
