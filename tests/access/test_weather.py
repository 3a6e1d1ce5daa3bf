"""Weather files: their hours under their own sun, their energy kept, their flaws named."""

import os
import warnings
from pathlib import Path

import numpy as np
import pandas as pd
import pvlib
import pytest

from logger.access import Plane, SiteYear, Weather, assess, read_weather
from logger.access.blocking import disc_above
from logger.access.weather import distance_km
from logger.errors import InputError
from logger.horizon import HorizonProfile
from logger.settings import Settings
from logger.site import Site
from logger.sun import sun_track

SHIPPED = Path(pvlib.__file__).parent / "data"
# Two typical years that pvlib ships: Sand Point, Alaska, and Greensboro, North Carolina.
ALASKA, CAROLINA = SHIPPED / "703165TY.csv", SHIPPED / "723170TYA.CSV"
GREENSBORO = Site(36.1, -79.95, 270.0)


@pytest.fixture(scope="module")
def carolina():
    return read_weather(CAROLINA)


@pytest.fixture(scope="module")
def table():
    return pvlib.iotools.read_tmy3(CAROLINA, map_variables=True)[0]


@pytest.fixture(scope="module")
def year(carolina):
    return SiteYear(GREENSBORO, [Plane("roof", 30, 180)], weather=carolina)


def as_epw(table, path):
    """The same typical year in the other format: rows of 35 columns under eight lines."""
    lines = ["LOCATION,Greensboro,-,USA,test,723170,36.100,-79.950,-5.0,270.0"]
    lines += ["DESIGN CONDITIONS,0", "TYPICAL/EXTREME PERIODS,0", "GROUND TEMPERATURES,0"]
    lines += ["HOLIDAYS/DAYLIGHT SAVINGS,No,0,0,0", "COMMENTS 1,made by a test", "COMMENTS 2,"]
    lines += ["DATA PERIODS,1,1,Data,Sunday, 1/ 1,12/31"]
    days = pd.date_range("2001-01-01", periods=8760, freq="h")
    for when, (_, row) in zip(days, table.iterrows(), strict=True):
        cells = ["0"] * 35
        cells[:6] = [str(x) for x in (2001, when.month, when.day, when.hour + 1, 60, "?")]
        cells[6], cells[21] = str(row["temp_air"]), str(row["wind_speed"])
        cells[13:16] = [str(row[name]) for name in ("ghi", "dni", "dhi")]
        lines.append(",".join(cells))
    path.write_text("\n".join(lines) + "\n")


def test_a_typical_year_is_read_as_pvlib_reads_it(carolina, table):
    for name in ("ghi", "dni", "dhi"):
        assert np.array_equal(getattr(carolina, f"{name}_wm2"), table[name])
    assert carolina.utc_offset_min == -300
    assert "GREENSBORO" in carolina.source


def test_both_formats_of_the_same_year_give_the_same_weather(carolina, table, tmp_path):
    file = tmp_path / "same.epw"
    as_epw(table, file)
    epw = read_weather(file)
    for name in ("ghi_wm2", "dni_wm2", "dhi_wm2", "temperature_c", "wind_ms"):
        assert np.array_equal(getattr(epw, name), getattr(carolina, name)), name
    assert epw.utc_offset_min == carolina.utc_offset_min


@pytest.mark.parametrize(("file", "site"), [(CAROLINA, GREENSBORO), (ALASKA, None)])
def test_energy_is_kept(file, site):
    site = site or Site(55.317, -160.517, 7)
    weather = read_weather(file)
    year = SiteYear(site, [], weather=weather)
    for name in ("ghi_wm2", "dni_wm2", "dhi_wm2"):
        offered = getattr(weather, name).sum() * 60
        assert getattr(year.light, name).sum() == pytest.approx(offered, rel=0.004)
    assert weather.notes == ()


def test_each_hour_keeps_its_mean_and_stands_under_its_own_sun(year, carolina):
    # A row of the file bears the end of its hour in local standard time, five hours behind UTC.
    local = year.sun.minute - 300
    day = (local // 1440).astype("datetime64[D]")
    noon_hour = (day == np.datetime64("2026-06-10")) & (local % 1440 // 60 == 12)
    row = ((31 + 28 + 31 + 30 + 31 + 9) * 24) + 12
    assert noon_hour.sum() == 60
    assert year.light.dni_wm2[noon_hour].mean() == pytest.approx(carolina.dni_wm2[row])
    assert year.light.temperature_c[noon_hour] == pytest.approx(carolina.temperature_c[row])


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


def test_weather_shares_access_out_differently_than_a_clear_sky(year):
    horizon = HorizonProfile([90, 90, 170, 170], [0, 25, 25, 0])
    cloudy = year.assess(horizon)
    clear = assess(horizon, GREENSBORO, [Plane("roof", 30, 180)])
    assert "typical year" in cloudy.sky
    assert "clear sky" in clear.sky
    difference = cloudy.planes[0].solar_access.value - clear.planes[0].solar_access.value
    assert np.abs(difference).max() > 0.005


def test_a_leap_year_repeats_the_28th_of_february(carolina):
    minute = np.datetime64("2024-02-28T17:00").astype("datetime64[m]").astype(int)
    rows, _ = carolina.rows_at(np.array([minute, minute + 1440, minute + 2880]))
    assert rows[0] == rows[1] == (31 + 27) * 24 + 12
    assert rows[2] == (31 + 28) * 24 + 12


def test_the_last_hours_of_the_year_west_of_greenwich_are_its_own(carolina):
    new_year_utc = np.datetime64("2027-01-01T03:30").astype("datetime64[m]").astype(int)
    rows, _ = carolina.rows_at(np.array([new_year_utc]))
    assert rows[0] == 364 * 24 + 22


def checks(weather, site):
    return {check.check: check for check in weather.checks(site)}


def test_weather_of_the_place_passes_its_checks(carolina):
    found = checks(carolina, GREENSBORO)
    assert all(check.passed for check in found.values())
    assert len(found) == 2
    assert checks(Weather(*[np.ones(8760)] * 3), GREENSBORO) == {}


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


def test_the_checks_come_with_every_answer_under_that_weather(carolina):
    far = assess(HorizonProfile.level(), Site(50, 10), [Plane("p", 0, 0)], weather=carolina)
    assert [check.passed for check in far.checks] == [False, True]
    clear = assess(HorizonProfile.level(), Site(50, 10), [Plane("p", 0, 0)])
    assert clear.checks == ()


def test_weather_of_another_hour_is_noticed(carolina):
    result = assess(HorizonProfile.level(), Site(36.1, 100.0), [Plane("p", 0, 0)], weather=carolina)
    assert any("hours without sun" in note for note in result.notes)
    assert distance_km(Site(0, 0), Site(0, 180)) == pytest.approx(np.pi * 6371)


@pytest.mark.parametrize(
    ("content", "reason"),
    [
        (b"", "neither"),
        (b"\x00\xff\xfe binary", "neither"),
        (b"LOCATION,nowhere\n", "no sound EPW"),
        (b"LOCATION,a,b,c,d,e,1,2,3,4\n" + b"x\n" * 7 + b"1,2,3\n", "EPW"),
        (b"1,x\nDate (MM/DD/YYYY),Time\n", "no sound TMY3"),
        (b'703165,"A",AK,-9.0,55.3,-160.5,7\nDate (MM/DD/YYYY),Time (HH:MM)\nx,y\n', "TMY3"),
    ],
)
def test_what_is_no_typical_year_is_refused(tmp_path, content, reason):
    file = tmp_path / "weather"
    file.write_bytes(content)
    with pytest.raises(InputError, match=reason) as caught:
        read_weather(file)
    assert str(file) in str(caught.value)


def test_half_a_year_is_refused_and_a_missing_file_is(tmp_path):
    lines = CAROLINA.read_text().splitlines()
    half = tmp_path / "half.csv"
    half.write_text("\n".join(lines[:4000]))
    with pytest.raises(InputError, match="not a whole year"):
        read_weather(half)
    with pytest.raises(InputError, match="cannot be read"):
        read_weather(tmp_path / "none.epw")


def test_rows_without_irradiance_are_left_out_and_counted(tmp_path, table):
    holes = table.copy()
    noons = range(11, 8760, 24)
    holes.iloc[list(noons), holes.columns.get_loc("dni")] = 9999
    file = tmp_path / "holes.epw"
    as_epw(holes, file)
    weather = read_weather(file)
    assert any(note.startswith("365 rows") for note in weather.notes)
    value = (
        assess(HorizonProfile([0], [5]), GREENSBORO, [Plane("p", 30, 180)], weather=weather)
        .planes[0]
        .solar_access.value
    )
    assert np.isfinite(value).all()


def test_a_measured_stretch_leaves_other_months_undefined():
    # Two clear hours around noon of one day, a value a minute.
    ones = np.ones(120)
    weather = Weather(
        700 * ones, 800 * ones, 100 * ones, 1, np.datetime64("2026-03-10T11:00"), source="measured"
    )
    plane = assess(
        HorizonProfile([0], [10]), Site(45, 0), [Plane("p", 30, 180)], weather=weather
    ).planes[0]
    assert np.isfinite(plane.solar_access.value).nonzero()[0].tolist() == [2, 12]
    assert plane.beam_access.value[2] == 1


SURFRAD = Path(os.environ.get("HORIZON_CHECKS", "nowhere")) / "sun" / "surfrad-slv16001.dat"


ALAMOSA = Site(37.70, -105.92, 2317.0)


@pytest.fixture(scope="module")
def measured_day():
    """NOAA SURFRAD, Alamosa, Colorado, 1 January 2016: a minute of GHI, DNI, DHI a row."""
    if not SURFRAD.exists():
        pytest.skip("HORIZON_CHECKS names no folder with the file")
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # pvlib's reader uses what pandas is about to drop
        return pvlib.iotools.read_surfrad(SURFRAD)[0]


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
    settings = Settings(year=2016)
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
        disc_above(height - edge, 0.2665)
        for edge in (0.0, horizon.elevation_at(sun["azimuth"].to_numpy()))
    )
    offered, received = (beam * level)[up].sum(), (beam * over)[up].sum()
    assert plane.beam_access.value[0] == pytest.approx(received / offered, abs=1e-6)
    assert plane.unshaded_beam_kwh_m2[0] == pytest.approx(offered / 60_000, rel=1e-6)
    sunward = (beam + parts["poa_circumsolar"]) * level
    sky = (sunward + parts["poa_isotropic"])[up].sum() / 60_000
    ground = 0.2 * values["ghi"][up].sum() * (1 - np.cos(np.radians(40))) / 2 / 60_000
    assert plane.unshaded_kwh_m2[0] == pytest.approx(sky + ground, rel=1e-6)


@pytest.mark.parametrize("seed", range(6))
def test_a_damaged_file_is_refused_or_read_but_never_breaks(tmp_path, seed):
    noise = np.random.default_rng(seed)
    lines = CAROLINA.read_bytes().splitlines()
    for _ in range(3):
        row = int(noise.choice([0, 1, 2, noise.integers(len(lines))]))
        cells = lines[row].split(b",")
        cells[noise.integers(len(cells))] = [b"nan", b"inf", b"\xff\x00", b"9" * 400, b'"'][
            noise.integers(5)
        ]
        lines[row] = b",".join(cells)
    file = tmp_path / "damaged"
    file.write_bytes(b"\n".join(lines))
    try:
        weather = read_weather(file)
    except InputError as error:
        assert str(file) in str(error)  # noqa: PT017
        assert str(error).isprintable()  # noqa: PT017
    else:
        assert len(weather.dni_wm2) == 8760


@pytest.mark.parametrize("row", [2, 3, 5000])
@pytest.mark.parametrize(
    "damage",
    [
        lambda cells: [*cells[:4], b"bright", *cells[5:]],
        lambda cells: [b"13/45/1988", *cells[1:]],
        lambda cells: [b"yesterday", *cells[1:]],
        lambda cells: [*cells, *cells],
    ],
    ids=["no number", "no day of a year", "no date", "too many cells"],
)
def test_a_damaged_line_of_a_tmy3_file_is_named(tmp_path, row, damage):
    lines = CAROLINA.read_bytes().splitlines()
    lines[row] = b",".join(damage(lines[row].split(b",")))
    file = tmp_path / "damaged.csv"
    file.write_bytes(b"\n".join(lines))
    with pytest.raises(InputError) as caught:
        read_weather(file)
    assert caught.value.where == f"{file}, line {row + 1}"


def test_a_damaged_line_of_an_epw_file_is_named(tmp_path, table):
    file = tmp_path / "damaged.epw"
    as_epw(table, file)
    lines = file.read_text().splitlines()
    cells = lines[4000].split(",")
    cells[14] = "bright"
    lines[4000] = ",".join(cells)
    file.write_text("\n".join(lines))
    with pytest.raises(InputError) as caught:
        read_weather(file)
    assert caught.value.where == f"{file}, line 4001"
