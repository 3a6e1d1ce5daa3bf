"""Pictures show the site's sky, what is blocked and what is left; labels keep apart."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
import pytest
from matplotlib.axes import Axes
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.text import Text

from logger.access.shade import ShadeMap, shade_map
from logger.geometry import angle_between
from logger.horizon import HorizonProfile, Obstruction
from logger.report import charts
from logger.report.language import Words
from logger.report.sky_chart import blank_sheet, sun_path_chart
from logger.site import Site
from logger.sun import SunYear, sun_year
from logger.sun_paths import sun_paths

SITES = {
    "46 north": Site(46.05, 14.5),
    "35 south": Site(-35.0, 149.0),
    "equator": Site(0.0, 10.0),
    "beyond the polar circle": Site(70.0, 25.0),
    "longitude 180": Site(52.0, 180.0),
}
W = Words()


@pytest.fixture(scope="module")
def horizon() -> HorizonProfile:
    azimuth = np.arange(0.0, 360.0, 2.0)
    elevation = 6 + 4 * np.sin(np.radians(3 * azimuth))
    measured = ~((azimuth > 280) & (azimuth < 320))
    names = ((130, 160, "lime $tree_1$ <b>"), (161, 175, "gable house"), (176, 190, "corner block"))
    return HorizonProfile(
        azimuth,
        np.where(measured, elevation, np.nan),
        np.full(azimuth.shape, 0.5),
        measured,
        tuple(Obstruction(name, float(a), float(b)) for a, b, name in names),
    )


@pytest.fixture(scope="module")
def drawn(horizon) -> dict[str, Axes]:
    return {n: sun_path_chart(sun_paths(s), horizon, W).axes[0] for n, s in SITES.items()}


def texts(axes: Axes) -> dict[str, Text]:
    return {t.get_text(): t for t in axes.texts}


def ticks_of(axes: Axes) -> dict[str, float]:
    ticks = zip(axes.get_xticklabels(), axes.get_xticks(), strict=True)
    return {label.get_text(): float(x) for label, x in ticks}


@pytest.mark.parametrize(("name", "left"), [("46 north", "E\n90°"), ("35 south", "W\n270°")])
def test_the_sun_rises_over_the_east(name, left, drawn):
    axes = drawn[name]
    assert ticks_of(axes)[left] == -90
    track = sun_paths(SITES[name]).tracks[3]  # of March: it rises in the east
    drawn_x = next(line.get_xdata() for line in axes.lines if len(line.get_xdata()) >= len(
        track.azimuth_deg) and line.get_color() == charts.SUN)  # fmt: skip
    rises = int(np.flatnonzero(track.elevation_deg > 0)[0])
    assert np.sign(np.asarray(drawn_x)[rises]) == np.sign(ticks_of(axes)["E\n90°"])


@pytest.mark.parametrize("name", SITES)
def test_the_equators_side_is_in_the_middle_and_no_line_crosses_from_end_to_end(name, drawn):
    middle = "N\n0°" if SITES[name].latitude_deg < 0 else "S\n180°"
    assert ticks_of(drawn[name])[middle] == 0
    assert len(drawn[name].lines) > 10
    for line in drawn[name].lines:
        x, y = np.asarray(line.get_xydata()).T
        leap = np.abs(np.diff(np.where(y < 85, x, np.nan)))
        assert not (leap > 120).any()


def test_dates_stand_on_what_is_seen_of_their_own_track(drawn, horizon):
    paths = sun_paths(SITES["46 north"])
    written = texts(drawn["46 north"])
    for track in paths.tracks:
        x, y = written[" · ".join(W.day(d) for d in track.dates)].get_position()
        seen = track.elevation_deg > 0
        up = np.interp(x + 180, track.azimuth_deg[seen], track.elevation_deg[seen])
        assert y == pytest.approx(up, abs=0.5)
        assert not y < horizon.elevation_at(x + 180)


@pytest.mark.parametrize("name", SITES)
def test_labels_do_not_overlap_and_stay_inside(name, drawn):
    axes = drawn[name]
    canvas = FigureCanvasAgg(axes.figure)
    canvas.draw()  # a label on a stem finds its place when it is drawn
    placed = [t for t in axes.texts if not t.get_text().startswith(("no sun", "not measured"))]
    boxes = [Text.get_window_extent(t, canvas.get_renderer()) for t in placed]
    assert len(boxes) > 12
    pairs = [(a, b) for k, a in enumerate(boxes) for b in boxes[:k]]
    assert not any(a.overlaps(b) for a, b in pairs)
    assert all(axes.bbox.x0 - 1 <= b.x0 and b.x1 <= axes.bbox.x1 + 1 for b in boxes)


def test_what_is_not_seen_and_what_stands_there_is_written_as_it_is(drawn):
    assert any("no sun in sight: 21\xa0Dec" in t for t in texts(drawn["beyond the polar circle"]))
    axes = drawn["46 north"]
    (hatched,) = (p for p in axes.patches if p.get_hatch())
    ends = hatched.get_x(), hatched.get_x() + hatched.get_width()
    assert ends == (angle_between(280, 180), angle_between(320, 180))
    assert {"not measured", "lime $tree_1$ <b>"} <= set(texts(axes))
    assert "lime $tree_1$ &lt;b&gt;" in charts.drawn(axes.figure).decode()


def written_over(profile: HorizonProfile) -> dict[str, Text]:
    return texts(sun_path_chart(sun_paths(SITES["46 north"]), profile, W).axes[0])


def test_the_names_of_crowded_obstructions_that_are_long_keep_their_ends():
    names = [f"row house at the long weir, number {k}" for k in range(3)]
    spans = tuple(Obstruction(n, 100.0 + 30 * k, 128.0 + 30 * k) for k, n in enumerate(names))
    profile = HorizonProfile(np.arange(0.0, 360.0), np.full(360, 20.0), obstructions=spans)
    assert {t[-1] for t in written_over(profile) if t.startswith("row")} == {"0", "1", "2"}


@pytest.mark.parametrize(("gap", "colour"), [(0.0, charts.PAPER), (3.0, charts.INK)])
def test_white_letters_have_dark_behind_all_of_them(gap, colour):
    azimuth = np.arange(0.0, 360.0, 0.5)
    unmeasured = (azimuth > 200) & (azimuth <= 200 + gap)
    forest = (Obstruction("forest", 150.0, 250.0),)
    profile = HorizonProfile(azimuth, np.where(unmeasured, np.nan, 40.0), obstructions=forest)
    assert written_over(profile)["forest"].get_color() == colour


def test_the_band_at_a_vertical_edge_ends_at_its_sides():
    azimuth = np.array([0.0, 80.0, 90.0, 99.0, 100.0, 100.0, 101.0, 110.0, 120.0, 300.0])
    elevation = np.array([4.0, 4.0, 4.0, 4.0, 4.0, 30.0, 30.0, 30.0, 30.0, 30.0])
    error = np.array([0.5, 0.5, 0.5, 13.0, 13.0, 13.0, 13.0, 0.5, 0.5, 0.5])
    profile = HorizonProfile(azimuth, elevation, error)
    axes = sun_path_chart(sun_paths(SITES["46 north"]), profile, W).axes[0]
    bands = [c for c in axes.collections if c.get_zorder() in (1.5, 4.0)]
    heights = np.concatenate([p.vertices[:, 1] for c in bands for p in c.get_paths()])
    assert heights.max() == pytest.approx(30 + 1.96 * 0.5)
    assert heights.min() == pytest.approx(4 - 1.96 * 0.5)


def test_the_same_chart_is_the_same_file_and_leaves_the_callers_settings_alone(horizon):
    import matplotlib

    before = dict(matplotlib.rcParams)
    one, two = (sun_path_chart(sun_paths(SITES["46 north"]), horizon, W) for _ in range(2))
    for kind in ("svg", "png"):
        assert charts.drawn(one, kind) == charts.drawn(two, kind)
    assert dict(matplotlib.rcParams) == before


def test_the_blank_sheet_has_the_axes_of_the_report_and_no_sun_and_no_horizon(drawn):
    (sheet,) = blank_sheet(180.0, W).axes
    own = drawn["46 north"]
    assert ticks_of(sheet) == ticks_of(own)
    assert (sheet.get_xlabel(), sheet.get_ylabel()) == (own.get_xlabel(), own.get_ylabel())
    heights = [label.get_text() for label in sheet.get_yticklabels()]
    assert heights == ["0°", "10°", "20°", "30°", "40°", "50°", "60°"]
    assert [*sheet.lines, *sheet.collections, *sheet.patches, *sheet.texts] == []


# Hours of shade

ALDERS = Site(46.05, 14.5)


@pytest.fixture(scope="module")
def sun() -> SunYear:
    return sun_year(ALDERS, 2026)


def wall_to(height_deg: float) -> HorizonProfile:
    azimuth, elevation = [120.0, 120.0, 240.0, 240.0], [0.0, height_deg, height_deg, 0.0]
    return HorizonProfile(np.array(azimuth), np.array(elevation))


def cells_of(shade: ShadeMap) -> dict[tuple[float, float], str]:
    return {t.get_position(): t.get_text() for t in charts.shade_chart(shade, W).axes[0].texts}


def test_a_wall_to_the_south_blocks_the_winter_noon_and_leaves_june(sun):
    level = shade_map(HorizonProfile.level(), sun, ALDERS)
    up = np.isfinite(level.shaded)
    assert (up[5, 12], up[5, 0]) == (True, False)
    assert not np.any([level.shaded[up], level.unmeasured[up]])
    # At 46 north the noon sun stands at 90 - 46 - 23.4 = 20.6 degrees in December, 67.4 in June.
    shade = shade_map(wall_to(30.0), sun, ALDERS)
    assert (shade.shaded[11, 12], shade.shaded[5, 12]) == (1, 0)
    cells = cells_of(shade)
    assert cells[(12.5, 11.0)] == "100"
    assert (12.5, 5.0) not in cells


def test_a_bare_crown_shades_less_than_a_leafy_one_and_a_trunk_of_stone_all(sun):
    tall = wall_to(80.0)
    lime = tall.with_obstructions([Obstruction("lime", 120.0, 240.0, "deciduous")])
    wall = tall.with_obstructions([Obstruction("wall", 120.0, 240.0, "building")])
    december, june = (shade_map(lime, sun, ALDERS).shaded[month, 12] for month in (11, 5))
    assert 0.2 < december < 0.7 < june < 1.0
    assert shade_map(wall, sun, ALDERS).shaded[11, 12] == 1.0


def test_what_was_not_measured_is_neither_shade_nor_sun(sun):
    azimuth = np.arange(0.0, 360.0)
    profile = HorizonProfile(azimuth, np.where(azimuth < 180, 10.0, np.nan))
    shade = shade_map(profile, sun, ALDERS)
    assert (shade.unmeasured[5, 15], shade.shaded[5, 15], shade.unmeasured[5, 9]) == (1, 0, 0)
    assert cells_of(shade)[(15.5, 5.0)] == "?"


def test_january_is_on_top_and_a_month_without_sun_says_so():
    shaded = np.zeros((12, 24))
    shaded[11] = np.nan
    axes = charts.shade_chart(ShadeMap(np.arange(25.0), shaded, np.zeros((12, 24))), W).axes[0]
    assert [t.get_text() for t in axes.get_yticklabels()][:2] == ["Jan", "Feb"]
    assert axes.get_ylim()[0] > axes.get_ylim()[1]
    assert texts(axes)["no sun"].get_position()[1] == 11


# Access by month


def test_bars_and_intervals_stand_for_the_figures(access_of):
    planes = access_of(30.0).planes
    axes = charts.months_chart(planes, W).axes[0]
    for plane, bars, spans in zip(planes, axes.containers, axes.collections, strict=True):
        access = plane.solar_access
        assert [bar.get_height() for bar in bars] == pytest.approx(access.value * 100)
        ends = np.array([path.vertices[:, 1] for path in spans.get_paths()])
        np.testing.assert_allclose(ends, np.stack([access.low, access.high], axis=1) * 100)


def test_planes_stay_apart_in_grey():
    def grey(colour: str) -> float:
        red, green, blue = (int(colour[k : k + 2], 16) for k in (1, 3, 5))
        return 0.299 * red + 0.587 * green + 0.114 * blue  # luma of ITU-R BT.601

    for colours in (charts.PLANES, charts.SHADES):
        light = [grey(colour) for colour in colours]
        assert all(a - b > 20 for a, b in pairwise(light))


def test_the_cover_has_a_panel_a_point_and_says_which_is_not_fit(access_of):
    remarks = ("", "not fit", "", "")
    points = [
        (f"point {k}", remark, access_of(k).planes[0])
        for k, remark in zip((5, 10, 15, 20), remarks, strict=True)
    ]
    panels = charts.cover_chart(points, W, 60, 3).axes[:4]
    titles = [axes.get_title() or axes.get_title(loc="left") for axes in panels]
    assert titles == [name for name, *_ in points]
    assert ["".join(text.get_text() for text in axes.texts) for axes in panels] == list(remarks)
