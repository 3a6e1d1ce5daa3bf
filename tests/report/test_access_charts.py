"""Charts of figures: tiles of shade, losses, tilt and azimuth, points compared."""

from __future__ import annotations

import numpy as np
import pytest

from logger.access import BestPlane, PlaneMap
from logger.profile import HorizonProfile
from logger.report import access_charts, sky_charts, style
from logger.report.figures import plane_figures
from logger.shade import ShadeMap, shade_map
from logger.sightlines import SightLines
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


def test_months_stand_in_calendar_order_and_blocked_tiles_are_hatched(sun):
    wall = HorizonProfile(np.array([0.0]), np.array([40.0]))
    (panel,) = access_charts.shade_chart(shade_map(wall, sun), "eave").panels
    rows = {words.text: words.y for words in panel.words}
    assert [rows[m] for m in style.MONTHS] == list(range(12))
    lowest, highest = panel.y_limits
    assert lowest > highest  # January on top
    (blocked, key) = [areas for areas in panel.areas if areas.hatch == "crossed"]
    assert len(blocked.outlines) >= 12
    assert len(key.outlines) == 1
    assert "apparent solar time [h]" in rows


def test_a_month_without_sun_says_so():
    shaded = np.zeros((12, 48))
    shaded[11] = np.nan
    shade = ShadeMap(np.arange(49) / 2, shaded, np.zeros((12, 48)))
    (panel,) = access_charts.shade_chart(shade).panels
    assert [words.y for words in panel.words if words.text == "no sun"] == [11]


def test_the_greatest_loss_comes_first(result_plane):
    first = result_plane["by_obstruction"][0]
    result_plane["by_obstruction"] = [
        first | {"name": "hedge", "annual_loss_fraction": 0.01},
        first | {"name": "barn", "annual_loss_fraction": 0.08},
    ]
    (panel,) = access_charts.obstruction_chart(plane_figures(result_plane)).panels
    assert [bar[:, 0].max() for bar in panel.areas[0].outlines] == [8.0, 1.0]
    rows = {words.text: words.y for words in panel.words}
    assert rows["barn"] < rows["hedge"]
    assert "loss of the year's irradiation on the plane [%]" in rows


def test_every_plane_stands_on_the_tilt_map_where_it_is(result_plane):
    tilt, azimuth = np.arange(0.0, 91.0, 15.0), np.arange(0.0, 360.0, 30.0)
    yearly = 1500 * np.outer(np.cos(np.radians(tilt - 35)), np.ones(azimuth.size))
    tilts = PlaneMap(tilt, azimuth, yearly, BestPlane(35.0, 0.0, 1500.0))
    (panel,) = access_charts.tilt_chart(tilts, [plane_figures(result_plane)], 0.0).panels
    marks = {m.sign: m.places[0].tolist() for m in panel.marks if m.sign in ("cross", "dot")}
    assert marks == {"cross": [0.0, 35.0], "dot": [-180.0, 30.0]}


def test_a_line_of_the_tilt_map_runs_where_the_light_is_its_share(result_plane):
    tilt, azimuth = np.arange(0.0, 91.0, 1.0), np.arange(0.0, 360.0, 30.0)
    yearly = 1500 * np.outer(np.cos(np.radians(tilt)), np.ones(azimuth.size))
    tilts = PlaneMap(tilt, azimuth, yearly, BestPlane(0.0, 0.0, 1500.0))
    (panel,) = access_charts.tilt_chart(tilts, [plane_figures(result_plane)], 180.0).panels
    drawn = [a.paths for a in panel.lines if a.colour == style.SUN_DEEP]
    assert len(drawn) == len(access_charts.SHARE_LINES)
    for level, paths in zip(access_charts.SHARE_LINES, drawn, strict=True):
        heights = np.concatenate([path[:, 1] for path in paths])
        assert heights == pytest.approx(np.degrees(np.arccos(level / 100)), abs=0.05)
    assert {f"{level:.0f}" for level in access_charts.SHARE_LINES} <= {
        words.text for words in panel.words
    }


def test_the_name_of_an_upright_plane_stays_in_the_tilt_map(result_plane):
    tilt, azimuth = np.arange(0.0, 91.0, 15.0), np.arange(0.0, 360.0, 30.0)
    tilts = PlaneMap(tilt, azimuth, np.ones((7, 12)), BestPlane(35.0, 180.0, 1.0))
    wall = plane_figures(result_plane | {"name": "wall", "tilt_deg": 90.0})
    (panel,) = access_charts.tilt_chart(tilts, [wall], 180.0).panels
    (name,) = [words for words in panel.words if words.text == "wall"]
    assert 75 < name.y < 88


def test_points_are_compared_with_their_intervals(result_plane):
    plane = plane_figures(result_plane)
    (panel,) = access_charts.comparison_chart([("eave", plane), ("yard", plane)]).panels
    assert {"eave", "yard", "87.3"} <= {words.text for words in panel.words}
    (spans,) = [lines for lines in panel.lines if lines.colour == style.BAND]
    assert spans.paths[0][:, 0].tolist() == pytest.approx([83.3, 90.3])


def test_the_sweep_chart_says_how_many_sight_lines_a_dot_stands_for():
    n = 7000
    azimuth = np.linspace(0, 359, n)
    sight = SightLines(
        np.arange(n) / 50, azimuth, np.full(n, 5.0), np.zeros(n), np.full(n, 0.4),
        np.ones(n, dtype=bool), np.full(n, ""),
    )  # fmt: skip
    profile = HorizonProfile(np.arange(0.0, 360.0, 5.0), np.full(72, 5.0), np.full(72, 0.3))
    (panel,) = sky_charts.sweep_chart(profile, [sight], 180.0).panels
    assert any("one of 5 sight lines" in words.text for words in panel.words)


def test_a_sweep_without_a_usable_sight_line_still_draws():
    n = 10
    sight = SightLines(
        np.arange(n), np.full(n, np.nan), np.full(n, np.nan), np.zeros(n), np.full(n, 0.4),
        np.zeros(n, dtype=bool), np.full(n, "moving"),
    )  # fmt: skip
    nothing = np.full(72, np.nan)
    profile = HorizonProfile(np.arange(0.0, 360.0, 5.0), nothing, nothing)
    (panel,) = sky_charts.sweep_chart(profile, [sight], 180.0).panels
    assert "not measured" in {words.text for words in panel.words}
