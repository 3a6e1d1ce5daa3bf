"""Weather as a record: its hours under their own sun, its energy kept, its place held to."""

from pathlib import Path

import numpy as np
import pandas as pd
import pvlib
import pytest

from logger.access import Plane, SiteYear, Weather, read_weather
from logger.access.blocking import disc_above
from logger.horizon import HorizonProfile
from logger.settings import Settings
from logger.site import Site
from logger.sun import sun_track

from .conftest import NOTHING_DRAWN

CAROLINA = Path(pvlib.__file__).parent / "data" / "723170TYA.CSV"
GREENSBORO = Site(36.1, -79.95, 270.0)


@pytest.fixture(scope="module")
def carolina():
    return read_weather(CAROLINA)


@pytest.fixture(scope="module")
def table():
    return pvlib.iotools.read_tmy3(CAROLINA, map_variables=True)[0]


@pytest.fixture(scope="module")
def year(carolina):
    return SiteYear(GREENSBORO, [Plane("roof", 30, 180)], NOTHING_DRAWN, carolina)


def checks(weather, site):
    return {c.check: c for c in SiteYear(site, [], NOTHING_DRAWN, weather).checks}


ALAMOSA = Site(37.70, -105.92, 2317.0)


@pytest.fixture(scope="module")
def measured_day():
    """NOAA SURFRAD, Alamosa, Colorado, 1 January 2016: a minute of GHI, DNI, DHI a row."""
    path = Path(__file__).with_name("surfrad_alamosa_2016_01_01.csv")
    up = pd.read_csv(path, comment="#", index_col="minute")
    night = {"solar_zenith": 120.0, "ghi": 0.0, "dni": 0.0, "dhi": 0.0}
    day = up.reindex(range(1440)).fillna(night)
    return day.set_index(pd.date_range("2016-01-01", periods=1440, freq="min", tz="UTC"))


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


def test_planes_agree_with_pvlib_hour_by_hour(year, table):
    """pvlib's own transposition at the middle sun of every hour, as its guides have it."""
    middle = pd.date_range("2026-01-01 00:30", periods=8760, freq="h", tz="Etc/GMT+5")
    sun = pvlib.solarposition.get_solarposition(middle, 36.1, -79.95, altitude=270)
    theirs = pvlib.irradiance.get_total_irradiance(
        30,
        180,
        sun["apparent_zenith"],
        sun["azimuth"],
        table["dni"].to_numpy(),
        table["ghi"].to_numpy(),
        table["dhi"].to_numpy(),
        dni_extra=pvlib.irradiance.get_extra_radiation(middle),
        albedo=0.2,
        model="haydavies",
    )["poa_global"].to_numpy()
    light = year.planes[0].light
    minute = light.beam_wm2 + light.circumsolar_wm2 + light.isotropic_wm2 + light.ground_wm2
    start = int(middle[0].timestamp()) // 60 - 30
    ours = np.bincount((year.sun.minute - start) // 60 % 8760, minute, minlength=8760) / 60
    high = (sun["apparent_zenith"] < 75).to_numpy()
    assert ours[high] == pytest.approx(theirs[high], rel=0.02, abs=12)
    months = np.repeat(
        np.arange(12),
        np.diff(np.append(0, np.cumsum([31, 28, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31]) * 24)),
    )
    monthly_ours, monthly_theirs = (np.bincount(months, np.nan_to_num(x)) for x in (ours, theirs))
    # The middle sun misrepresents the hours of sunrise and sunset; a month differs by a per cent.
    assert monthly_ours == pytest.approx(monthly_theirs, rel=0.012)


def test_a_leap_year_repeats_the_28th_of_february(carolina):
    minute = np.datetime64("2024-02-28T17:00").astype("datetime64[m]").astype(int)
    rows, _ = carolina.rows_at(np.array([minute, minute + 1440, minute + 2880]))
    assert rows[0] == rows[1] == (31 + 27) * 24 + 12
    assert rows[2] == (31 + 28) * 24 + 12


def test_the_last_hours_of_the_year_west_of_greenwich_are_its_own(carolina):
    new_year_utc = np.datetime64("2027-01-01T03:30").astype("datetime64[m]").astype(int)
    rows, _ = carolina.rows_at(np.array([new_year_utc]))
    assert rows[0] == 364 * 24 + 22


def test_weather_from_far_away_fails_a_check_with_its_distance(carolina):
    check = checks(carolina, Site(50, 10))["weather from near the site"]
    assert not check.passed
    assert check.value == pytest.approx(7000, rel=0.1)
    assert f"{check.value:.0f} km from the site" in check.why


@pytest.mark.parametrize(("above_m", "word"), [(900.0, "lower"), (-301.0, "higher")])
def test_weather_of_another_height_fails_a_check(carolina, above_m, word):
    here = carolina.place
    site = Site(here.latitude_deg, here.longitude_deg, here.altitude_m + above_m)
    check = checks(carolina, site)["weather from the site's height"]
    assert not check.passed
    assert check.value == pytest.approx(abs(above_m))
    assert f"{abs(above_m):.0f} m {word} than the site" in check.why


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


def test_printed_zenith_angles_of_a_measured_day(measured_day):
    times = measured_day.index.tz_convert(None).to_numpy()
    zenith = 90 - sun_track(times, ALAMOSA).elevation_deg
    up = (measured_day["solar_zenith"] < 80).to_numpy()
    # Printed to 0.01 degrees, without refraction (0.09 degrees at 80), by another algorithm.
    assert np.abs(zenith - measured_day["solar_zenith"].to_numpy())[up].max() < 0.12


def test_a_measured_day_through_the_whole_calculator(measured_day):
    values = {n: np.maximum(measured_day[n].to_numpy(), 0) for n in ("ghi", "dni", "dhi")}
    weather = Weather(
        values["ghi"], values["dni"], values["dhi"], 1, np.datetime64("2016-01-01T00:00")
    )
    settings = Settings(year=2016, draws=0)
    horizon = HorizonProfile([140, 140, 185, 185], [3, 30, 30, 3])
    year = SiteYear(ALAMOSA, [Plane("p", 40, 180)], settings, weather)
    plane = year.assess(horizon).planes[0]

    times = measured_day.index
    sun = pvlib.solarposition.get_solarposition(times, 37.70, -105.92, altitude=2317)
    parts = pvlib.irradiance.haydavies(
        40, 180, values["dhi"], values["dni"],
        pvlib.irradiance.get_extra_radiation(times).to_numpy(),
        sun["apparent_zenith"].to_numpy(), sun["azimuth"].to_numpy(), return_components=True,
    )  # fmt: skip
    cos_i = pvlib.irradiance.aoi_projection(40, 180, sun["apparent_zenith"], sun["azimuth"])
    beam = values["dni"] * np.maximum(cos_i.to_numpy(), 0)
    # The calculator starts at 00:00 of local mean solar time, seven hours into the UTC day.
    up = (sun["apparent_elevation"] > 0).to_numpy() & (np.arange(len(measured_day)) >= 424)
    height = sun["apparent_elevation"].to_numpy()
    level, over = (
        disc_above(height - edge) for edge in (0.0, horizon.elevation_at(sun["azimuth"].to_numpy()))
    )
    offered, received = (beam * level)[up].sum(), (beam * over)[up].sum()
    assert plane.beam_access.value[0] == pytest.approx(received / offered, abs=1e-6)
    assert plane.unshaded_beam_kwh_m2[0] == pytest.approx(offered / 60_000, rel=1e-6)
    sunward = (beam + parts["poa_circumsolar"]) * level
    sky = (sunward + parts["poa_isotropic"])[up].sum() / 60_000
    ground = 0.2 * values["ghi"][up].sum() * (1 - np.cos(np.radians(40))) / 2 / 60_000
    assert plane.unshaded_kwh_m2[0] == pytest.approx(sky + ground, rel=1e-6)
