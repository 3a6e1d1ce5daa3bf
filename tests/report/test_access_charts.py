"""Charts of figures: tiles of shade, losses, tilt and azimuth, points compared."""

from __future__ import annotations

import numpy as np
import pytest

from logger.access import BestPlane, PlaneMap
from logger.access.shade import ShadeMap, shade_map
from logger.horizon import HorizonProfile, Obstruction
from logger.orientation.sight_lines import SightLines
from logger.report import access_charts, sky_charts, style
from logger.report.figures import plane_figures
from logger.report.lettering import lettering
from logger.site import Site
from logger.sun import SunYear, sun_year


@pytest.fixture(scope="module")
def sun() -> SunYear:
    return sun_year(Site(46.05, 14.5), 2026)


def test_a_level_horizon_shades_nothing(sun):
    shade = shade_map(HorizonProfile.level(), sun)
    up = np.isfinite(shade.shaded)
    assert up[5, 24]  # half past noon in June
    assert not up[5, 0]  # half past midnight
    assert (shade.shaded[up] == 0).all()
    assert (shade.unmeasured[up] == 0).all()


def test_a_wall_to_the_south_blocks_the_winter_noon_and_leaves_june(sun):
    wall = HorizonProfile(np.array([120.0, 120.0, 240.0, 240.0]), np.array([0.0, 30.0, 30.0, 0.0]))
    shade = shade_map(wall, sun)
    noon = 24  # 12 to 12:30
    # At 46 north the noon sun stands at 90 - 46 - 23.4 = 20.6 degrees in December, 67.4 in June.
    assert shade.shaded[11, noon] == 1
    assert shade.shaded[5, noon] == 0


def test_what_was_not_measured_is_neither_shade_nor_sun(sun):
    azimuth = np.arange(0.0, 360.0)
    measured = azimuth < 180
    shade = shade_map(HorizonProfile(azimuth, np.where(measured, 10.0, np.nan)), sun)
    assert shade.unmeasured[5, 30] == 1
    assert shade.shaded[5, 30] == 0
    assert shade.unmeasured[5, 18] == 0


def test_months_stand_in_calendar_order_and_blocked_tiles_are_hatched(sun, read):
    wall = HorizonProfile(np.array([0.0]), np.array([40.0]))
    axes = access_charts.shade_chart(shade_map(wall, sun), "eave").axes[0]
    rows = {text: y for text, (_, y) in read(axes).words.items()}
    assert [rows[m] for m in style.MONTHS] == list(range(12))
    lowest, highest = axes.get_ylim()
    assert lowest > highest  # January on top
    blocked, key = (d for d in read(axes).boxes if d.patch.get_hatch() == "xxxx")
    assert len(blocked.parts) >= 12
    assert len(key.parts) == 1
    assert "apparent solar time [h]" in rows


def test_a_month_without_sun_says_so(read):
    shaded = np.zeros((12, 48))
    shaded[11] = np.nan
    shade = ShadeMap(np.arange(49) / 2, shaded, np.zeros((12, 48)))
    axes = access_charts.shade_chart(shade).axes[0]
    assert read(axes).words["no sun"][1] == 11


def test_the_greatest_loss_comes_first(result_plane, read):
    first = result_plane["by_obstruction"][0]
    result_plane["by_obstruction"] = [
        first | {"name": "hedge", "annual_loss_fraction": 0.01},
        first | {"name": "barn", "annual_loss_fraction": 0.08},
    ]
    axes = access_charts.obstruction_chart(plane_figures(result_plane)).axes[0]
    bars = read(axes).boxes[0]
    assert [bar[:, 0].max() for bar in bars.parts] == [8.0, 1.0]
    rows = {text: y for text, (_, y) in read(axes).words.items()}
    assert rows["barn"] < rows["hedge"]
    assert "loss of the year's irradiation on the plane [%]" in rows


def test_every_plane_stands_on_the_tilt_map_where_it_is(result_plane):
    tilt, azimuth = np.arange(0.0, 91.0, 15.0), np.arange(0.0, 360.0, 30.0)
    yearly = 1500 * np.outer(np.cos(np.radians(tilt - 35)), np.ones(azimuth.size))
    tilts = PlaneMap(tilt, azimuth, yearly, BestPlane(35.0, 0.0, 1500.0))
    axes = access_charts.tilt_chart(tilts, [plane_figures(result_plane)], 0.0).axes[0]
    marks = {line.get_marker(): line.get_xydata()[0].tolist() for line in axes.lines}
    marks = {marker: at for marker, at in marks.items() if marker in ("+", "o")}
    assert marks == {"+": [0.0, 35.0], "o": [-180.0, 30.0]}


def test_a_walls_name_stays_inside_the_tilt_map(result_plane, read):
    tilt, azimuth = np.arange(0.0, 91.0, 15.0), np.arange(0.0, 360.0, 30.0)
    tilts = PlaneMap(tilt, azimuth, np.ones((7, 12)), BestPlane(35.0, 0.0, 1.0))
    wall = plane_figures(result_plane | {"name": "wall", "tilt_deg": 90.0})
    axes = access_charts.tilt_chart(tilts, [wall], 0.0).axes[0]
    assert read(axes).words["wall"][1] < 90


def test_points_are_compared_with_their_intervals(result_plane, read):
    plane = plane_figures(result_plane)
    axes = access_charts.comparison_chart([("eave", plane), ("yard", plane)]).axes[0]
    assert {"eave", "yard", "87.3"} <= read(axes).words.keys()
    spans = read(axes).lines[0]
    assert spans.parts[0][:, 0].tolist() == pytest.approx([83.3, 90.3])


def test_the_sweep_chart_says_how_many_sight_lines_a_dot_stands_for(read):
    n = 7000
    azimuth = np.linspace(0, 359, n)
    sight = SightLines(
        np.arange(n) / 50, azimuth, np.full(n, 5.0), np.zeros(n), np.full(n, 0.4),
        np.ones(n, dtype=bool), np.full(n, ""),
    )  # fmt: skip
    profile = HorizonProfile(np.arange(0.0, 360.0, 5.0), np.full(72, 5.0), np.full(72, 0.3))
    axes = sky_charts.sweep_chart(profile, [sight], 180.0).axes[0]
    assert any("one of 5 sight lines" in text for text in read(axes).words)


def test_a_sweep_without_a_usable_sight_line_still_draws(read):
    n = 10
    sight = SightLines(
        np.arange(n), np.full(n, np.nan), np.full(n, np.nan), np.zeros(n), np.full(n, 0.4),
        np.zeros(n, dtype=bool), np.full(n, "moving"),
    )  # fmt: skip
    nothing = np.full(72, np.nan)
    profile = HorizonProfile(np.arange(0.0, 360.0, 5.0), nothing, nothing)
    axes = sky_charts.sweep_chart(profile, [sight], 180.0).axes[0]
    assert "not measured" in read(axes).words


@pytest.mark.parametrize("low", [0.0, 0.05, 1.0])
def test_interval_number_and_diamond_stand_side_by_side(result_plane, low):
    months = [{"value": low, "low": 0.0, "high": 1.0}] * 12
    shares = {"monthly": months, "annual": months[0]}
    plane = plane_figures(result_plane | {"solar_access": shares, "beam_access": shares})
    axes = access_charts.monthly_access_chart([plane]).axes[0]
    scale = axes.figure.dpi / 72
    rooms = [room.box for word, room in lettering(axes).rooms(scale) if word.text.isdigit()][:12]
    to_pixels = axes.transData.transform
    for month, room in enumerate(rooms):
        line, _ = to_pixels((month - access_charts._ASIDE, 0.0))
        diamond, _ = to_pixels((month + access_charts._ASIDE, 0.0))
        assert line + 0.65 * scale < room.x0
        assert room.x1 < diamond - 1.5 * scale


def test_names_crowded_over_a_sweep_keep_out_of_each_other(read):
    azimuth = np.arange(0.0, 360.0)
    names = ("east block", "far hills", "gable house", "corner block")
    edges = np.array([[90, 105], [106, 121], [122, 148], [150, 170]])
    obstructions = tuple(
        Obstruction(name, float(a), float(b)) for name, (a, b) in zip(names, edges, strict=True)
    )
    profile = HorizonProfile(azimuth, np.full(360, 30.0), obstructions=obstructions)
    axes = sky_charts.sweep_chart(profile, [], 180.0).axes[0]
    scale = axes.figure.dpi / 72
    boxes = [room.box for word, room in lettering(axes).rooms(scale) if word.text in names]
    assert len(boxes) == 4
    assert not any(a.overlaps(b) for k, a in enumerate(boxes) for b in boxes[:k])
    assert all(box.y1 < axes.bbox.y1 for box in boxes)
