"""The report for a browser: one file, asked for with a finger."""

import json
import re
import shutil
from dataclasses import replace
from pathlib import Path

import pandas as pd
import pvlib
import pytest

from logger.access import carried
from logger.report.browser_page import browser_page


@pytest.fixture
def report(report_of):
    return report_of()


def data_of(page: str) -> dict:
    return json.loads(re.search(r'id="data">(.*?)</script>', page, re.S)[1])


def test_it_is_small_and_asks_nobody_for_anything(report):
    page = browser_page(report)
    assert len(page.encode()) < 1.5e6
    assert "://" not in page
    assert "default-src 'none'" in page
    for words in ("95 %", "ladder", "Never look at the sun", "trees grow and are cut"):
        assert words in page


def test_the_sun_stands_where_pvlib_has_it(report):
    sun, site = data_of(browser_page(report))["sun"], report.points[0].site
    # 21 June, 12:00 and 15:00 apparent solar time: UTC less the longitude and equation of time.
    for hour in (12, 15):
        minutes = pvlib.solarposition.equation_of_time_spencer71(172)
        utc = pd.Timestamp(f"{sun['year']}-06-21", tz="UTC") + pd.Timedelta(
            hours=hour - site.longitude_deg / 15, minutes=-float(minutes)
        )
        there = pvlib.solarposition.get_solarposition(
            pd.DatetimeIndex([utc]), site.latitude_deg, site.longitude_deg, altitude=site.altitude_m
        )
        i = 171 * 48 + 2 * hour
        assert sun["azimuth"][i] == pytest.approx(float(there["azimuth"].iloc[0]), abs=0.6)
        assert sun["elevation"][i] == pytest.approx(
            float(there["apparent_elevation"].iloc[0]), abs=0.2
        )
    assert sun["elevation"][0] is None  # midnight


def test_the_horizon_is_the_points_own(report):
    (told, *_), point = data_of(browser_page(report))["points"], report.points[0]
    profile = point.horizon.profile
    for azimuth in (100, 150, 200):
        assert told["height"][azimuth] == pytest.approx(profile.elevation_at(azimuth), abs=0.06)


def test_a_module_above_the_sight_sees_a_lower_horizon_as_in_the_document(report):
    point = report.points[0]
    seen = replace(point.horizon.profile, rise_m=-2.0)
    raised = replace(point, horizon=replace(point.horizon, profile=seen))
    (told,) = data_of(browser_page(replace(report, points=(raised,))))["points"]
    for azimuth in (100, 160, 240):
        assert told["height"][azimuth] == pytest.approx(
            carried(seen).elevation_at(azimuth), abs=0.06
        )
        assert told["height"][azimuth] < seen.elevation_at(azimuth) - 1.0


def test_a_name_is_never_markup(report):
    evil = "</script><script>document.title='run'</script><b>[[DATA]]"
    job = replace(report.job, name=evil)
    points = tuple(replace(point, name=evil) for point in report.points)
    page = browser_page(replace(report, job=job, points=points))
    assert "<b>" not in page
    assert "<script>document" not in page
    assert data_of(page)["points"][0]["name"] == evil


def test_a_finger_reads_what_stands_there(report, tmp_path: Path):
    api = pytest.importorskip("playwright.sync_api", reason="playwright is not installed")
    if (path := shutil.which("chromium")) is None:
        pytest.skip("no chromium on this machine")
    file = tmp_path / "index.html"
    file.write_text(browser_page(report), encoding="utf-8")
    asked: list[str] = []
    with api.sync_playwright() as driver:
        browser = driver.chromium.launch(executable_path=path, args=["--no-sandbox"])
        page = browser.new_page(viewport={"width": 390, "height": 844})
        page.on("request", lambda request: asked.append(request.url))
        page.goto(file.as_uri())
        first = page.locator("output").first
        noon = first.inner_text()
        assert "06-21, 12:00 solar time: sun at 180" in noon
        assert "clear, above" in noon
        page.locator("canvas").first.click(position={"x": 100, "y": 250})
        assert first.inner_text() != noon
        assert page.evaluate("document.documentElement.scrollWidth") <= 390
        browser.close()
    assert asked == [file.as_uri()]
