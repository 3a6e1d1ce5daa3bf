"""What the horizon room promises, on made-up sight paths whose skyline is known."""

from __future__ import annotations

import numpy as np
import pytest
from skyline_paths import (
    BLOCKS,
    blocks,
    blocks_line,
    failed,
    fused,
    off,
    sight,
    swept,
    wavy,
    wavy_line,
)

from logger.horizon_fit import HorizonResult
from logger.horizon_fit.coverage import sectors


@pytest.fixture(scope="module")
def of_blocks() -> list[HorizonResult]:
    """The blocks, swept six times."""
    return [fused(swept(*blocks_line(), seed=seed)) for seed in range(6)]


def test_tremor_of_a_third_of_a_degree_averages_out_on_a_smooth_skyline() -> None:
    result = fused(swept(*wavy_line(), seed=1))
    assert np.abs(off(result, wavy)).mean() < 0.1
    assert failed(result) == []


def test_a_sharp_peak_keeps_its_height() -> None:
    line = [-5.0, 90.0, 102.0, 114.0, 365.0], [8.0, 8.0, 20.0, 8.0, 8.0]
    tops = [
        fused(swept(*line, seed=seed)).profile.elevation_at(np.arange(100.0, 104.0, 0.05))
        for seed in range(8)
    ]
    assert np.mean([top.max() for top in tops]) == pytest.approx(20.0, abs=0.25)


def test_vertical_edges_stay_vertical_and_where_they_are(of_blocks: list[HorizonResult]) -> None:
    profile = of_blocks[2].profile
    twice = np.flatnonzero(np.diff(profile.azimuth_deg) == 0)
    expected = np.sort([side for start, end, _ in BLOCKS for side in (start, end)])
    assert profile.azimuth_deg[twice] == pytest.approx(expected, abs=0.45)
    rise = profile.elevation_deg[twice + 1] - profile.elevation_deg[twice]
    heights = [h - 6.0 for _, _, h in BLOCKS for _ in range(2)]
    assert np.abs(rise) == pytest.approx(heights, abs=0.8)
    # Nodes stand a quarter of a degree apart, and an edge stands in for one beside it.
    assert np.diff(profile.azimuth_deg).max() < 0.33
    assert 1440 - len(BLOCKS) < len(profile) <= 1440 + 4 * len(BLOCKS)


def test_a_thin_mast_keeps_its_width_and_height_and_steps_bring_no_bias(
    of_blocks: list[HorizonResult],
) -> None:
    start, end, height = BLOCKS[1]
    azimuth = np.arange(147.0, 155.0, 0.02)
    areas = [(one.profile.elevation_at(azimuth) - 6.0).sum() * 0.02 for one in of_blocks]
    assert np.mean(areas) == pytest.approx((end - start) * (height - 6.0), rel=0.1)
    assert abs(np.mean([off(one, blocks) for one in of_blocks])) < 0.08


def test_standard_errors_are_neither_too_small_nor_much_too_large() -> None:
    away = []
    for seed in range(12):
        profile = fused(swept(*wavy_line(), seed=seed, slow_deg=0.1)).profile
        wrong = profile.elevation_deg - wavy(profile.azimuth_deg)
        away.append(wrong / profile.standard_error_deg)
    assert 0.3 < np.std(away) < 1.1


def test_north_is_no_seam() -> None:
    profile = fused(swept(*wavy_line(), seed=3)).profile
    near = np.array([359.75, 359.9, 0.0, 0.1, 0.25])
    assert profile.elevation_at(near) == pytest.approx(wavy(near), abs=0.35)
    assert abs(profile.elevation_at(359.999) - profile.elevation_at(0.001)) < 0.05


def test_half_a_sweep_leaves_the_other_half_unmeasured_and_fails_a_check() -> None:
    result = fused(swept(*wavy_line(90.0, 180.0)))
    azimuth = result.profile.azimuth_deg
    assert result.profile.known[(azimuth > 91) & (azimuth < 179)].all()
    outside = (azimuth < 89) | (azimuth > 181)
    assert np.isnan(result.profile.elevation_deg[outside]).all()
    assert not result.profile.known[outside].any()
    assert failed(result) == ["sun's range measured"]


def test_south_of_the_equator_it_is_the_other_way_round() -> None:
    assert failed(fused(swept(*wavy_line(228.0, 492.0)), latitude_deg=-46.0)) == []
    assert failed(fused(swept(*wavy_line(48.0, 312.0)), latitude_deg=-46.0)) != []


def test_what_one_pass_alone_shows_is_smoothed_away_and_what_all_show_is_not() -> None:
    """A ridge traced briskly is held against its smoothing; a forest of fine crowns is not."""
    azimuth = np.arange(-5.0, 365.0, 0.1)
    crowns = 12.0 + 1.5 * np.sin(np.radians(azimuth * 60.0))
    for line, limit in ((wavy(azimuth), 0.09), (crowns, 0.3)):
        errors = []
        for seed in range(4):
            profile = fused(swept(azimuth, line, seed=seed, speed_deg_s=20.0)).profile
            truth = np.interp(profile.azimuth_deg, azimuth, line)
            errors.append(np.abs(profile.elevation_deg - truth).mean())
        assert np.mean(errors) < limit


def test_passes_that_disagree_are_found_and_named() -> None:
    azimuth, elevation = wavy_line()
    first = swept(azimuth, elevation, passes=1)
    raised = elevation + np.where((azimuth > 170) & (azimuth < 200), 6.0, 0.0)
    second = swept(azimuth, raised, passes=1, seed=7)
    result = fused(first, second)
    assert failed(result) == ["passes agree"]
    (sector,) = [s for s in sectors(result.coverage.disagreeing) if s.width_deg > 10]
    assert sector.from_azimuth_deg == pytest.approx(170, abs=6)
    assert sector.to_azimuth_deg == pytest.approx(200, abs=6)
    inside = (result.profile.azimuth_deg > 175) & (result.profile.azimuth_deg < 195)
    outside = (result.profile.azimuth_deg > 30) & (result.profile.azimuth_deg < 150)
    error = result.profile.standard_error_deg
    assert np.mean(error[inside]) > 2.0 * np.mean(error[outside])


def test_of_three_passes_the_two_that_agree_win() -> None:
    azimuth, elevation = wavy_line()
    lower = elevation - np.where((azimuth > 170) & (azimuth < 200), 6.0, 0.0)
    passes = [
        swept(azimuth, line, passes=1, seed=seed)
        for seed, line in enumerate((elevation, lower, elevation))
    ]
    profile = fused(*passes).profile
    middle = np.arange(175.0, 195.0, 1.0)
    assert profile.elevation_at(middle) == pytest.approx(wavy(middle), abs=1.0)


def test_nothing_at_all_is_a_horizon_without_a_single_value() -> None:
    result = fused()
    assert not result.profile.known.any()
    assert np.isnan(result.profile.elevation_deg).all()
    assert "sun's range measured" in failed(result)


@pytest.mark.parametrize("to_deg", [10.0, 60.0])
def test_a_single_direction_is_no_skyline_held_or_climbed(to_deg: float) -> None:
    t = np.arange(0.0, 5.0, 0.02)
    result = fused(sight(t, np.full(t.size, 180.0), np.linspace(10.0, to_deg, t.size)))
    assert result.profile.known.sum() <= 2


def test_the_errors_of_the_whole_travel_with_the_profile() -> None:
    profile = fused(swept(*wavy_line())).profile
    assert profile.heading_error_deg == 0.4
    assert profile.level_error_deg == pytest.approx(np.hypot(0.2, 0.5))
    assert 1.0 <= profile.correlation_deg <= 60.0
