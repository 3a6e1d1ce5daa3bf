"""What was seen, what the sun crosses, and what the operator is told to do."""

from __future__ import annotations

import numpy as np
import pytest
from skyline_paths import blocks_line, swept, wavy, wavy_line

from logger.horizon_fit import (
    HorizonSettings,
    Pass,
    running_horizon,
    sun_crosses,
    sun_elevation_range,
)
from logger.horizon_fit.coverage import Sector, sectors
from logger.site import Site
from logger.sun import sun_track

AT_46_NORTH = HorizonSettings(latitude_deg=46.0)


@pytest.mark.parametrize("latitude", [-67.5, -34.0, 0.0, 12.0, 46.0, 71.0])
def test_the_sun_crosses_what_the_solar_position_algorithm_says(latitude: float) -> None:
    # Checked against pvlib's implementation of NREL/TP-560-34302 over a whole year.
    times = np.arange("2026-01-01", "2027-01-01", 17, dtype="datetime64[m]")
    track = sun_track(times, Site(latitude, 0.0))
    up = track.elevation_deg > 1.0
    seen = np.unique(np.floor(track.azimuth_deg[up]).astype(int))
    crossed = sun_crosses(np.arange(360) + 0.5, latitude)
    assert crossed[seen].all()
    low, top = sun_elevation_range(np.arange(360) + 0.5, latitude)
    highest = np.full(360, -90.0)
    np.maximum.at(highest, np.floor(track.azimuth_deg).astype(int), track.elevation_deg)
    assert (highest[~crossed] < 1.0).all()
    # Near the zenith the sun runs through azimuths faster than it is sampled here.
    slow = crossed & (top < 60.0) & (top > 1.0)
    if abs(latitude) > 30.0:
        assert highest[slow] == pytest.approx(top[slow], abs=2.5)
    assert (low[crossed] <= top[crossed]).all()


def test_at_46_north_the_sun_leaves_the_north_alone() -> None:
    # Sunrise at the solstice: cos A = sin 23.44 / cos 46, A = 55.1 degrees.
    crossed = sun_crosses(np.array([54.0, 56.0, 180.0, 304.0, 306.0]), 46.0)
    assert crossed.tolist() == [False, True, True, True, False]


def test_without_a_latitude_every_sector_matters() -> None:
    assert sun_crosses(np.arange(0.0, 360.0, 10.0), None).all()


def test_noon_heights_bound_the_range() -> None:
    low, high = sun_elevation_range(np.array([180.0]), 46.0)
    assert low[0] == pytest.approx(90 - 46 - 23.44, abs=0.3)
    assert high[0] == pytest.approx(90 - 46 + 23.44, abs=0.3)


def test_runs_of_cells_become_sectors_across_north() -> None:
    marked = np.zeros(360, dtype=bool)
    marked[350:] = marked[:20] = marked[100:110] = True
    assert set(sectors(marked)) == {Sector(100.0, 110.0), Sector(350.0, 20.0)}
    assert sectors(np.ones(36, dtype=bool)) == (Sector(0.0, 360.0),)
    assert sectors(np.zeros(36, dtype=bool)) == ()


def test_while_sweeping_the_screen_says_where_to_go_back_to() -> None:
    first = swept(*wavy_line(40.0, 212.0), passes=2)
    second = swept(*wavy_line(231.0, 320.0), passes=2, seed=1)
    running = running_horizon([Pass(first), Pass(second)], AT_46_NORTH)
    assert running.guidance == "go back to 212 to 231 degrees"


def test_when_all_is_seen_there_is_nothing_to_say() -> None:
    running = running_horizon([Pass(swept(*wavy_line()))], AT_46_NORTH)
    assert running.guidance == ""
    assert running.elevation_deg == pytest.approx(wavy(running.azimuth_deg), abs=0.8)


def test_one_pass_so_far_asks_for_the_way_back() -> None:
    running = running_horizon([Pass(swept(*wavy_line(), passes=1))], AT_46_NORTH)
    assert running.guidance.startswith("seen once: sweep again over 55 to 305")


def test_disagreement_shows_while_sweeping() -> None:
    azimuth, elevation = wavy_line()
    raised = elevation + np.where((azimuth > 170) & (azimuth < 200), 6.0, 0.0)
    passes = [Pass(swept(azimuth, line, passes=1)) for line in (elevation, raised)]
    guidance = running_horizon(passes, AT_46_NORTH).guidance
    assert guidance.startswith("passes disagree: trace again 1")


def test_a_mast_that_one_pass_missed_shows_while_sweeping() -> None:
    azimuth, elevation = blocks_line()
    mast = [i for i, a in enumerate(azimuth) if a in (150.0, 151.4)]
    bare = [e for i, e in enumerate(elevation) if i not in mast]
    without = [a for i, a in enumerate(azimuth) if i not in mast]
    passes = [
        Pass(swept(azimuth, elevation, passes=1)),
        Pass(swept(without, bare, passes=1, seed=1)),
    ]
    guidance = running_horizon(passes, AT_46_NORTH).guidance
    assert guidance.startswith("passes disagree: trace again 1")


@pytest.mark.parametrize("speed", [8.0, 20.0])
def test_tremor_at_edges_is_no_disagreement(speed: float) -> None:
    recorded = swept(*blocks_line(), seed=2, speed_deg_s=speed)
    assert running_horizon([Pass(recorded)], AT_46_NORTH).guidance == ""


def test_before_the_first_sample_there_is_everything_to_do() -> None:
    assert running_horizon([], AT_46_NORTH).guidance == "go back to 55 to 305 degrees"


def test_a_sector_that_rounds_to_one_degree_is_told_as_one() -> None:
    assert str(Sector(259.6, 260.4)) == "about 260°"
    assert str(Sector(259.4, 260.4)) == "259 to 260°"
