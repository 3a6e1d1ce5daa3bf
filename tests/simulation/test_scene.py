"""An invented skyline is exactly what its truth says, everywhere and all the way round."""

import numpy as np
import pytest

from logger.errors import UsageError
from logger.geometry import in_sector
from logger.simulation import SCENES, Scene, scene_named


@pytest.fixture(params=list(SCENES), scope="module")
def scene(request: pytest.FixtureRequest) -> Scene:
    return scene_named(request.param, seed=4)


def test_truth_has_a_node_every_tenth_of_a_degree(scene: Scene) -> None:
    truth = scene.truth()
    assert np.diff(truth.azimuth_deg).max() <= 0.1 + 1e-9
    assert truth.azimuth_deg[0] == 0
    assert truth.known.all()
    probe = np.linspace(0, 359.9, 5000)
    assert np.allclose(truth.elevation_at(probe), scene.elevation_at(probe))


def test_the_same_seed_gives_the_same_skyline_and_another_one_another(scene: Scene) -> None:
    name = next(key for key, make in SCENES.items() if make(4).name == scene.name)
    assert np.array_equal(scene_named(name, 4).elevation_deg, scene.elevation_deg)
    # A point of a place in three dimensions sees what stands there, whatever the seed.
    of_a_place = scene.name.startswith("swallow house")
    again = np.array_equal(scene_named(name, 5).elevation_deg, scene.elevation_deg)
    assert again == of_a_place


def test_a_mast_is_a_box_1_4_degrees_wide_with_vertical_edges() -> None:
    scene = scene_named("street-with-mast", 1)
    mast = next(o for o in scene.obstructions if o.name == "mast")
    assert mast.kind == "pole or wire"
    assert mast.to_azimuth_deg - mast.from_azimuth_deg == pytest.approx(1.4)
    inside = scene.elevation_at(np.linspace(mast.from_azimuth_deg, mast.to_azimuth_deg, 20)[1:-1])
    assert np.allclose(inside, 43.0)
    assert scene.elevation_at(mast.from_azimuth_deg - 1e-4) < 20
    without = scene_named("street", 1)
    elsewhere = np.arange(0, 360, 0.3)
    elsewhere = elsewhere[~in_sector(elsewhere, mast.from_azimuth_deg, mast.to_azimuth_deg)]
    assert np.allclose(without.elevation_at(elsewhere), scene.elevation_at(elsewhere))


def test_a_flat_roof_seen_straight_on_falls_off_as_a_level_edge_does() -> None:
    # A level edge at height h and distance d from the eye: tan e = (h / d) cos(azimuth off the
    # perpendicular) - plane geometry.
    scene = scene_named("street", 1)
    block = next(o for o in scene.obstructions if o.name == "corner block")
    middle = (block.from_azimuth_deg + block.to_azimuth_deg) / 2
    top = np.tan(np.radians(scene.elevation_at(middle)))
    for off in (-9.0, -4.0, 4.0, 9.0):
        seen = np.tan(np.radians(scene.elevation_at(middle + off)))
        assert seen == pytest.approx(top * np.cos(np.radians(off)), abs=2e-4)


def test_the_path_follows_the_skyline_and_climbs_edges_vertically(scene: Scene) -> None:
    azimuth, elevation = scene.path(350.0, 370.0 + 360.0)
    assert azimuth[0] == 350
    assert azimuth[-1] == 730
    assert (np.diff(azimuth) >= 0).all()
    smooth = np.ones(len(azimuth), dtype=bool)
    vertical = np.flatnonzero(np.diff(azimuth) == 0)
    smooth[vertical] = smooth[vertical + 1] = False
    assert np.allclose(elevation[smooth], scene.elevation_at(azimuth[smooth]))


def test_corners_joined_by_straight_lines_stay_within_the_tolerance(scene: Scene) -> None:
    azimuth, elevation = scene.corners(0.5)
    assert len(azimuth) < 140
    assert np.diff(azimuth).max() <= 18.0 + 0.2
    away = np.abs(np.interp(scene.azimuth_deg, azimuth, elevation) - scene.elevation_deg)
    single = np.ones(len(scene.azimuth_deg), dtype=bool)
    vertical = np.flatnonzero(np.diff(scene.azimuth_deg) == 0)
    single[vertical] = single[vertical + 1] = False
    assert away[single].max() <= 0.5 + 1e-9


def test_an_unknown_scene_is_refused_with_the_names_there_are() -> None:
    with pytest.raises(UsageError, match="no scene 'moon'") as refused:
        scene_named("moon")
    assert "ridge" in refused.value.hint
