"""A plane's view of the sky against closed forms."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from logger.access import sky_view_factor
from logger.horizon import HorizonProfile

EVERY = np.arange(0, 360, 0.5)


def uniform(height):
    return HorizonProfile([0.0], [height])


@pytest.mark.parametrize("h", [0, 5, 10, 15, 20, 30, 45, 60])
def test_uniform_horizon_over_a_level_plane(h):
    # cos^2 h: the closed form, beside a quadrature with 7200 azimuths in the check files.
    assert sky_view_factor(uniform(h), 0, 0) == pytest.approx(np.cos(np.radians(h)) ** 2, abs=1e-9)


@pytest.mark.parametrize("tilt", [0, 10, 20, 30, 45, 60, 90])
def test_no_horizon_over_a_tilted_plane(tilt):
    # (1 + cos b) / 2
    expected = (1 + np.cos(np.radians(tilt))) / 2
    assert sky_view_factor(uniform(0), tilt, 137) == pytest.approx(expected, abs=1e-7)


@pytest.mark.parametrize("h", [10, 30, 45, 60])
def test_infinite_wall_on_one_side(h):
    # (1 + cos h) / 2; the wall's skyline is tan e = tan h cos a.
    wall = np.degrees(np.arctan(np.tan(np.radians(h)) * np.maximum(np.cos(np.radians(EVERY)), 0)))
    assert sky_view_factor(HorizonProfile(EVERY, wall), 0, 0) == pytest.approx(
        (1 + np.cos(np.radians(h))) / 2, abs=2e-5
    )


@pytest.mark.parametrize("h", [10, 30, 45, 60])
def test_infinite_symmetric_valley(h):
    # cos h
    valley = np.degrees(np.arctan(np.tan(np.radians(h)) * np.abs(np.cos(np.radians(EVERY)))))
    assert sky_view_factor(HorizonProfile(EVERY, valley), 0, 0) == pytest.approx(
        np.cos(np.radians(h)), abs=4e-5
    )


@pytest.mark.parametrize(("h", "width"), [(10, 90), (10, 180), (20, 90), (30, 90), (30, 180)])
def test_a_sector_between_vertical_edges(h, width):
    # 1 - (w / 360) sin^2 h, wherever the sector stands
    sector = HorizonProfile([33.3, 33.3, 33.3 + width, 33.3 + width], [0, h, h, 0])
    expected = 1 - width / 360 * np.sin(np.radians(h)) ** 2
    assert sky_view_factor(sector, 0, 0) == pytest.approx(expected, abs=1e-9)


@pytest.mark.parametrize(("tilt", "h"), [(10, 10), (10, 20), (20, 30), (30, 45)])
def test_uniform_horizon_at_least_as_high_as_the_plane_is_tilted(tilt, h):
    # cos b cos^2 h for h >= b
    expected = np.cos(np.radians(tilt)) * np.cos(np.radians(h)) ** 2
    assert sky_view_factor(uniform(h), tilt, 77) == pytest.approx(expected, abs=1e-9)


@given(
    st.lists(st.floats(0, 80), min_size=3, max_size=40),
    st.floats(0, 90),
    st.floats(0, 360),
    st.floats(-720, 720),
)
def test_turning_plane_and_horizon_together_changes_nothing(heights, tilt, azimuth, turn):
    at = np.linspace(0, 360, len(heights), endpoint=False)
    before = sky_view_factor(HorizonProfile(at, heights), tilt, azimuth)
    after = sky_view_factor(HorizonProfile(at, heights).turned(turn), tilt, azimuth + turn)
    assert after == pytest.approx(before, abs=1e-9)


def test_a_horizon_below_level_counts_as_level():
    assert sky_view_factor(uniform(-20), 30, 180) == pytest.approx(
        sky_view_factor(uniform(0), 30, 180)
    )
