"""Typical years: recognised by content, their flaws named, their year judged."""

import hashlib

import numpy as np
import pandas as pd
import pvlib
import pytest

from logger.access import Plane, SiteYear, read_weather
from logger.access.weather_files import FORMATS, MONTHLY
from logger.errors import InputError
from logger.horizon import HorizonProfile
from logger.site import Site

from .conftest import ALASKA, CAROLINA, NOTHING_DRAWN

MIAMI = CAROLINA.with_name("12839.tm2")  # Shipped with pvlib as well
LIGHT = ["ghi", "dni", "dhi"]
COLUMNS = [*LIGHT, "temp_air", "wind_speed"]


@pytest.fixture(scope="module")
def table():
    return pvlib.iotools.read_tmy3(CAROLINA, map_variables=True)[0][COLUMNS]


@pytest.fixture
def file(tmp_path):
    return tmp_path / "no-hint-in-the-name"


def written(file, heading, rows):
    file.write_text("\n".join([*heading, rows.to_csv(header=False, index=False)]))
    return file


def as_epw(table, file):
    """The same typical year in another format: rows of 35 columns under eight lines."""
    heading = ["LOCATION,Greensboro,-,USA,test,723170,36.100,-79.950,-5.0,270.0"]
    heading += ["DESIGN CONDITIONS,0", "TYPICAL/EXTREME PERIODS,0", "GROUND TEMPERATURES,0"]
    heading += ["HOLIDAYS/DAYLIGHT SAVINGS,No,0,0,0", "COMMENTS 1,made by a test", "COMMENTS 2,"]
    heading += ["DATA PERIODS,1,1,Data,Sunday, 1/ 1,12/31"]
    days = pd.date_range("2001-01-01", periods=8760, freq="h")
    told = dict(enumerate([2001, days.month, days.day, days.hour + 1, 60, "?"]))
    told |= dict(zip([13, 14, 15, 6, 21], table.to_numpy().T, strict=True))
    rows = pd.DataFrame({k: told.get(k, 0) for k in range(35)}, index=range(8760))
    return written(file, heading, rows)


def as_pvgis(table, file):
    """In UTC, five hours on; values of the middle of their hour, half an hour after the stamp."""
    heading = ["Latitude (decimal degrees): 36.100", "Longitude (decimal degrees): -79.950"]
    heading += ["Elevation (m): 270.0", "Irradiance Time Offset (h): 0.5", "month,year"]
    heading += [f"{month},2010" for month in range(1, 13)]
    heading += ["time(UTC),T2m,RH,G(h),Gb(n),Gd(h),IR(h),WS10m,WD10m,SP"]
    days = pd.date_range("2010-01-01", periods=8760, freq="h")
    later = table.iloc[np.roll(np.arange(8760), 5)]
    rows = later.assign(time=days.strftime("%Y%m%d:%H%M"), RH=50, IR=300, WD=0, SP=98000)
    order = ["time", "temp_air", "RH", *LIGHT, "IR", "wind_speed", "WD", "SP"]
    return written(file, heading, rows[order])


def as_nsrdb(table, file):
    """Stamps in the middle of the hour, local standard time."""
    heading = ["Source,Location ID,City,State,Country,Latitude,Longitude,Time Zone,Elevation,"
               "Local Time Zone", "NSRDB,1,-,-,-,36.1,-79.95,-5,270,-5",
               "Year,Month,Day,Hour,Minute,GHI,DNI,DHI,Temperature,Wind Speed"]  # fmt: skip
    days = pd.date_range("2009-01-01 00:30", periods=8760, freq="h")
    stamps = {part: getattr(days, part) for part in ("year", "month", "day", "hour", "minute")}
    return written(file, heading, table.assign(**stamps)[[*stamps, *COLUMNS]])


def test_the_29th_of_february_of_a_leap_year_is_left_out(table, file):
    lines = as_nsrdb(table, file).read_text().replace("\n2009,", "\n2012,").splitlines()
    first = 3 + 24 * (31 + 28)
    leap = [f"2012,2,29,{hour},30,500,500,50,10,1" for hour in range(24)]
    file.write_text("\n".join([*lines[:first], *leap, *lines[first:]]))
    found = read_weather(file)
    assert np.array_equal(found.ghi_wm2, table["ghi"])


def test_a_typical_year_is_read_as_pvlib_reads_it(carolina, table):
    for name in LIGHT:
        assert np.array_equal(getattr(carolina, f"{name}_wm2"), table[name])
    assert carolina.utc_offset_min == -300
    assert "TMY3" in carolina.source
    assert "GREENSBORO" in carolina.source
    assert carolina.sky.kind == "typical year"
    assert carolina.sky.sha256 == hashlib.sha256(CAROLINA.read_bytes()).hexdigest()


@pytest.mark.parametrize("write", [as_epw, as_pvgis, as_nsrdb])
def test_the_same_year_in_every_format_is_the_same_weather(carolina, table, file, write):
    found = read_weather(write(table, file))
    minutes = np.arange(0, 364 * 1440, 60) + int(np.datetime64("2026-01-02", "m").astype(int))
    rows, same = (weather.rows_at(minutes)[0] for weather in (found, carolina))
    for name in ("ghi_wm2", "dni_wm2", "dhi_wm2", "temperature_c", "wind_ms"):
        assert getattr(found, name)[rows] == pytest.approx(getattr(carolina, name)[same]), name
    assert found.place == Site(36.1, -79.95, 270.0)


@pytest.mark.parametrize(
    ("source", "latitude", "yearly"),
    [(ALASKA, 55.3, 829), (CAROLINA, 36.1, 1566), (MIAMI, 25.8, 1793)],
)
def test_the_years_that_pvlib_ships_are_sound_at_their_places(source, latitude, yearly):
    """Global horizontal irradiation of the year [kWh/m2], summed from the files' columns."""
    weather = read_weather(source)
    assert weather.place.latitude_deg == pytest.approx(latitude, abs=0.05)
    assert weather.ghi_wm2.sum() / 1000 == pytest.approx(yearly, abs=1)
    year = SiteYear(weather.place, [], NOTHING_DRAWN, weather)
    assert [c for c in year.checks if not c.passed] == []
    assert len(year.checks) == 9
    # Minutes keep the energy of their hours.
    (light,) = year.skies.lights
    for name in ("ghi_wm2", "dni_wm2", "dhi_wm2"):
        offered = getattr(weather, name).sum() * 60
        assert getattr(light, name).sum() == pytest.approx(offered, rel=0.005)


# --- Weather that is not what it says ---

HOURS = np.arange(8760)
RANDOM = np.random.default_rng(1)


@pytest.mark.parametrize(
    ("spoilt", "failed"),
    [
        (lambda t: t.mask(pd.Series(RANDOM.random(8760) < 0.6, t.index), 9999), "weather complete"),
        (lambda t: t.mask(pd.Series(t.index.month == 6, t.index), 9999), "weather complete"),
        (lambda t: t.iloc[np.roll(HOURS, 12)], "weather's beam by day"),
        (lambda t: t.iloc[RANDOM.permutation(8760)], "weather's beam by day"),
        (lambda t: t.iloc[HOURS.reshape(-1, 24)[:, ::-1].ravel()], "weather in step with the sun"),
        (lambda t: t.assign(**t[LIGHT] / 1000.0), "weather's year possible"),
        (lambda t: t.assign(dni=t["dni"] / 1000.0), "weather's parts add up"),
        # As a converter writes it that knows global irradiation alone
        (lambda t: t.assign(dni=0.0, dhi=t["ghi"]), "weather has a beam"),
        # As from a sensor with a wrong constant
        (lambda t: t.assign(**t[LIGHT] * 1.3), "weather's clear days possible"),
    ],
    ids=["gaps", "no June", "twelve hours off", "shuffled", "days reversed", "in kW", "beam in kW",
         "no beam", "too strong"],
)  # fmt: skip
def test_weather_that_is_not_the_site_s_fails_a_check(table, file, spoilt, failed):
    weather = read_weather(as_epw(spoilt(table), file))
    checks = SiteYear(weather.place, [], NOTHING_DRAWN, weather).checks
    assert failed in {c.check for c in checks if not c.passed}, checks
    assert all(c.why.endswith(tuple("abcdefghijklmnopqrstuvwxyz²%")) for c in checks)


def test_a_first_line_alone_is_refused(tmp_path):
    for whole in (MIAMI, CAROLINA):
        file = tmp_path / whole.name
        file.write_bytes(whole.read_bytes().split(b"\n")[0] + b"\n")
        with pytest.raises(InputError, match="no"):
            read_weather(file)


@pytest.mark.parametrize("mark", [-9900, 9999])
def test_missing_light_is_not_night(table, file, mark):
    """A day of it has no light that counts, neither of the sun nor of a dark sky."""
    holes = table.copy()
    holes.iloc[24 * 170 : 24 * 171, :3] = mark
    weather = read_weather(as_epw(holes, file))
    assert weather.known.sum() == 8760 - 24
    assert weather.notes == ("24 rows of the weather have no irradiance and are left out",)


@pytest.mark.parametrize(
    ("order", "refusal"),
    [
        (lambda rows: rows[::-1], r"row 1 of 8760 bears the time .*1 January"),
        (lambda rows: rows[12:] + rows[:12], r"row 1 of 8760 bears the time .*1 January"),
        (lambda rows: [*rows[:40], rows[41], rows[40], *rows[42:]], "row 41 of 8760 bears"),
        (lambda rows: [*rows[:100], *rows[99:-1]], "row 101 of 8760 bears"),
        (lambda rows: rows[:4000], "holds 4000 rows, not a whole year"),
    ],
    ids=["backwards", "rotated", "two exchanged", "one twice", "half a year"],
)
def test_rows_out_of_order_are_refused_with_the_first_of_them(file, order, refusal):
    lines = CAROLINA.read_text().splitlines()
    file.write_text("\n".join([*lines[:2], *order(lines[2:])]))
    with pytest.raises(InputError, match=refusal):
        read_weather(file)


@pytest.mark.parametrize(
    ("content", "reason"),
    [
        (None, "cannot be read"),
        (b"", "no weather of a known format"),
        (b"\x00\xff\xfe binary", "no weather of a known format"),
        (b"LOCATION,nowhere\n", "no sound EPW"),
        (b"LOCATION,a,b,c,d,e,1,2,3,4\n" + b"x\n" * 7 + b"1,2,3\n", "EPW"),
        (b"1,x\nDate (MM/DD/YYYY),Time\n", "no sound TMY3"),
        (b'703165,"A",AK,-9.0,55.3,-160.5,7\nDate (MM/DD/YYYY),Time (HH:MM)\nx,y\n', "TMY3"),
        (b"Latitude (decimal degrees): 45\nLongitude: 8\n", "no sound PVGIS CSV"),
        (b"Source,Location ID,City\nNSRDB,1,-\nYear,Month\n", "no sound NSRDB CSV"),
        (b'{"type":"Feature"}', "no sound NASA POWER JSON"),
        (MONTHLY.encode() + b"\n1,2\n", "no sound file of monthly means"),
        (b" 12839 MIAMI                  FL  -5 N 25 48 W  80 16     2\n 62\n", "no sound TMY2"),
    ],
)
def test_what_is_no_typical_year_is_refused(file, content, reason):
    if content is not None:
        file.write_bytes(content)
    with pytest.raises(InputError, match=reason) as caught:
        read_weather(file)
    assert str(file) in str(caught.value)
    assert len({f.name for f in FORMATS}) == 6


@pytest.mark.parametrize("seed", range(3))
@pytest.mark.parametrize("source", [CAROLINA, MIAMI])
def test_a_damaged_file_is_refused_or_read_but_never_breaks(file, seed, source):
    noise = np.random.default_rng(seed)
    lines = source.read_bytes().splitlines()
    damage = [b"nan", b"inf", b"\xff\x00", b"9" * 400, b'"']
    for _ in range(3):
        row = int(noise.choice([0, 1, 2, noise.integers(len(lines))]))
        cells = lines[row].split(b",")
        cells[noise.integers(len(cells))] = damage[noise.integers(5)]
        lines[row] = b",".join(cells)
    file.write_bytes(b"\n".join(lines))
    try:
        weather = read_weather(file)
    except InputError as error:
        assert str(file) in str(error)  # noqa: PT017
        assert str(error).isprintable()  # noqa: PT017
    else:
        assert len(weather.dni_wm2) == 8760


def as_tmy3(table, file):
    file.write_bytes(CAROLINA.read_bytes())


@pytest.mark.parametrize(
    ("write", "row", "cell", "damage"),
    [
        *((as_tmy3, row, *what) for row in (2, 5000) for what in (
            (4, "bright"), (0, "13/45/1988"), (0, "yesterday"), (4, "1," * 60))),
        (as_epw, 4000, 14, "bright"), (as_pvgis, 4000, 4, "bright"), (as_nsrdb, 4000, 6, "bright"),
    ],
)  # fmt: skip
def test_a_damaged_line_is_named(file, table, write, row, cell, damage):
    write(table, file)
    lines = file.read_text().splitlines()
    cells = lines[row].split(",")
    cells[cell] = damage
    lines[row] = ",".join(cells)
    file.write_text("\n".join(lines))
    with pytest.raises(InputError) as caught:
        read_weather(file)
    assert caught.value.where == f"{file}, line {row + 1}"


def test_weather_shares_access_out_differently_than_a_clear_sky(carolina):
    horizon = HorizonProfile([90, 90, 170, 170], [0, 25, 25, 0])
    planes = [Plane("roof", 30, 180)]
    found = SiteYear(carolina.place, planes, NOTHING_DRAWN, carolina).assess(horizon)
    unknown = SiteYear(carolina.place, planes).assess(horizon)
    assert (found.sky.kind, unknown.sky.kind) == ("typical year", "unknown")
    value, solar = found.planes[0].solar_access.value, unknown.planes[0].solar_access
    assert np.abs(value - solar.value).max() > 0.003
    assert solar.low[12] <= value[12] <= solar.high[12]
