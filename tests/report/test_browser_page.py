"""The report for a browser: one file, asked for with a finger."""

import json
import re
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


@pytest.fixture
def opened(browser, tmp_path: Path):
    """Open a page from a file, as on a phone or wider; in the end it asked for nothing more."""
    asked: list[str] = []
    pages = []
    file = tmp_path / "index.html"

    def open_page(text: str, width: int = 390, **more):
        file.write_text(text, encoding="utf-8")
        page = browser.new_page(viewport={"width": width, "height": 844}, **more)
        pages.append(page)
        page.on("request", lambda request: asked.append(request.url))
        page.on("pageerror", lambda error: asked.append(str(error)))
        page.goto(file.as_uri())
        return page

    yield open_page
    for page in pages:
        page.close()
    assert [url for url in asked if not url.startswith("data:")] == [file.as_uri()]


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


@pytest.mark.parametrize("rise_m", [0.0, -2.0])
def test_the_horizon_is_the_point_s_own_as_a_module_above_the_sight_sees_it(report, rise_m):
    point = report.points[0]
    seen = replace(point.horizon.profile, rise_m=rise_m)
    raised = replace(point, horizon=replace(point.horizon, profile=seen))
    (told,) = data_of(browser_page(replace(report, points=(raised,))))["points"]
    for azimuth in (100, 160, 240):
        height = told["height"][azimuth]
        assert height == pytest.approx(carried(seen).elevation_at(azimuth), abs=0.06)
        assert (height < seen.elevation_at(azimuth) - 1.0) == (rise_m < 0)


def test_a_name_is_never_markup(report):
    evil = "</script><script>document.title='run'</script><b>[[DATA]]"
    job = replace(report.job, name=evil)
    points = tuple(replace(point, name=evil) for point in report.points)
    page = browser_page(replace(report, job=job, points=points))
    assert "<b>" not in page
    assert "<script>document" not in page
    assert data_of(page)["points"][0]["name"] == evil


def test_a_finger_reads_what_stands_there(report, opened):
    page = opened(browser_page(report))
    first = page.locator("output").first
    noon = first.inner_text()
    assert "21 June 2026, 12:00 solar time: the sun at 180°" in noon
    assert "in sight above" in noon
    page.locator("canvas").first.click(position={"x": 100, "y": 250})
    assert first.inner_text() != noon
    assert page.evaluate("document.documentElement.scrollWidth") <= 390


def test_it_speaks_the_language_of_the_document(report, opened):
    page = opened(browser_page(report, "de"), locale="en-GB")
    noon = page.locator("output").first.inner_text()
    assert noon.startswith("21. Juni 2026, 12:00 Uhr Sonnenzeit: die Sonne bei 180")
    assert re.search(r"\d,\d° hoch, zu sehen über", noon)
    text = page.inner_text("main")
    for words in ("Januar", "95-%-Intervall", "Sicherheit, Vorschriften", "Nie in die Sonne sehen"):
        assert words in text
    for words in ("solar", "interval", "Never", "January", "horizon "):
        assert words not in text


def test_the_map_of_an_array_stands_in_it(roof, opened):
    text = browser_page(roof)
    assert len(text.encode()) < 1.5e6
    page = opened(text)
    image = page.get_by_role("img", name="Contours of solar access over the array")
    assert image.evaluate("image => image.naturalWidth") > 100
    assert "Over its whole area south roof keeps" in page.inner_text("main")
    assert page.get_by_role("cell", name="west eave").count() >= 1
    assert page.evaluate("document.documentElement.scrollWidth") <= 390


@pytest.mark.parametrize("forced", [None, "active"], ids=["colours", "forced colours"])
@pytest.mark.parametrize("width", [320, 1400])
def test_it_is_accessible(roof, opened, width, forced):
    axe = pytest.importorskip("axe_playwright_python.sync_playwright", reason="axe is missing")
    page = opened(browser_page(roof), width, forced_colors=forced, bypass_csp=True)
    assert page.evaluate("document.documentElement.scrollWidth") <= width
    assert axe.Axe().run(page).response["violations"] == []
