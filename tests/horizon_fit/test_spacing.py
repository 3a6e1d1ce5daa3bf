"""Whether a skyline from a file is told closely enough to be one."""

import numpy as np

from logger.horizon import HorizonProfile
from logger.sun_range import spacing_check


def every(step_deg: float) -> np.ndarray:
    return np.arange(0.0, 360.0, step_deg)


def test_a_wide_gap_is_named_with_its_ends_and_the_number_of_points() -> None:
    azimuth = np.array([a for a in every(5.0) if not 200 < a < 230])
    check = spacing_check(HorizonProfile(azimuth, np.full(azimuth.size, 4.0)), 46.0)
    assert not check.passed
    assert check.value == 30
    assert f"{azimuth.size} azimuths and nothing between 200 and 230°" in check.why


def test_a_gap_that_the_sun_never_crosses_does_not_count() -> None:
    azimuth = np.array([a for a in every(5.0) if 45 <= a <= 315])
    profile = HorizonProfile(azimuth, np.full(azimuth.size, 4.0))
    assert spacing_check(profile, 46.0).passed
    assert not spacing_check(profile, -46.0).passed
    assert not spacing_check(profile, 70.0).passed


def test_one_point_is_no_skyline_and_north_is_no_end() -> None:
    assert spacing_check(HorizonProfile([90.0], [3.0]), 0.0).value > 90
    azimuth = np.array([a for a in every(5.0) if 20 <= a <= 340])
    check = spacing_check(HorizonProfile(azimuth, np.full(azimuth.size, 4.0)), -40.0)
    assert "between 340 and 20°" in check.why


def test_an_unmeasured_stretch_is_bounded_as_such_and_does_not_count() -> None:
    azimuth = np.array([a for a in every(5.0) if not 200 < a < 230])
    elevation = np.full(azimuth.size, 4.0)
    elevation[azimuth == 230.0] = np.nan
    assert spacing_check(HorizonProfile(azimuth, elevation), 46.0).passed


def test_a_vertical_edge_is_no_gap() -> None:
    azimuth = np.sort(np.append(every(10.0), [180.0, 190.0]))
    assert spacing_check(HorizonProfile(azimuth, np.full(azimuth.size, 4.0)), 46.0).value == 10


def test_an_open_horizon_takes_no_points_to_tell() -> None:
    assert spacing_check(HorizonProfile([0.0], [0.0]), 46.0).passed
    hut = HorizonProfile([0.0, 180.0, 180.0, 190.0, 190.0], [0.0, 0.0, 20.0, 20.0, 0.0])
    check = spacing_check(hut, 46.0)
    assert check.passed
    assert check.value == 10
