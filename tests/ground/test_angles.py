"""Azimuths wrap, subtract, average and interpolate right across north."""

import numpy as np
import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from logger.geometry import (
    angle_between,
    azimuth_of,
    great_circle_elevation,
    in_sector,
    interpolate_azimuthal,
    mean_azimuth,
    unwrapped,
    wrap360,
)

any_angle = st.floats(-1e6, 1e6)
azimuth = st.floats(0, 360, exclude_max=True)


@given(any_angle)
def test_every_angle_wraps_into_the_circle(a):
    wrapped = wrap360(a)
    assert 0 <= wrapped < 360
    assert np.cos(np.radians(wrapped)) == pytest.approx(np.cos(np.radians(a)), abs=1e-7)


def test_a_hair_below_north_is_north():
    assert wrap360(-1e-20) == 0.0


@given(azimuth, st.floats(-179, 179))
def test_turning_by_an_angle_and_measuring_it_agree(a, turn):
    assert angle_between(wrap360(a + turn), a) == pytest.approx(turn, abs=1e-9)


def test_the_mean_of_two_sides_of_north_is_north():
    assert angle_between(mean_azimuth([350, 10]), 0) == pytest.approx(0)
    assert np.isnan(mean_azimuth([]))


def test_a_path_across_north_unwraps():
    assert list(unwrapped([350, 358, 6, 14])) == [350, 358, 366, 374]


@given(azimuth, st.lists(st.tuples(azimuth, st.floats(0, 90)), min_size=1, max_size=8))
@example(5.562684646268003e-309, [(0.0, 0.0), (1.1125369292536007e-308, 2.0)])
def test_interpolation_stays_between_the_lowest_and_highest_node(a, nodes):
    nodes = sorted(nodes)
    values = [e for _, e in nodes]
    got = interpolate_azimuthal(a, [n for n, _ in nodes], values)
    assert min(values) - 1e-9 <= got <= max(values) + 1e-9


def test_interpolation_runs_straight_across_north():
    assert interpolate_azimuthal([355, 0, 5], [10, 350], [20, 0]) == pytest.approx([5, 10, 15])


def test_two_rows_of_one_azimuth_are_a_vertical_edge():
    got = interpolate_azimuthal([99.999, 100.001], [0, 100, 100, 200], [0, 0, 30, 30])
    assert got == pytest.approx([0, 30], abs=0.01)


def test_a_sector_may_cross_north():
    assert list(in_sector([349, 350, 0, 10, 11], 350, 10)) == [False, True, True, True, False]
    assert in_sector(123, 0, 360)


def test_long_wall_is_a_great_circle():
    # Duffie and Beckman, Solar Engineering of Thermal Processes, example 1.9.1 (from memory; the
    # formula tan e = (2.5/10) cos(az) is checked): a wall 2.5 m above and 10 m south of the point.
    wall = np.degrees(np.arctan(0.25 * np.cos(np.radians([-60, -45, -30, 0, 30, 45, 60]))))
    got = great_circle_elevation([120, 135, 150, 180, 210, 225, 240], 120, wall[0], 240, wall[-1])
    assert got == pytest.approx([7.13, 10.02, 12.22, 14.04, 12.22, 10.02, 7.13], abs=0.005)


def test_an_edge_straight_up_is_refused():
    with pytest.raises(ValueError, match="one azimuth"):
        great_circle_elevation(10, 10, 5, 10, 40)


def test_the_azimuth_of_a_vector():
    assert azimuth_of([0, 1, 0, -1, 1], [1, 0, -1, 0, 1]) == pytest.approx([0, 90, 180, 270, 45])
    assert azimuth_of(-1e-20, 1.0) == 0
    assert azimuth_of(0.0, 0.0) == 0
