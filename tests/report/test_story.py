"""Several points told shortly: each name once, nothing that says nothing."""

from typing import Any

import numpy as np
import pytest

from logger.access import Plane, SiteYear
from logger.horizon import HorizonProfile, Obstruction
from logger.report.figures import plane_figures
from logger.report.story import (
    assumptions_once,
    planes_table,
    point_story,
    taken_table,
    what_calibration_changes,
)
from logger.settings import Settings
from logger.site import Site


@pytest.fixture(scope="module")
def document() -> dict[str, Any]:
    """A hill in the south-east seen left and right of a house, and woods in the north."""
    azimuth = np.arange(0.0, 360.0, 5.0)
    elevation = np.where((azimuth >= 90) & (azimuth < 180), 15.0, 0.0)
    names = [("hill", 90, 120), ("house", 120, 150), ("hill", 150, 180), ("woods", 350, 10)]
    profile = HorizonProfile(
        azimuth, elevation, obstructions=tuple(Obstruction(*one) for one in names)
    )
    planes = [Plane("roof", 30, 180), Plane("east wall", 90, 90)]
    year = SiteYear(Site(46.05, 14.51, 310.0), planes, Settings(draws=0))
    return year.assess(profile).as_dict()


def test_a_point_is_told_window_first_then_planes_then_what_takes_their_light(
    document: dict[str, Any],
) -> None:
    told = point_story("yard", document)
    assert told.startswith("== yard ==\n\n9 to 15 solar time is not clear")
    assert told.index("is not clear") < told.index("east wall") < told.rindex("house")
    assert "\n\n\n" not in told


def test_a_name_stands_once_for_all_its_sectors_and_planes(document: dict[str, Any]) -> None:
    planes = [plane_figures(entry) for entry in document["planes"]]
    table = taken_table(planes)
    assert sorted(row[0] for row in table.rows) == ["hill", "house", "unnamed skyline"]
    hill = next(row for row in table.rows if row[0] == "hill")
    for k, plane in enumerate(planes, 1):
        sectors = [o.year for o in plane.by_obstruction if o.name == "hill"]
        assert len(sectors) == 2
        assert hill[k] == pytest.approx(sum(sectors))


def test_no_row_is_all_zero_as_printed(document: dict[str, Any]) -> None:
    planes = [plane_figures(entry) for entry in document["planes"]]
    for row in taken_table(planes).printed():
        assert any(float(cell) > 0 for cell in row[1:])


def test_the_poorest_month_is_that_of_the_plane(document: dict[str, Any]) -> None:
    planes = [plane_figures(entry) for entry in document["planes"]]
    for plane, row in zip(planes, planes_table(planes).rows, strict=True):
        assert row[-1] == pytest.approx(plane.solar_access.value.min())


def test_what_calibration_changes_stands_side_by_side(document: dict[str, Any]) -> None:
    planes = [plane_figures(entry) for entry in document["planes"]]
    table = what_calibration_changes([("yard", planes, planes[::-1])])
    assert [row[:2] for row in table.rows] == [("yard", "roof"), ("yard", "east wall")]
    assert table.rows[0][5] == table.rows[1][2]


def test_what_two_points_rest_on_is_said_once(document: dict[str, Any]) -> None:
    one = assumptions_once([document]).splitlines()
    assert assumptions_once([document, document]).splitlines() == one
    assert any("clear sky all year" in line for line in one)
