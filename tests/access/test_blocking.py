"""What a skyline hides of the sun and of the sky, reckoned by hand."""

import numpy as np
import pytest

from logger.access import sky_view_factor
from logger.access.blocking import block_sky, block_sun, disc_above
from logger.access.surroundings import layers_of
from logger.horizon import HorizonProfile, Obstruction

from .suns import WALL, sun_at

RADIUS = 0.2665
SOLID = np.zeros(12)


def segment(height):
    """Area of a circle's segment above a chord, in radii from the centre."""
    return 0.5 + (height * np.sqrt(1 - height * height) + np.arcsin(height)) / np.pi


@pytest.mark.parametrize("height", [-9.0, -1.0, -0.5, 0.0, 0.5, 1.0, 9.0])
def test_the_share_of_a_disc_above_an_edge(height):
    expected = segment(np.clip(height, -1, 1))
    assert disc_above(np.array([height * RADIUS]))[0] == pytest.approx(expected)
    # Half a radius over the centre: 1/3 - sqrt(3) / (4 pi) of the circle is hidden.
    assert segment(-0.5) == pytest.approx(1 / 3 - np.sqrt(3) / (4 * np.pi))


def blocked(horizon, sun, transmittance=SOLID):
    layers = layers_of(horizon, transmittance)
    return layers, block_sun(layers, sun, disc_above(sun.elevation_deg))


def test_a_skyline_below_level_is_level():
    (layer,) = layers_of(HorizonProfile([0, 100, 200], [-4, 10, 10]), SOLID)
    assert layer.height_at(np.array([0.0, 100.0, 50.0])) == pytest.approx([0.0, 10.0, 3.0])


def test_only_minutes_at_which_something_hides_the_sun_are_kept():
    sun = sun_at([150, 150, 150, 150, 50, 150], [5, 19.9, 20.0, 20.25, 5, 20.27])
    _, found = blocked(WALL, sun)
    assert list(found.row) == [0, 1, 2, 3]
    assert found.hidden == pytest.approx(1 - disc_above(np.array([-15.0, -0.1, 0.0, 0.25])))


def test_a_sun_partly_below_level_offers_less_to_hide():
    """At half a radius up a part of the disc has set: only what is above level can be taken."""
    _, found = blocked(WALL, sun_at(150, RADIUS / 2))
    assert found.hidden == pytest.approx([segment(0.5)])
    _, level = blocked(HorizonProfile.level(), sun_at([150, 150], [0.1, 5.0]))
    assert level.hidden == pytest.approx(np.zeros(len(level.row)))


TREE = HorizonProfile(
    [90, 90, 100, 100, 200, 200, 210, 210], [5, 40, 40, 40, 40, 40, 40, 5],
    obstructions=(Obstruction("lime", 90, 210, "deciduous"),),
)  # fmt: skip


def test_a_crown_lets_its_share_through_in_each_month_and_what_is_behind_takes_the_rest():
    sun = sun_at([150, 150, 150], [30, 30, 3], month=[0, 11, 0])
    layers, found = blocked(TREE, sun, np.array([0.6] * 6 + [0.2] * 6))
    assert len(layers) == 2
    assert found.hidden == pytest.approx([0.4, 0.8, 1.0])
    # Straight across behind the crown stands a skyline of 5 degrees: it is nobody's crown.
    assert found.taken[0] == pytest.approx([0.0, 0.0, 1.0])
    assert found.taken[1] == pytest.approx([0.4, 0.8, 0.0])
    assert blocked(TREE, sun, np.ones(12))[1].hidden == pytest.approx([0.0, 0.0, 1.0])
    assert blocked(TREE, sun, SOLID)[1].hidden == pytest.approx([1.0, 1.0, 1.0])


def whose(layers, found, layer=0):
    names = layers[layer].names
    return [
        [s.name for s, share in zip(names.stretches, names.share[j], strict=True) if share]
        for j in found.interval[layer]
    ]


def test_whose_the_sun_is_at_each_azimuth():
    named = WALL.with_obstructions([Obstruction("barn", 100, 150), Obstruction("shed", 140, 180)])
    layers, found = blocked(named, sun_at([120, 145, 170, 190], 5))
    assert whose(layers, found) == [["barn"], ["barn", "shed"], ["shed"], ["180 to 200°"]]
    unnamed = [s for s in layers[0].names.stretches if s.kind == ""]
    assert [(s.from_azimuth_deg, s.to_azimuth_deg) for s in unnamed] == [(180, 200), (200, 100)]
    # Without a name what stands out is called by its azimuths.
    assert whose(*blocked(WALL, sun_at(120, 5))) == [["100 to 200°"]]


def test_the_slope_up_to_a_crown_belongs_to_it():
    azimuth = np.arange(0.0, 360.0, 5.0)
    elevation = np.where((azimuth >= 100) & (azimuth <= 150), 30.0, 2.0)
    lime = Obstruction("lime", 98, 152, "deciduous")
    tree = HorizonProfile(azimuth, elevation, obstructions=(lime,))
    layers, found = blocked(tree, sun_at([96, 125, 154], [5, 5, 5]), np.full(12, 0.5))
    assert whose(layers, found, 1) == [["lime"]] * 3
    assert found.taken[1] == pytest.approx([0.5, 0.5, 0.5])


# --- The sky ---


@pytest.mark.parametrize("height", [0.0, 10.0, 30.0, 90.0])
def test_an_even_skyline_takes_sin_squared_of_a_flat_planes_sky(height):
    """Closed form: the view of a level plane above a ring of height h is cos^2 h."""
    (taken,) = block_sky(layers_of(HorizonProfile([0], [height]), SOLID), 0.0, 180.0)
    assert taken == pytest.approx(np.full((1, 12), np.sin(np.radians(height)) ** 2), abs=1e-9)


def test_what_is_taken_of_the_sky_goes_to_the_names_by_their_azimuth():
    sectors = (Obstruction("barn", 0, 90), Obstruction("shed", 90, 180))
    layers = layers_of(HorizonProfile([0], [30], obstructions=sectors), SOLID)
    (taken,) = block_sky(layers, 0.0, 180.0)
    by_name = layers[0].names.share.T @ taken
    assert by_name[:, 0] == pytest.approx([0.25 / 4, 0.25 / 4, 0.25 / 2], abs=1e-9)


def test_a_wall_behind_a_tilted_plane_takes_nothing_it_could_see():
    walls = [HorizonProfile([a, a, b, b], [0, 20, 20, 0]) for a, b in ((315, 45), (135, 225))]
    taken = [block_sky(layers_of(wall, SOLID), 60.0, 180.0)[0].sum(axis=0) for wall in walls]
    behind, before = (float(month[0]) for month in taken)
    assert behind == pytest.approx(0.0, abs=1e-9)
    views = [sky_view_factor(h, 60.0, 180.0) for h in (HorizonProfile.level(), walls[1])]
    assert before == pytest.approx(views[0] - views[1], abs=1e-6)
    assert before > 0.05


def test_a_crown_takes_less_of_the_sky_in_the_months_it_is_bare():
    """A crown all round: what is behind it is taken to be level."""
    crown = HorizonProfile([0], [30], obstructions=(Obstruction("hedge", 0, 360, "deciduous"),))
    months = np.array([0.6] * 3 + [0.1] * 6 + [0.6] * 3)
    taken = sum(t.sum(axis=0) for t in block_sky(layers_of(crown, months), 0.0, 180.0))
    assert taken == pytest.approx((1 - months) * 0.25)
