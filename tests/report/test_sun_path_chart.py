"""The sun-path chart shows the sky of the site, in either hemisphere and at the odd places."""

from __future__ import annotations

import numpy as np
import pytest

from logger.geometry import angle_between
from logger.horizon import HorizonProfile, Obstruction
from logger.report import sky_charts, style
from logger.report.lettering import lettering
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


def drawn_lines(axes, read) -> list[tuple[np.ndarray, np.ndarray]]:
    """Lines in data coordinates: those of tracks and hours, and the skyline."""
    in_data = [d for d in read(axes).lines if d.patch.get_data_transform() == axes.transData]
    segments = [part for drawn in in_data for part in drawn.parts]
    segments += [line.get_xydata() for line in axes.lines if line.get_transform() == axes.transData]
    assert len(segments) > 10
    return [(s[:, 0], s[:, 1]) for s in segments]


@pytest.mark.parametrize("name", SITES)
def test_the_middle_of_the_chart_is_the_equators_side(name, skyline, read):
    site = SITES[name]
    axes = sky_charts.sun_path_chart(sun_paths(site), skyline).axes[0]
    at = {text: x for text, (x, _) in read(axes).words.items()}
    assert at["N\n0" if site.latitude_deg < 0 else "S\n180"] == 0
    assert "azimuth, clockwise from true north [°]" in at
    assert "elevation above level [°]" in at


@pytest.mark.parametrize("name", SITES)
def test_no_line_crosses_the_chart_from_one_end_to_the_other(name, skyline, read):
    axes = sky_charts.sun_path_chart(sun_paths(SITES[name]), skyline).axes[0]
    for x, y in drawn_lines(axes, read):
        seen = np.asarray(y, dtype=float) < 85
        leap = np.abs(np.diff(np.where(seen, x, np.nan)))
        assert not (leap > 120).any()


def test_each_track_is_labelled_with_its_dates(skyline, read):
    axes = sky_charts.sun_path_chart(sun_paths(SITES["46 north"]), skyline).axes[0]
    assert {"21 Jun", "21 Dec"} <= read(axes).words.keys()
    assert any(t.startswith("21 Mar · 2") and t.endswith("Sep") for t in read(axes).words)


def test_dates_stand_on_what_is_seen_of_their_own_track(skyline, read):
    paths = sun_paths(SITES["46 north"])
    axes = sky_charts.sun_path_chart(paths, skyline).axes[0]
    (june,) = (t for t in paths.tracks if sky_charts._dates(t) == "21 Jun")
    x, y = read(axes).words["21 Jun"]
    up = np.interp(x + 180, june.azimuth_deg, june.elevation_deg)
    assert y == pytest.approx(up, abs=0.5)
    assert y > skyline.elevation_at(x + 180)


def test_a_day_without_sun_is_named(skyline, read):
    axes = sky_charts.sun_path_chart(sun_paths(SITES["beyond the polar circle"]), skyline).axes[0]
    assert "sun below the level horizon all day: 21 Dec" in read(axes).words


def test_what_was_not_measured_is_hatched_and_says_so(skyline, read):
    axes = sky_charts.sun_path_chart(sun_paths(SITES["46 north"]), skyline).axes[0]
    (hatched,) = (d for d in read(axes).boxes if d.patch.get_hatch())
    (shape,) = hatched.parts
    ends = shape[:, 0].min(), shape[:, 0].max()
    assert ends == (angle_between(280, 180), angle_between(320, 180))
    assert "not measured" in read(axes).words


def test_an_obstructions_name_is_written_as_it_is(skyline, tmp_path, read):
    figure = sky_charts.sun_path_chart(sun_paths(SITES["46 north"]), skyline)
    assert "lime $tree_1$ <b>" in read(figure.axes[0]).words
    svg = style.save(figure, tmp_path / "chart.svg").read_text(encoding="utf-8")
    assert "lime $tree_1$ &lt;b&gt;" in svg


@pytest.mark.parametrize(("gap", "colour"), [(0.0, style.PAPER), (3.0, style.INK)])
def test_white_letters_have_dark_behind_all_of_them(gap, colour):
    azimuth = np.arange(0.0, 360.0, 0.5)
    unmeasured = (azimuth > 200) & (azimuth <= 200 + gap)
    elevation = np.where(unmeasured, np.nan, 40.0)
    forest = (Obstruction("forest", 150.0, 250.0),)
    profile = HorizonProfile(azimuth, elevation, obstructions=forest)
    axes = sky_charts.sun_path_chart(sun_paths(SITES["46 north"]), profile).axes[0]
    (name,) = (word for word in lettering(axes).words if word.text == "forest")
    assert name.colour == colour


def test_labels_do_not_overlap(skyline):
    axes = sky_charts.sun_path_chart(sun_paths(SITES["46 north"]), skyline).axes[0]
    boxes = [room.box for _, room in lettering(axes).rooms(axes.figure.dpi / 72)]
    pairs = [(a, b) for k, a in enumerate(boxes) for b in boxes[:k]]
    assert not any(a.overlaps(b) for a, b in pairs)


@pytest.mark.parametrize("suffix", [".svg", ".png"])
def test_the_same_chart_is_the_same_file(suffix, skyline, tmp_path):
    paths = sun_paths(SITES["46 north"])
    first, second = (
        style.save(sky_charts.sun_path_chart(paths, skyline), tmp_path / f"{k}{suffix}")
        for k in "ab"
    )
    assert first.read_bytes() == second.read_bytes()


def test_clock_hours_need_a_clock(skyline, read):
    with pytest.raises(ValueError, match="clock"):
        sky_charts.sun_path_chart(sun_paths(SITES["46 north"]), skyline, hours="clock")
    with_clock = sun_paths(SITES["46 north"], utc_offset_h=1.0)
    axes = sky_charts.sun_path_chart(with_clock, skyline, hours="clock").axes[0]
    assert any("hours in UTC+01:00" in t for t in read(axes).words)


def test_the_callers_matplotlib_settings_are_left_alone(skyline):
    import matplotlib

    before = dict(matplotlib.rcParams)
    sky_charts.sun_path_chart(sun_paths(SITES["46 north"]), skyline)
    assert dict(matplotlib.rcParams) == before


def test_the_band_at_a_vertical_edge_ends_at_its_sides():
    azimuth = np.array([0.0, 80.0, 90.0, 99.0, 100.0, 100.0, 101.0, 110.0, 120.0, 300.0])
    elevation = np.array([4.0, 4.0, 4.0, 4.0, 4.0, 30.0, 30.0, 30.0, 30.0, 30.0])
    error = np.array([0.5, 0.5, 0.5, 13.0, 13.0, 13.0, 13.0, 0.5, 0.5, 0.5])
    profile = HorizonProfile(azimuth, elevation, error)
    axes = sky_charts.sun_path_chart(sun_paths(SITES["46 north"]), profile).axes[0]
    bands = [c for c in axes.collections if c.get_zorder() in (1.5, 4.0)]
    heights = np.concatenate([p.vertices[:, 1] for c in bands for p in c.get_paths()])
    assert heights.max() == pytest.approx(30 + 1.96 * 0.5)
    assert heights.min() == pytest.approx(4 - 1.96 * 0.5)
