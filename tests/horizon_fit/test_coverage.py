"""What was seen, and what the sun crosses."""

from __future__ import annotations

import numpy as np
import pytest
from skyline_paths import followed, fused, sight

from logger.horizon_fit.coverage import Sector, sectors
from logger.site import Site
from logger.sun import sun_track
from logger.sun_range import sun_crosses


@pytest.mark.parametrize("latitude", [-67.5, -34.0, 0.0, 12.0, 46.0, 71.0])
def test_the_sun_crosses_what_the_solar_position_algorithm_says(latitude: float) -> None:
    # Checked against pvlib's implementation of NREL/TP-560-34302 over a whole year.
    times = np.arange("2026-01-01", "2027-01-01", 17, dtype="datetime64[m]")
    track = sun_track(times, Site(latitude, 0.0))
    up = track.elevation_deg > 1.0
    seen = np.unique(np.floor(track.azimuth_deg[up]).astype(int))
    crossed = sun_crosses(np.arange(360) + 0.5, latitude)
    assert crossed[seen].all()
    highest = np.full(360, -90.0)
    np.maximum.at(highest, np.floor(track.azimuth_deg).astype(int), track.elevation_deg)
    assert (highest[~crossed] < 1.0).all()


def test_at_46_north_the_sun_leaves_the_north_alone() -> None:
    # Sunrise at the solstice: cos A = sin 23.44 / cos 46, A = 55.1 degrees.
    crossed = sun_crosses(np.array([54.0, 56.0, 180.0, 304.0, 306.0]), 46.0)
    assert crossed.tolist() == [False, True, True, True, False]


def test_what_a_flick_of_the_hand_passes_over_was_not_seen() -> None:
    """Six degrees between one row and the next are a gap, two are not."""
    t_s, azimuth, elevation = followed([0.0, 359.0], [10.0, 10.0], speed_deg_s=20.0)
    kept = ~((azimuth > 100) & (azimuth < 106) | (azimuth > 200) & (azimuth < 202))
    result = fused(sight(t_s[kept], azimuth[kept], elevation[kept]))
    assert result.profile.measured_at(np.array([99.0, 103.0, 107.0, 201.0])).tolist() == [
        True, False, True, True,
    ]  # fmt: skip
    assert not next(c for c in result.checks if c.check == "sun's range measured").passed


def test_runs_of_cells_become_sectors_across_north() -> None:
    marked = np.zeros(360, dtype=bool)
    marked[350:] = marked[:20] = marked[100:110] = True
    assert set(sectors(marked)) == {Sector(100.0, 110.0), Sector(350.0, 20.0)}
    assert sectors(np.ones(36, dtype=bool)) == (Sector(0.0, 360.0),)
    assert sectors(np.zeros(36, dtype=bool)) == ()


def test_a_sector_that_rounds_to_one_degree_is_told_as_one() -> None:
    assert str(Sector(259.6, 260.4)) == "about 260°"
    assert str(Sector(259.4, 260.4)) == "259 to 260°"
