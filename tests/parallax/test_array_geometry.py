"""Outlines, the best rectangle, and rows that shade each other.

The profile angle and the shade of endless rows are closed forms of plane geometry, given in solar
texts (from memory; the triangle is drawn in `logger/parallax/rows.py`); the same rows as bodies in
space must give the same.
"""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from logger.access import Plane
from logger.errors import UsageError
from logger.parallax import (
    Rows,
    best_rectangle,
    grid_over,
    outline_of,
    profile_angle_deg,
    rectangle,
    shaded_share,
)
from logger.parallax.carry import GRID

SOUTH = Plane("south roof", 30.0, 180.0)


def test_a_rectangle_runs_right_and_up_the_slope() -> None:
    corners = rectangle((1.0, 2.0, 3.0), 8.0, 4.0, SOUTH)
    rise, run = 4.0 * np.sin(np.radians(30.0)), 4.0 * np.cos(np.radians(30.0))
    expected = [(1, 2, 3), (9, 2, 3), (9, 2 + run, 3 + rise), (1, 2 + run, 3 + rise)]
    assert np.allclose(corners, expected, atol=1e-3)
    # On a roof that faces east, right as you look up it is north.
    east = rectangle((0.0, 0.0, 0.0), 8.0, 4.0, Plane("east", 0.0, 90.0))
    assert np.allclose(east[1], (0.0, 8.0, 0.0), atol=1e-3)
    assert np.allclose(east[3], (-4.0, 0.0, 0.0), atol=1e-3)


def test_a_grid_covers_the_outline_finer_than_half_a_metre() -> None:
    outline = outline_of(SOUTH, [(0, 0, 0), (6, 0, 0), (0, 3.4641, 2.0)])
    grid = grid_over(outline)
    assert outline.area_m2 == pytest.approx(12.0, rel=1e-4)
    assert max(grid.step_m) < 0.5
    assert len(grid.places) * grid.step_m[0] * grid.step_m[1] == pytest.approx(12.0, rel=0.06)
    assert np.allclose(outline.places_of(outline.at_m(grid.places)), grid.places)


@pytest.mark.parametrize(
    ("corners", "says"),
    [
        ([(0, 0, 0), (1, 0, 0)], "2 corners"),
        ([(0, 0, 0), (1, 0, 0), (2, 0, 0)], "in one line"),
        ([(0, 0, 0), (4, 0, 0), (0, 3.4641, 2), (3, 3.4641, 2)], "cross each other"),
        ([(0, 0, 0), (4, 0, 0), (4, 4, 0), (0, 4, 0)], "off the plane"),
    ],
)
def test_what_is_no_outline_is_refused(corners: list[tuple[float, ...]], says: str) -> None:
    with pytest.raises(UsageError, match=says):
        outline_of(SOUTH, corners)


def test_the_best_rectangle_lies_where_the_values_are() -> None:
    grid = grid_over(outline_of(SOUTH, rectangle((0, 0, 0), 9.0, 4.5, SOUTH)), 0.45)
    bright = (grid.places[:, 0] > 5.0) & (grid.places[:, 0] < 8.0)
    found = best_rectangle(grid, np.where(bright, 0.9, 0.5), 2.7, 0.9)
    assert found is not None
    left, _, width, height, mean = found
    assert (mean, {width, height}) == (pytest.approx(0.9), {2.7, 0.9})
    assert 4.9 < left < 8.1
    assert best_rectangle(grid, np.ones(len(grid.places)), 20.0, 5.0) is None


def test_the_profile_angle_of_a_sun_aside_is_higher() -> None:
    # Straight ahead it is the elevation; 60 degrees aside tan p = tan e / cos 60 = 2 tan e.
    assert profile_angle_deg(30.0, 180.0, 180.0) == pytest.approx(30.0)
    assert np.tan(np.radians(profile_angle_deg(30.0, 240.0, 180.0))) == pytest.approx(
        2 * np.tan(np.radians(30.0))
    )


def test_rows_that_just_do_not_shade_each_other() -> None:
    # Modules 2 m high at 30 degrees, a sun of 20 degrees ahead: 2 cos 30 + 2 sin 30 / tan 20.
    pitch = 2 * np.cos(np.radians(30.0)) + 1.0 / np.tan(np.radians(20.0))
    rows = Rows(SOUTH, 2.0, pitch)
    assert rows.shade_angle_deg == pytest.approx(20.0)
    assert shaded_share(rows, 20.01, 180.0) == 0.0
    assert 0.0 < shaded_share(rows, 19.0, 180.0) < 0.1


@given(st.floats(3.0, 40.0), st.floats(-70.0, 70.0), st.floats(0.1, 0.9))
def test_endless_rows_as_bodies_shade_what_the_closed_form_says(
    elevation: float, aside: float, share: float
) -> None:
    rows = Rows(SOUTH, 2.0, 4.5)
    shaded = float(shaded_share(rows, elevation, 180.0 + aside))
    seen = np.interp(180.0 + aside, GRID, rows.skyline_deg(GRID, share))
    if abs(share - shaded) > 0.02:
        assert (seen > elevation) == (share < shaded)


def test_a_short_row_shades_less_beside_its_end() -> None:
    endless, short = Rows(SOUTH, 2.0, 4.0), Rows(SOUTH, 2.0, 4.0, length_m=6.0)
    aside = np.abs(GRID - 180.0) > 70.0
    assert endless.skyline_deg(GRID)[aside & (np.abs(GRID - 180.0) < 85.0)].min() > 0.0
    assert short.skyline_deg(GRID)[aside].max() == 0.0
    ahead = np.abs(GRID - 180.0) < 30.0
    assert np.allclose(short.skyline_deg(GRID)[ahead], endless.skyline_deg(GRID)[ahead])
