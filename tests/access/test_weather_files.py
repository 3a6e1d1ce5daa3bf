"""Typical years: recognised by content, their flaws named, their year judged."""

import hashlib
from pathlib import Path

import numpy as np
import pandas as pd
import pvlib
import pytest

from logger.access import Plane, SiteYear, read_weather
from logger.access.weather_files import FORMATS, MONTHLY
from logger.errors import InputError
from logger.horizon import HorizonProfile
from logger.site import Site

from .conftest import NOTHING_DRAWN

SHIPPED = Path(pvlib.__file__).parent / "data"
# Typical years that pvlib ships: Sand Point, Alaska; Greensboro, North Carolina; Miami, Florida.
ALASKA, CAROLINA = SHIPPED / "703165TY.csv", SHIPPED / "723170TYA.CSV"
MIAMI = SHIPPED / "12839.tm2"


@pytest.fixture(scope="module")
def carolina():
    return read_weather(CAROLINA)


@pytest.fixture(scope="module")
def table():
    return pvlib.iotools.read_tmy3(CAROLINA, map_variables=True)[0]


def as_epw(table, path):
    """The same typical year in another format: rows of 35 columns under eight lines."""
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


def as_pvgis(table, path):
    """In UTC, five hours on; values of the middle of their hour, half an hour after the stamp."""
    lines = ["Latitude (decimal degrees): 36.100", "Longitude (decimal degrees): -79.950"]
    lines += ["Elevation (m): 270.0", "Irradiance Time Offset (h): 0.5", "month,year"]
    lines += [f"{month},2010" for month in range(1, 13)]
    lines += ["time(UTC),T2m,RH,G(h),Gb(n),Gd(h),IR(h),WS10m,WD10m,SP"]
    rolled = table.iloc[np.roll(np.arange(8760), 5)]
    days = pd.date_range("2010-01-01", periods=8760, freq="h")
    for when, (_, row) in zip(days, rolled.iterrows(), strict=True):
        light = ",".join(str(row[name]) for name in ("ghi", "dni", "dhi"))
        lines.append(
            f"{when:%Y%m%d:%H%M},{row['temp_air']},50,{light},300,{row['wind_speed']},0,98000"
        )
    path.write_text("\n".join([*lines, "", "made by a test"]) + "\n")


def as_nsrdb(table, path):
    """Stamps in the middle of the hour, local standard time."""
    lines = [
        "Source,Location ID,City,State,Country,Latitude,Longitude,Time Zone,Elevation,"
        "Local Time Zone",
        "NSRDB,1,-,-,-,36.1,-79.95,-5,270,-5",
        "Year,Month,Day,Hour,Minute,GHI,DNI,DHI,Temperature,Wind Speed",
    ]
    days = pd.date_range("2009-01-01 00:30", periods=8760, freq="h")
    for when, (_, row) in zip(days, table.iterrows(), strict=True):
        light = ",".join(str(row[name]) for name in ("ghi", "dni", "dhi"))
        stamp = f"{when.year},{when.month},{when.day},{when.hour},{when.minute}"
        lines.append(f"{stamp},{light},{row['temp_air']},{row['wind_speed']}")
    path.write_text("\n".join(lines) + "\n")


def test_the_29th_of_february_of_a_leap_year_is_left_out(table, tmp_path):
    file = tmp_path / "leap.csv"
    as_nsrdb(table, file)
    lines = file.read_text().replace("\n2009,", "\n2012,").splitlines()
    first = 3 + 24 * (31 + 28)
    leap = [f"2012,2,29,{hour},30,500,500,50,10,1" for hour in range(24)]
    file.write_text("\n".join([*lines[:first], *leap, *lines[first:]]))
    found = read_weather(file)
    assert np.array_equal(found.ghi_wm2, table["ghi"])


def test_a_typical_year_is_read_as_pvlib_reads_it(carolina, table):
    for name in ("ghi", "dni", "dhi"):
        assert np.array_equal(getattr(carolina, f"{name}_wm2"), table[name])
    assert carolina.utc_offset_min == -300
    assert "TMY3" in carolina.source
    assert "GREENSBORO" in carolina.source
    sky = carolina.sky
    assert sky.kind == "typical year"
    assert sky.sha256 == hashlib.sha256(CAROLINA.read_bytes()).hexdigest()


@pytest.mark.parametrize("write", [as_epw, as_pvgis, as_nsrdb])
def test_the_same_year_in_every_format_is_the_same_weather(carolina, table, tmp_path, write):
    file = tmp_path / "no-hint-in-the-name"
    write(table, file)
    found = read_weather(file)
    minutes = np.arange(0, 364 * 1440, 60) + int(np.datetime64("2026-01-02", "m").astype(int))
    rows, same = (weather.rows_at(minutes)[0] for weather in (found, carolina))
    for name in ("ghi_wm2", "dni_wm2", "dhi_wm2", "temperature_c", "wind_ms"):
        assert getattr(found, name)[rows] == pytest.approx(getattr(carolina, name)[same]), name
    assert found.place == Site(36.1, -79.95, 270.0)


@pytest.mark.parametrize(
    ("file", "latitude", "yearly"),
    [(ALASKA, 55.3, 829), (CAROLINA, 36.1, 1566), (MIAMI, 25.8, 1793)],
)
def test_the_years_that_pvlib_ships_are_sound_at_their_places(file, latitude, yearly):
    """Global horizontal irradiation of the year [kWh/m2], summed from the files' columns."""
    weather = read_weather(file)
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


def rotated(table):
    return table.iloc[np.roll(np.arange(8760), 12)]


def shuffled(table):
    return table.iloc[np.random.default_rng(1).permutation(8760)]


def reversed_days(table):
    order = np.arange(8760).reshape(365, 24)[:, ::-1].ravel()
    return table.iloc[order]


def missing(share):
    def spoil(table):
        gone = np.random.default_rng(1).random(8760) < share
        return table.mask(pd.Series(gone, table.index), 9999)

    return spoil


def without_june(table):
    return table.mask(pd.Series(table.index.month == 6, table.index), 9999)


def minus_9900(table):
    """A tenth of the days."""
    gone = np.arange(8760) // 24 % 10 == 3
    return table.mask(pd.Series(gone, table.index), -9900)


def kilowatts(table):
    light = table.copy()
    light[["ghi", "dni", "dhi"]] /= 1000.0
    return light


def kilowatts_of_beam(table):
    light = table.copy()
    light["dni"] /= 1000.0
    return light


def stronger(table):
    """By three tenths, as from a sensor with a wrong constant."""
    return table.assign(**{name: table[name] * 1.3 for name in ("ghi", "dni", "dhi")})


def without_beam(table):
    """As a converter writes it that knows global irradiation alone."""
    return table.assign(dni=0.0, dhi=table["ghi"])


STEP, DARK, COMPLETE = "weather in step with the sun", "weather's beam by day", "weather complete"
POSSIBLE, PARTS = "weather's year possible", "weather's parts add up"


@pytest.mark.parametrize(
    ("spoil", "failed"),
    [
        (missing(0.6), {COMPLETE}),
        (missing(0.999), {COMPLETE}),
        (without_june, {COMPLETE}),
        (minus_9900, {COMPLETE}),
        (rotated, {DARK}),
        (shuffled, {DARK}),
        (reversed_days, {STEP}),
        (kilowatts, {POSSIBLE}),
        (kilowatts_of_beam, {PARTS}),
        (without_beam, {"weather has a beam"}),
        (stronger, {"weather's clear days possible"}),
    ],
    ids=lambda x: getattr(x, "__name__", ""),
)
def test_weather_that_is_not_the_site_s_fails_a_check(table, tmp_path, spoil, failed):
    file = tmp_path / "spoilt.epw"
    as_epw(spoil(table[["ghi", "dni", "dhi", "temp_air", "wind_speed"]]), file)
    weather = read_weather(file)
    checks = SiteYear(weather.place, [], NOTHING_DRAWN, weather).checks
    found = {c.check for c in checks if not c.passed}
    assert failed <= found, [(c.check, c.value, c.limit) for c in checks]
    assert all(c.why.endswith(tuple("abcdefghijklmnopqrstuvwxyz²%")) for c in checks)


def test_missing_light_is_not_night(carolina, table, tmp_path):
    """A day of -9900 or 9999 has no light that counts, neither of the sun nor of a dark sky."""
    file = tmp_path / "holes.epw"
    for mark in (-9900, 9999):
        holes = table.copy()
        holes.iloc[
            24 * 170 : 24 * 171, [holes.columns.get_loc(n) for n in ("ghi", "dni", "dhi")]
        ] = mark
        as_epw(holes, file)
        weather = read_weather(file)
        assert weather.known.sum() == 8760 - 24
        assert weather.notes == ("24 rows of the weather have no irradiance and are left out",)


@pytest.mark.parametrize(
    "order",
    [
        lambda rows: rows[::-1],
        lambda rows: rows[12:] + rows[:12],
        lambda rows: [*rows[:40], rows[41], rows[40], *rows[42:]],
        lambda rows: [*rows[:100], *rows[99:-1]],
    ],
    ids=["backwards", "rotated", "two exchanged", "one twice"],
)
def test_rows_out_of_order_are_refused_with_the_first_of_them(tmp_path, order):
    lines = CAROLINA.read_text().splitlines()
    file = tmp_path / "order.csv"
    file.write_text("\n".join([*lines[:2], *order(lines[2:])]))
    with pytest.raises(InputError, match=r"row \d+ of 8760 bears the time .*1 January"):
        read_weather(file)


def test_half_a_year_is_refused_and_a_missing_file_is(tmp_path):
    lines = CAROLINA.read_text().splitlines()
    half = tmp_path / "half.csv"
    half.write_text("\n".join(lines[:4000]))
    with pytest.raises(InputError, match="not a whole year"):
        read_weather(half)
    with pytest.raises(InputError, match="cannot be read"):
        read_weather(tmp_path / "none.epw")


@pytest.mark.parametrize(
    ("content", "reason"),
    [
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
def test_what_is_no_typical_year_is_refused(tmp_path, content, reason):
    file = tmp_path / "weather"
    file.write_bytes(content)
    with pytest.raises(InputError, match=reason) as caught:
        read_weather(file)
    assert str(file) in str(caught.value)
    assert len({f.name for f in FORMATS}) == 6


@pytest.mark.parametrize("seed", range(3))
@pytest.mark.parametrize("source", [CAROLINA, MIAMI])
def test_a_damaged_file_is_refused_or_read_but_never_breaks(tmp_path, seed, source):
    noise = np.random.default_rng(seed)
    lines = source.read_bytes().splitlines()
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


@pytest.mark.parametrize("row", [2, 5000])
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


@pytest.mark.parametrize(("write", "cell"), [(as_epw, 14), (as_pvgis, 4), (as_nsrdb, 6)])
def test_a_damaged_line_of_another_format_is_named(tmp_path, table, write, cell):
    file = tmp_path / "damaged"
    write(table, file)
    lines = file.read_text().splitlines()
    cells = lines[4000].split(",")
    cells[cell] = "bright"
    lines[4000] = ",".join(cells)
    file.write_text("\n".join(lines))
    with pytest.raises(InputError) as caught:
        read_weather(file)
    assert caught.value.where == f"{file}, line 4001"


def test_weather_shares_access_out_differently_than_a_clear_sky(carolina):
    horizon = HorizonProfile([90, 90, 170, 170], [0, 25, 25, 0])
    planes = [Plane("roof", 30, 180)]
    found = SiteYear(carolina.place, planes, NOTHING_DRAWN, carolina).assess(horizon)
    unknown = SiteYear(carolina.place, planes).assess(horizon)
    assert found.sky.kind == "typical year"
    assert unknown.sky.kind == "unknown"
    value, solar = found.planes[0].solar_access.value, unknown.planes[0].solar_access
    assert np.abs(value - solar.value).max() > 0.003
    assert solar.low[12] <= value[12] <= solar.high[12]
