"""Outlines, the best rectangle, and rows that shade each other.

Rows are held against pvlib's shading functions and the worked example in the documentation of its
`shaded_fraction1d`, after Anderson and Jensen (2024), Shaded fraction and backtracking in
single-axis trackers on rolling terrain, J. Renewable Sustainable Energy 16, 023504.
"""

from __future__ import annotations

import numpy as np
import pvlib
import pytest
from hypothesis import given
from hypothesis import strategies as st

from logger.access import Plane
from logger.access.draws import SECTOR_MIDDLES as GRID
from logger.errors import UsageError
from logger.parallax import (
    Rows,
    best_rectangle,
    grid_over,
    outline_of,
    rectangle,
)

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


def shaded_share(rows: Rows, elevation_deg: float, azimuth_deg: float) -> float:
    """Share of the slant height that endless rows leave in shade."""
    return float(pvlib.shading.shaded_fraction1d(
        90.0 - elevation_deg, azimuth_deg, rows.plane.azimuth_deg - 90.0, rows.plane.tilt_deg,
        collector_width=rows.slant_m, pitch=rows.pitch_m,
    ))  # fmt: skip


def is_shaded(rows: Rows, share: float, elevation_deg: float, azimuth_deg: float) -> bool:
    """Whether the row ahead hides the sun from a place so far up the next."""
    return bool(np.interp(azimuth_deg, GRID, rows.skyline_deg(GRID, share)) > elevation_deg)


def test_the_published_example_of_rows_in_the_morning() -> None:
    # Modules 2 m high at 30 degrees every 3 m; the sun 10 degrees up in the south-east.
    rows = Rows(Plane("south", 30.0, 180.0), 2.0, 3.0)
    assert shaded_share(rows, 10.0, 135.0) == pytest.approx(0.47755694708090535)
    shares = np.linspace(0.0, 1.0, 1001)
    shaded = [share for share in shares if is_shaded(rows, share, 10.0, 135.0)]
    assert max(shaded) == pytest.approx(0.4776, abs=0.003)


@pytest.mark.parametrize("pitch_m", [2.5, 3.5, 6.0])
def test_the_foot_of_a_row_is_masked_as_pvlib_says(pitch_m: float) -> None:
    rows = Rows(SOUTH, 2.0, pitch_m)
    masked = pvlib.shading.masking_angle(30.0, 2.0 / pitch_m, 0.0)
    assert rows.shade_angle_deg == pytest.approx(masked)
    assert shaded_share(rows, masked + 0.01, 180.0) == pytest.approx(0.0, abs=1e-9)


@given(st.floats(3.0, 40.0), st.floats(-70.0, 70.0), st.floats(0.1, 0.9))
def test_endless_rows_as_bodies_shade_what_the_closed_form_says(
    elevation: float, aside: float, share: float
) -> None:
    rows = Rows(SOUTH, 2.0, 4.5)
    shaded = shaded_share(rows, elevation, 180.0 + aside)
    if abs(share - shaded) > 0.02:
        assert is_shaded(rows, share, elevation, 180.0 + aside) == (share < shaded)
