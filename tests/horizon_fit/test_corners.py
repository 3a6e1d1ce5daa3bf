"""Corner by corner: holding still and pressing."""

from __future__ import annotations

import numpy as np
import pytest
from skyline_paths import fused, off, oriented, shaken, swept, wavy, wavy_line

from logger.horizon_fit import SightedSweep
from logger.horizon_fit.corners import Vertex, joined_line, vertices_of
from logger.orientation.sight_lines import SightLines
from logger.recording.samples import KeyPress, Note
from logger.simulation import Operator, Sensor, scene_named, simulate_corners


def held(
    corners: list[tuple[float, float]],
    seed: int = 0,
    tremor_deg: float = 0.1,
    hold_s: float = 1.5,
) -> tuple[SightLines, tuple[KeyPress, ...]]:
    """A sight that goes from corner to corner, holds still at each and presses there."""
    azimuth, elevation, keys = [], [], []
    for i, (a, e) in enumerate(corners):
        if i:
            way = (1 - np.cos(np.linspace(0, np.pi, 50))) / 2
            azimuth.append(corners[i - 1][0] + way * (a - corners[i - 1][0]))
            elevation.append(corners[i - 1][1] + way * (e - corners[i - 1][1]))
        rows = round(hold_s / 0.02)
        azimuth.append(np.full(rows, a))
        elevation.append(np.full(rows, e))
        now = sum(map(len, azimuth)) * 0.02 - 0.3
        keys += [KeyPress(now, 2, True), KeyPress(now + 0.1, 2, False)]
    a, e = np.concatenate(azimuth), np.concatenate(elevation)
    return shaken(a, e, seed, tremor_deg, 0.4), tuple(keys)


def vertex(azimuth_deg: float, elevation_deg: float, straight: bool = False) -> Vertex:
    return Vertex(0.0, azimuth_deg, elevation_deg, 0.01, 0.0, 1.0, straight)


def test_a_still_hold_is_a_vertex_with_an_error_of_its_own() -> None:
    corners = [(100.0, 10.0), (140.0, 30.0), (180.0, 15.0)]
    recorded, keys = held(corners)
    found = vertices_of(recorded, keys)
    assert [v.azimuth_deg for v in found] == pytest.approx([a for a, _ in corners], abs=0.3)
    assert [v.elevation_deg for v in found] == pytest.approx([e for _, e in corners], abs=0.3)
    assert all(0.05 < v.error_deg < 0.4 for v in found)


def test_a_press_in_passing_is_no_vertex() -> None:
    recorded = swept(*wavy_line())
    keys = tuple(KeyPress(t, 2, True) for t in (5.0, 15.0, 25.0))
    assert vertices_of(recorded, keys) == ()


def test_a_steep_vertex_is_less_sure_in_azimuth() -> None:
    assert vertex(0.0, 80.0).azimuth_error_deg == pytest.approx(
        0.01 / np.cos(np.radians(80.0)), rel=1e-9
    )


def test_a_straight_wall_comes_back_within_a_third_of_a_degree_everywhere() -> None:
    turn = np.linspace(-45.0, 45.0, 181)
    top = np.degrees(np.arctan(0.8 * np.cos(np.radians(turn))))
    corners = [(125.0, 5.0), (134.99, 5.0), (135.0, float(top[0])), (225.0, float(top[-1])),
               (225.01, 5.0), (235.0, 5.0)]  # fmt: skip
    recorded, keys = held(corners, tremor_deg=0.0)
    notes = (Note(keys[4].t_s + 0.1, "wall", "building"), Note(keys[8].t_s + 0.1, "", "terrain"))
    result = fused(SightedSweep(recorded, keys, notes))
    inside = slice(2, -2)
    found = result.profile.elevation_at(180.0 + turn[inside])
    assert np.abs(found - top[inside]).max() < 0.3
    assert "between held corners" in result.sight[0].rejected()


@pytest.mark.parametrize("ends", [(0.0, 90.0, 40.0, 20.0), (0.0, 30.0, 180.0, 40.0)])
def test_a_straight_edge_through_the_zenith_is_joined(ends: tuple[float, ...]) -> None:
    line = joined_line([vertex(*ends[:2], straight=True), vertex(*ends[2:])])
    assert np.isfinite(line.elevation_deg).all()
    assert line.elevation_deg[-1] == pytest.approx(ends[3])


def test_ends_too_far_apart_that_nobody_called_straight_are_not_joined() -> None:
    recorded, keys = held([(90.0, 10.0), (100.0, 12.0), (190.0, 12.0), (200.0, 10.0)])
    profile = fused(SightedSweep(recorded, keys)).profile
    assert profile.measured_at([95.0, 195.0]).all()
    assert not profile.measured_at(np.arange(105.0, 186.0)).any()


def test_both_ways_mix_in_one_point() -> None:
    azimuth, elevation = wavy_line()
    path = swept(azimuth, elevation)
    mast = [(200.0, wavy(np.array(200.0)).item()), (200.0, 40.0), (201.4, 40.0),
            (201.4, wavy(np.array(201.4)).item())]  # fmt: skip
    recorded, keys = held(mast, tremor_deg=0.05)
    result = fused(SightedSweep(path), SightedSweep(recorded, keys))
    elsewhere = np.arange(20.0, 180.0, 5.0)
    assert result.profile.elevation_at(elsewhere) == pytest.approx(wavy(elsewhere), abs=0.5)
    assert [one.held for one in result.passes] == [False, False, True]
    # The sweep did not see the mast, the corners did: that is a disagreement, not a fact.
    error = result.profile.standard_error_deg
    assert np.nanmax(error) > 1.0


@pytest.mark.parametrize("seed", [0, 2])
def test_the_street_corner_by_corner_without_a_gyro(seed: int) -> None:
    scene = scene_named("street", seed)
    made = simulate_corners(scene, Operator.calm(), Sensor().without_iron(), seed=seed)
    recorded = oriented(made, use_gyro=False)
    result = fused(recorded)
    assert np.nanmedian(np.abs(off(result, scene.elevation_at))) < 0.3
    assert len(vertices_of(recorded.sight, recorded.keys)) >= 50
    named = {o.name for o in result.profile.obstructions}
    assert named == {o.name for o in scene.truth().obstructions}


def test_a_canopy_and_a_facade_of_80_degrees_work() -> None:
    scene = scene_named("facade", 0)
    made = simulate_corners(scene, Operator.calm(), Sensor().without_iron(), seed=1)
    profile = fused(oriented(made, use_gyro=False)).profile
    middle = np.array([340.0, 0.0, 20.0])
    assert profile.elevation_at(middle) == pytest.approx(scene.elevation_at(middle), abs=1.0)
    canopy = np.arange(75.0, 110.0, 5.0)
    assert np.abs(profile.elevation_at(canopy) - scene.elevation_at(canopy)).mean() < 1.5
