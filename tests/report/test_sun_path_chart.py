"""The sun-path chart shows the sky of the site, in either hemisphere and at the odd places."""

from __future__ import annotations

import numpy as np
import pytest

from logger.angles import angle_between
from logger.profile import HorizonProfile, Obstruction
from logger.report import sky_charts, style
from logger.report.drawing import Panel, width_em
from logger.site import Site
from logger.sun_paths import sun_paths

SITES = {
    "46 north": Site(46.05, 14.5),
    "35 south": Site(-35.0, 149.0),
    "equator": Site(0.0, 10.0),
    "beyond the polar circle": Site(70.0, 25.0),
    "longitude 180": Site(52.0, 180.0),
}


@pytest.fixture(scope="module")
def skyline() -> HorizonProfile:
    azimuth = np.arange(0.0, 360.0, 2.0)
    elevation = 6 + 4 * np.sin(np.radians(3 * azimuth))
    measured = ~((azimuth > 280) & (azimuth < 320))
    return HorizonProfile(
        azimuth,
        np.where(measured, elevation, np.nan),
        np.full(azimuth.shape, 0.5),
        measured,
        (Obstruction("lime $tree_1$ <b>", 130.0, 160.0, "deciduous"),),
    )


def chart(site: Site, profile: HorizonProfile, hours: str = "solar", **more: float) -> Panel:
    (panel,) = sky_charts.sun_path_chart(sun_paths(site, **more), profile, hours=hours).panels
    return panel


def texts_of(panel: Panel) -> list[str]:
    return [words.text for words in panel.words]


def drawn_lines(panel: Panel) -> list[tuple[np.ndarray, np.ndarray]]:
    """Lines in data coordinates: those of tracks and hours, and the skyline."""
    paths = [path for lines in panel.lines if lines.frame == "data" for path in lines.paths]
    assert len(paths) > 10
    return [(path[:, 0], path[:, 1]) for path in paths]


def extents(panel: Panel) -> list[tuple[str, float, float, float, float]]:
    """What room each text takes on paper: left, right, top, bottom. [pt]"""
    found = []
    for words in panel.words:
        if words.turned:
            continue
        ((x, y),) = panel.on_paper([(words.x, words.y)], words.frame)
        x, y = x + words.right_pt, y - words.up_pt
        rows = words.text.split("\n")
        wide = max(width_em(row, words.bold) for row in rows) * words.size_pt
        tall = (0.73 + words.leading * (len(rows) - 1)) * words.size_pt
        left = x - wide * {"left": 0, "middle": 0.5, "right": 1}[words.across]
        top = y - tall * {"base": 1, "middle": 0.5, "top": 0}[words.upright]
        found.append((words.text, left, left + wide, top, top + tall))
    return found


@pytest.mark.parametrize("name", SITES)
def test_the_middle_of_the_chart_is_the_equators_side(name, skyline):
    site = SITES[name]
    at = {words.text: words.x for words in chart(site, skyline).words}
    assert at["N\n0" if site.latitude_deg < 0 else "S\n180"] == 0
    assert "azimuth, clockwise from true north [°]" in at
    assert "elevation above level [°]" in at


@pytest.mark.parametrize("name", SITES)
def test_no_line_crosses_the_chart_from_one_end_to_the_other(name, skyline):
    panel = chart(SITES[name], skyline)
    for x, y in drawn_lines(panel):
        seen = np.asarray(y, dtype=float) < 85
        leap = np.abs(np.diff(np.where(seen, x, np.nan)))
        assert not (leap > 120).any()


def test_each_track_is_labelled_with_its_dates(skyline):
    panel = chart(SITES["46 north"], skyline)
    assert {"21 Jun", "21 Dec"} <= set(texts_of(panel))
    assert any(t.startswith("21 Mar · 2") and t.endswith("Sep") for t in texts_of(panel))


def test_a_day_without_sun_is_named(skyline):
    panel = chart(SITES["beyond the polar circle"], skyline)
    assert "sun below the level horizon all day: 21 Dec" in texts_of(panel)


def test_what_was_not_measured_is_hatched_and_says_so(skyline):
    panel = chart(SITES["46 north"], skyline)
    (hatched,) = [areas for areas in panel.areas if areas.hatch]
    (shape,) = hatched.outlines
    ends = shape[:, 0].min(), shape[:, 0].max()
    assert ends == (angle_between(280, 180), angle_between(320, 180))
    assert "not measured" in texts_of(panel)


def test_an_obstructions_name_is_written_as_it_is(skyline):
    sheet = sky_charts.sun_path_chart(sun_paths(SITES["46 north"]), skyline)
    assert "lime $tree_1$ <b>" in texts_of(sheet.panels[0])
    assert "lime $tree_1$ &lt;b&gt;" in sheet.svg().decode()


def test_labels_do_not_overlap(skyline):
    rooms = extents(chart(SITES["46 north"], skyline))
    assert len(rooms) > 20
    for k, (_, left, right, top, bottom) in enumerate(rooms):
        for _, other_left, other_right, other_top, other_bottom in rooms[:k]:
            assert (
                right <= other_left or other_right <= left
                or bottom <= other_top or other_bottom <= top
            )  # fmt: skip


def a_wall(height_deg: float) -> HorizonProfile:
    azimuth = np.array([100.0, 100.0, 260.0, 260.0])
    return HorizonProfile(azimuth, np.array([3.0, height_deg, height_deg, 3.0]))


@pytest.mark.parametrize("height_deg", [12.0, 30.0, 45.0, 64.0])
@pytest.mark.parametrize("name", ["46 north", "35 south", "equator"])
def test_no_date_lies_over_the_skyline(name, height_deg):
    panel = chart(SITES[name], a_wall(height_deg))
    middle = SITES[name].equatorward_azimuth_deg
    dates = [room for room in extents(panel) if room[0].split()[-1] in style.MONTHS]
    assert len(dates) == 7
    for _, left, right, _, bottom in dates:
        across = np.linspace(left, right, 40)
        x = (across - panel.left_pt) / panel.width_pt * 360 - 180
        skyline = a_wall(height_deg).elevation_at((x + middle) % 360)
        (_, line), *_ = panel.on_paper([(0.0, skyline.max())])
        assert bottom <= line


def test_a_track_behind_the_skyline_is_told_apart_by_a_stem():
    panel = chart(SITES["46 north"], a_wall(40.0))
    stems = [
        path
        for lines in panel.lines
        if lines.colour == style.SUN_DEEP
        for path in lines.paths
    ]  # fmt: skip
    # At 46 north the noon sun stands at 90 - 46 - 23.4 = 20.5 degrees in December.
    assert min(stem[0, 1] for stem in stems) == pytest.approx(20.5, abs=0.1)
    assert all(stem[1, 1] > 40 for stem in stems)


def test_the_same_chart_is_the_same_file(skyline):
    paths = sun_paths(SITES["46 north"])
    first, second = (sky_charts.sun_path_chart(paths, skyline).svg() for _ in range(2))
    assert first == second


def test_clock_hours_need_a_clock(skyline):
    with pytest.raises(ValueError, match="clock"):
        sky_charts.sun_path_chart(sun_paths(SITES["46 north"]), skyline, hours="clock")
    panel = chart(SITES["46 north"], skyline, "clock", utc_offset_h=1.0)
    assert any("hours in UTC+01:00" in t for t in texts_of(panel))


def test_the_band_at_a_vertical_edge_ends_at_its_sides():
    azimuth = np.array([0.0, 80.0, 90.0, 99.0, 100.0, 100.0, 101.0, 110.0, 120.0, 300.0])
    elevation = np.array([4.0, 4.0, 4.0, 4.0, 4.0, 30.0, 30.0, 30.0, 30.0, 30.0])
    error = np.array([0.5, 0.5, 0.5, 13.0, 13.0, 13.0, 13.0, 0.5, 0.5, 0.5])
    profile = HorizonProfile(azimuth, elevation, error)
    panel = chart(SITES["46 north"], profile)
    bands = [outline for a in panel.areas if a.fill == style.BAND for outline in a.outlines]
    heights = np.concatenate([outline[:, 1] for outline in bands])
    assert heights.max() == pytest.approx(30 + 1.96 * 0.5)
    assert heights.min() == pytest.approx(4 - 1.96 * 0.5)
