"""Weather as a record: its hours under their own sun, its energy kept, its place held to."""

from pathlib import Path

import numpy as np
import pvlib
import pytest

from logger.access import Plane, SiteYear, Weather, read_weather
from logger.access.skies import skies_of
from logger.horizon import HorizonProfile
from logger.settings import Settings
from logger.site import Site
from logger.sun import sun_year

from .conftest import NOTHING_DRAWN

CAROLINA = Path(pvlib.__file__).parent / "data" / "723170TYA.CSV"
GREENSBORO = Site(36.1, -79.95, 270.0)


@pytest.fixture(scope="module")
def carolina():
    return read_weather(CAROLINA)


@pytest.fixture(scope="module")
def year(carolina):
    return SiteYear(GREENSBORO, [Plane("roof", 30, 180)], NOTHING_DRAWN, carolina)


def test_each_hour_keeps_its_mean_and_stands_under_its_own_sun(year, carolina):
    # A row of the file bears the end of its hour in local standard time, five hours behind UTC.
    local = year.sun.minute - 300
    day = (local // 1440).astype("datetime64[D]")
    noon_hour = (day == np.datetime64("2026-06-10")) & (local % 1440 // 60 == 12)
    row = ((31 + 28 + 31 + 30 + 31 + 9) * 24) + 12
    assert noon_hour.sum() == 60
    assert year.skies.lights[0].dni_wm2[noon_hour].mean() == pytest.approx(carolina.dni_wm2[row])
    assert year.skies.lights[0].temperature_c[noon_hour] == pytest.approx(
        carolina.temperature_c[row]
    )


def test_a_leap_year_repeats_the_28th_of_february(carolina):
    minute = np.datetime64("2024-02-28T17:00").astype("datetime64[m]").astype(int)
    rows, _ = carolina.rows_at(np.array([minute, minute + 1440, minute + 2880]))
    assert rows[0] == rows[1] == (31 + 27) * 24 + 12
    assert rows[2] == (31 + 28) * 24 + 12


def test_the_last_hours_of_the_year_west_of_greenwich_are_its_own(carolina):
    new_year_utc = np.datetime64("2027-01-01T03:30").astype("datetime64[m]").astype(int)
    rows, _ = carolina.rows_at(np.array([new_year_utc]))
    assert rows[0] == 364 * 24 + 22


def test_a_measured_stretch_leaves_other_months_undefined():
    # Two clear hours around noon of one day, a value a minute.
    ones = np.ones(120)
    weather = Weather(
        700 * ones, 800 * ones, 100 * ones, 1, np.datetime64("2026-03-10T11:00"), source="measured"
    )
    year = SiteYear(Site(45, 0), [Plane("p", 30, 180)], NOTHING_DRAWN, weather)
    plane = year.assess(HorizonProfile([0], [10])).planes[0]
    assert np.isfinite(plane.solar_access.value).nonzero()[0].tolist() == [2, 12]
    assert plane.beam_access.value[2] == 1


@pytest.mark.parametrize(
    ("town", "clearness"),
    [("723170TYA.CSV", 0.517), ("703165TY.csv", 0.363)],  # 36.1 and 55.3 degrees of latitude
)
def test_a_sky_that_nobody_knows_is_like_typical_years_and_as_unsure_as_is_said(town, clearness):
    weather = read_weather(CAROLINA.with_name(town))
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
