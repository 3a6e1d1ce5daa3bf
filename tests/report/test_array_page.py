"""The page of a whole array, and what it tells the other pages: cover, distances, positions."""

from __future__ import annotations

import datetime as dt
import re
from dataclasses import replace

import pytest

from logger.job import read_job
from logger.report import array_page, cover, pages, sheets
from logger.report.content import Report, beside_of
from logger.report.language import Words
from logger.report.pictures import Pictures
from logger.simulation.scenes import WEST_EAVE
from logger.survey.array import arrays_of
from logger.survey.demo import ROOF, shipped_survey
from logger.survey.points import point_result
from logger.survey.recipe import recipe_of

from .conftest import FEW

W = Words()


@pytest.fixture(scope="module")
def report() -> Report:
    """The shipped roof, whose positions stand in its recordings alone."""
    job = read_job(shipped_survey(ROOF))
    recipe = replace(recipe_of(job), settings=FEW)
    points = tuple(point_result(job, name, recipe) for name in ("west eave", "east ridge"))
    beside = {point.name: beside_of(job, point) for point in points}
    arrays = arrays_of(job, recipe, points)
    return Report(job, recipe, points, beside, dt.date(2026, 5, 20), arrays=arrays)


def test_the_cover_answers_for_the_whole_array(report):
    ((name, unfit, told),) = cover.cover(report, Pictures(), W)["arrays"]
    assert (name, unfit) == ("south roof", "")
    assert re.search(r"Over its whole area south roof keeps \d+\s%.* of the year's light", told)
    ends = re.search(
        r"Its worst place keeps (\d+)\s%.*, [\d.]+ m across and [\d.]+ m up the slope, "
        r"its best (\d+)\s%",
        told,
    )
    assert ends
    assert int(ends[1]) < int(ends[2])


def test_only_what_can_be_cut_or_moved_is_said_to_gain_and_the_same_on_both_pages(report):
    (found,) = report.arrays
    assert found.gains[0].name == "neighbour's house"  # it would gain most, but stays
    told = array_page.page(report, found, Pictures(), W)["lines"][1]
    walnut = next(gain.gained for gain in found.gains if gain.name == "walnut")
    assert 0.005 < walnut < found.gains[0].gained
    assert told == (
        "Of what could be removed, taking away walnut would gain most: "
        f"{100 * walnut:.1f} points of the year over all of south roof."
    )
    assert told == dict(cover.cover(report, Pictures(), W)["lines"])["What could be changed"]


def test_what_shows_through_a_crown_is_named_by_it(report):
    page = pages.point_page(report, report.points[0], Pictures(), W)
    names = [row[0] for row in page["blocks"]["rows"]]
    assert "behind walnut" in names
    assert not any("°" in name for name in names)


def test_a_distance_that_two_points_tell_stands_on_the_page_of_each(report):
    page = pages.point_page(report, report.points[0], Pictures(), W)
    walnut = next(row for row in page["blocks"]["rows"] if row[0] == "walnut")
    # Its crown of 3 m radius stands 7.5 m west and 8.5 m south of the origin.
    east, north, _ = WEST_EAVE
    assert float(walnut[2]) == pytest.approx(
        ((east + 7.5) ** 2 + (north + 8.5) ** 2) ** 0.5 - 3, abs=0.4
    )


def test_positions_that_stand_in_the_recordings_reach_the_installer(report):
    row = next(r for r in sheets.installer(report, W)["places"]["rows"] if r[0] == "west eave")
    assert row[1:4] == ["−3.3", "−2.1", "3.9"]
    facts = pages.point_page(report, report.points[0], Pictures(), W)["facts"]
    assert "3.3 m west, 2.1 m south, 3.9 m up from the job's origin" in facts
