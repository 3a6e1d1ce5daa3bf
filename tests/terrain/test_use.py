"""What a computed far horizon adds to a swept one."""

from __future__ import annotations

import numpy as np
import pytest

from logger.access import Plane, SiteYear
from logger.horizon import HorizonProfile, Obstruction
from logger.site import Site
from logger.terrain import FarHorizon, with_terrain

SITE, PLANE = Site(46.05, 14.51, 310.0), Plane("roof", 30.0, 180.0)
GRID = np.arange(0.0, 360.0, 0.25)


def far(elevation_deg, error_deg=0.1, distance_m=8_000.0):
    full = np.ones(GRID.size)
    return FarHorizon(
        GRID, elevation_deg * full, distance_m * full, error_deg * full, np.inf * full, 312.0
    )


def swept(elevation_deg, gap=(140.0, 220.0), **more):
    inside = (gap[0] <= GRID) & (gap[1] >= GRID)
    return HorizonProfile(GRID, np.where(inside, np.nan, elevation_deg), **more)


def access(profile):
    return SiteYear(SITE, [PLANE]).assess(profile).planes[0].solar_access


def test_where_nothing_was_swept_the_terrain_is_the_least_that_stands_there():
    before, after = (access(one) for one in (swept(2.0), with_terrain(swept(2.0), far(25.0))))
    # At best the gap is open above the terrain, not down to the level.
    assert after.high[12] < before.high[12] - 0.02
    assert after.low[12] <= before.low[12] + 0.002


def test_the_least_is_the_lower_end_of_the_band():
    profile = with_terrain(swept(2.0), far(12.0, error_deg=1.0)).filled(0.0)
    assert profile.elevation_at(180.0) == pytest.approx(12.0 - 1.96, abs=0.01)
    assert profile.elevation_at(90.0) == 2.0


def test_what_was_swept_is_never_changed_by_it():
    profile = with_terrain(swept(2.0, gap=(500.0, 501.0)), far(12.0))
    assert profile.least_deg is None
    assert (profile.elevation_deg == 2.0).all()
    assert profile.steps == ()


def test_that_it_was_used_is_said():
    profile = with_terrain(swept(2.0), far(12.0))
    assert "elevation data" in profile.steps[-1]
    assert any("elevation data" in note for note in SiteYear(SITE, [PLANE]).assess(profile).notes)


def test_a_low_terrain_in_a_gap_changes_nothing():
    before, after = access(swept(2.0)), access(with_terrain(swept(2.0), far(-0.5)))
    assert after.high == pytest.approx(before.high, abs=1e-6)


def named(kind, elevation_deg, distance_m=None):
    one = Obstruction("it", 100.0, 200.0, kind, distance_m)
    return with_terrain(
        swept(elevation_deg, gap=(500.0, 501.0), obstructions=(one,)), far(5.0, distance_m=8_040.0)
    ).obstructions[0]


@pytest.mark.parametrize(
    ("kind", "elevation_deg", "distance_m", "told"),
    [
        ("terrain", 5.1, None, 8_000.0),  # to a hundred metres
        ("terrain", 9.0, None, None),  # a near slope stands before the far ridge
        ("terrain", 5.1, 300.0, 300.0),  # somebody told it
        ("evergreen", 5.1, None, None),
    ],
)
def test_obstructions_of_kind_terrain_get_the_far_ridge_s_distance(
    kind, elevation_deg, distance_m, told
):
    assert named(kind, elevation_deg, distance_m).distance_m == told
