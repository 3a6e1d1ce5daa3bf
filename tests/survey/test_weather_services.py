"""Weather from a data service, against a server on loopback that answers as the services do.

The answers are made here by hand in the formats that pvlib's readers know; no service is asked.
"""

import datetime as dt
import json
import shutil
import tomllib
from contextlib import contextmanager
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from threading import Event, Thread
from urllib.parse import parse_qs, urlsplit

import numpy as np
import pandas as pd
import pvlib
import pytest

from logger.access import read_weather
from logger.errors import InputError
from logger.site import Site
from logger.survey import weather_services
from logger.survey.demo import shipped_survey
from logger.survey.weather_services import Asking, answer_to, typical_year

SITE = Site(46.05, 14.51, 310.0)
TODAY = dt.date(2026, 5, 14)


def hours(year=2010):
    """Hours of a year, with pvlib's clear sky dimmed: a light that could be the site's."""
    times = pd.date_range(f"{year}-01-01", f"{year}-12-31 23:00", freq="h", tz="UTC")
    place = pvlib.location.Location(SITE.latitude_deg, SITE.longitude_deg, altitude=310)
    sky = place.get_clearsky(times + pd.Timedelta("30min")) * 0.7
    return times, sky


@pytest.fixture(scope="session")
def pvgis_answer():
    times, sky = hours()
    lines = ["Latitude (decimal degrees): 46.050", "Longitude (decimal degrees): 14.510"]
    lines += ["Elevation (m): 310.0", "Irradiance Time Offset (h): 0.5", "month,year"]
    lines += [f"{month},2010" for month in range(1, 13)]
    lines += ["time(UTC),T2m,RH,G(h),Gb(n),Gd(h),IR(h),WS10m,WD10m,SP"]
    lines += [
        f"{when:%Y%m%d:%H%M},10.0,50,{row.ghi:.1f},{row.dni:.1f},{row.dhi:.1f},300,2.0,0,98000"
        for when, row in zip(times, sky.itertuples(), strict=True)
    ]
    return "\n".join([*lines, "", "made by a test"]).encode()


def power_answer():
    """Two whole years, the second with a leap day, each a little brighter than the one before."""
    _, sky = hours()
    years = []
    for year, brighter in ((2023, 0.99), (2024, 1.01)):
        times = pd.date_range(f"{year}-01-01", f"{year}-12-31 23:00", freq="h")
        light = pd.concat([sky, sky[-24:]])[: len(times)] * brighter
        years.append(light.set_axis(times.strftime("%Y%m%d%H")))
    names = [f"ALLSKY_SFC_SW_{kind}" for kind in ("DWN", "DNI", "DIFF")]
    columns = pd.concat(years).set_axis(names, axis=1).assign(T2M=10.0, WS10M=2.0).round(2)
    columns.iloc[12, 0] = -999.0
    return json.dumps(
        {
            "type": "Feature",
            "geometry": {"type": "Point", "coordinates": [14.51, 46.05, 350.0]},
            "properties": {"parameter": columns.to_dict()},
            "header": {"title": "made by a test", "fill_value": -999.0, "time_standard": "UTC"},
            "parameters": {},
            "times": {},
        }
    ).encode()


@contextmanager
def server(answer):
    """A server on loopback; the answer is called with a request's handler. Yields its address."""
    asked = []

    class Handler(BaseHTTPRequestHandler):
        def do_GET(self):
            asked.append(self.path)
            answer(self)

        def log_message(self, *_):
            pass

    with ThreadingHTTPServer(("127.0.0.1", 0), Handler) as serving:
        serving.daemon_threads = True
        Thread(target=serving.serve_forever, daemon=True).start()
        try:
            yield f"http://127.0.0.1:{serving.server_port}/", asked
        finally:
            serving.shutdown()


def sends(content, code=200, **headers):
    def answer(handler):
        handler.send_response(code)
        for name, value in ({"Content_Length": len(content)} | headers).items():
            handler.send_header(name.replace("_", "-"), str(value))
        handler.end_headers()
        handler.wfile.write(content)

    return answer


@contextmanager
def services(monkeypatch, pvgis, power=None):
    """Both services on loopback; PVGIS under /pvgis/, NASA POWER under /power."""

    def answer(handler):
        (pvgis if handler.path.startswith("/pvgis/") else power)(handler)

    with server(answer) as (address, asked):
        monkeypatch.setattr(pvlib.iotools.pvgis, "URL", f"{address}pvgis/")
        monkeypatch.setattr(pvlib.iotools.nasa_power, "URL", f"{address}power")
        yield asked


@pytest.fixture
def job(tmp_path):
    return shutil.copytree(shipped_survey(), tmp_path / "alders")


def test_the_answer_is_kept_byte_for_byte_with_where_it_is_from(
    monkeypatch, run, job, pvgis_answer
):
    with services(monkeypatch, sends(pvgis_answer)) as asked:
        done = run("weather", job, "--fetch")
    assert done.code == 0, done.err
    (path,) = (job / "weather").iterdir()
    assert path.read_bytes() == pvgis_answer
    (question,) = (parse_qs(urlsplit(one).query) for one in asked)
    assert question["usehorizon"] == ["0"]
    assert (question["lat"], question["lon"]) == (["46.05"], ["14.51"])
    told = done.err.index("asking 127.0.0.1 for a typical year of PVGIS: http://127.0.0.1")
    assert told < done.err.index("licence:")
    kept = tomllib.loads((job / "job.toml").read_text(encoding="utf-8"))["weather"]
    assert kept["file"] == "weather/pvgis-46.05-14.51.csv"
    assert kept["address"].endswith(asked[0])
    assert kept["fetched"].endswith("Z")
    assert "2011/833/EU" in kept["licence"]
    assert kept["sha256"] == read_weather(path).sha256
    assert "pvgis-46.05-14.51.csv" in run("compare", job, "--set", "draws=0").out


def test_where_pvgis_has_none_the_mean_of_ten_years_of_power_is_taken_and_called_so(
    monkeypatch, run, job
):
    none = json.dumps({"message": "Location over the sea. Please, select another location"})
    with services(monkeypatch, sends(none.encode(), 400), sends(power_answer())) as asked:
        done = run("weather", job, "--fetch")
    assert done.code == 0, done.err
    assert "PVGIS has none there: Location over the sea" in done.err
    question = parse_qs(urlsplit(asked[1]).query)
    last = dt.datetime.now(dt.UTC).year - 2
    assert (question["start"], question["end"]) == ([f"{last - 9}0101"], [f"{last}1231"])
    assert "Sky: mean of the years 2023 to 2024 of NASA POWER, power-46.05-14.51.json" in done.out
    weather = read_weather(job / "weather" / "power-46.05-14.51.json")
    _, sky = hours()
    assert weather.ghi_wm2.sum() == pytest.approx(sky.ghi.sum(), rel=1e-3)
    assert np.isfinite(weather.ghi_wm2).all()  # one missing hour of two is none


def redirects(handler):
    sends(b"", 302, Location="http://another.invalid/")(handler)


def breaks_off(handler):
    sends(b"Latitude", 200, Content_Length=1000)(handler)
    handler.wfile.flush()
    handler.close_connection = True


@pytest.mark.parametrize(
    ("answer", "told"),
    [
        (lambda _: sends(b"busy", 503), "answers with error 503"),
        (lambda _: redirects, "sends on to another host, another.invalid"),
        (lambda _: breaks_off, "broke off after 8 of 1000 bytes"),
        (lambda _: sends(b"<html>Welcome</html>"), "is no weather of a known format"),
        (lambda good: sends(good.replace(b"46.050", b"12.050", 1)), "3781 km from the site"),
        (
            lambda good: sends(good.replace(b"20100601:0100", b"20100601:0200", 1)),
            "row 3626 of 8760 bears the time 01 Jun 02:00",
        ),
    ],
    ids=["error", "another host", "truncated", "no weather", "another place", "out of order"],
)
def test_what_is_no_answer_changes_nothing(monkeypatch, run, job, pvgis_answer, answer, told):
    before = (job / "job.toml").read_bytes()
    with services(monkeypatch, answer(pvgis_answer)):
        done = run("weather", job, "--fetch")
    assert done.code == 3
    assert told in done.err
    assert (job / "job.toml").read_bytes() == before
    assert not (job / "weather").exists()


def test_a_service_may_send_on_to_another_address_of_its_own():
    def moved(handler):
        (sends(b"the year") if handler.path == "/new" else sends(b"", 302, Location="/new"))(
            handler
        )

    with server(moved) as (address, asked):
        assert answer_to(Asking("moved", f"{address}old", "x", "")) == b"the year"
    assert asked == ["/old", "/new"]


def test_a_slow_server_is_given_up(monkeypatch):
    asleep = Event()

    def drips(handler):
        handler.send_response(200)
        handler.end_headers()
        while not asleep.is_set():
            try:
                handler.wfile.write(b"x")
                handler.wfile.flush()
            except OSError:
                return

    for slow in (drips, lambda _: asleep.wait(20)):
        with server(slow) as (address, _):
            with pytest.raises(InputError, match=r"within 0.2 s"):
                answer_to(Asking("slow", address, "x", ""), 0.2)
            asleep.set()
        asleep.clear()


def test_an_answer_without_end_is_cut_at_the_limit(monkeypatch):
    monkeypatch.setattr(weather_services, "MOST_BYTES", 1000)
    with server(sends(bytes(5000))) as (address, _), pytest.raises(InputError, match="more than"):
        answer_to(Asking("large", address, "x", ""))


def test_the_services_themselves_are_asked_over_https_and_before_that_it_is_said():
    told = []

    def stop(text):
        told.append(text)
        raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        typical_year(SITE, TODAY, stop)
    assert "https://re.jrc.ec.europa.eu/" in told[0]
    assert weather_services.nasa_power(SITE, TODAY).address.startswith(
        "https://power.larc.nasa.gov/"
    )
    with pytest.raises(InputError, match="over HTTPS only"):
        answer_to(Asking("x", "http://example.invalid/", "x", ""))


@pytest.mark.parametrize("as_file", [False, True])
def test_twelve_monthly_means_are_a_sky(run, job, tmp_path, as_file):
    # Of Ljubljana, from memory; the sum is near 1200 kWh/m2 a year.
    means = "1.2,2.1,3.3,4.2,5.3,5.8,6.1,5.2,3.7,2.3,1.3,0.9"
    if as_file:
        (tmp_path / "means.txt").write_text(means.replace(",", "\n"))
    done = run("weather", job, "--monthly", tmp_path / "means.txt" if as_file else means)
    assert done.code == 0, done.err
    assert (
        "Sky: monthly means of daily global horizontal irradiation, monthly-means.csv" in done.out
    )
    document = json.loads(run("replay", job, "yard", "--set", "draws=0", "--json", "-").out)
    assert document["sky"]["kind"] == "monthly means"
    year = document["planes"][0]["irradiation"]["unshaded_annual_kwh_per_m2"]
    assert 1200 < year < 1600
    # What that answer rests on stays beside other means; the same ones again are no new file.
    first = (job / "weather" / "monthly-means.csv").read_bytes()
    for others in (means, means.replace("0.9", "0.8")):
        assert run("weather", job, "--monthly", others).code == 0
    assert (job / "weather" / "monthly-means.csv").read_bytes() == first
    assert sorted(path.name for path in (job / "weather").iterdir()) == [
        "monthly-means-2.csv",
        "monthly-means.csv",
    ]
