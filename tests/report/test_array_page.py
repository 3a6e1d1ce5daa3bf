"""The page of a whole array, and what it tells the other pages: cover, distances, positions."""

from __future__ import annotations

import re

import numpy as np
import pytest

from logger.report import array, cover, installer, pages
from logger.report.content import Report
from logger.report.language import Words
from logger.report.pictures import Pictures
from logger.simulation.scenes import SWALLOW_HOUSE, WEST_EAVE
from logger.sun import sun_track
from logger.sun_paths import utc_of_solar_hour
from logger.survey.array import extreme_windows

W = Words()


@pytest.fixture
def report(roof) -> Report:
    return roof


@pytest.fixture
def west_eave(report) -> dict:
    """Its page."""
    return pages.point_page(report, report.points[0], Pictures(), W)


def test_the_cover_answers_for_the_whole_array(report):
    ((name, unfit, told),) = cover.cover(report, Pictures(), W)["arrays"]
    assert (name, unfit) == ("south roof", "")
    assert re.search(r"Over its whole area south roof keeps \d+\s%.* of the year's light", told)
    ends = re.search(
        r"As you look up the slope, the worst place is at the lower right \([\d.]+ m across and "
        r"[\d.]+ m up\) with (\d+)\s%.*, the best is at the upper left .* with (\d+)\s%",
        told,
    )
    assert ends
    assert int(ends[1]) < int(ends[2])


def test_only_what_can_be_cut_or_moved_is_said_to_gain_and_the_same_on_both_pages(report):
    (found,) = report.arrays
    assert found.gains[0].name == "neighbour's house"  # it would gain most, but stays
    told = array.page(found, Pictures(), W)["lines"][1]
    walnut = next(gain for gain in found.gains if gain.name == "walnut")
    assert 0.005 < walnut.value < found.gains[0].value
    low, value, high = (f"{100 * x:.1f}" for x in (walnut.low, walnut.value, walnut.high))
    assert told.startswith(
        f"Of what could be removed, taking away walnut would gain most: {value} percentage points "
        f"({low} to {high}) of the year's light on all of south roof, from "
    )
    assert told == dict(cover.cover(report, Pictures(), W)["lines"])["What could be changed"]


def test_what_shows_through_a_crown_is_named_by_it_and_two_points_tell_a_distance(west_eave):
    rows = {row[0]: row for row in west_eave["blocks"]["rows"]}
    assert "behind walnut" in rows
    assert not any("°" in name for name in rows)
    # The walnut's crown of 3 m radius stands 7.5 m west and 8.5 m south of the origin.
    east, north, _ = WEST_EAVE
    away = ((east + 7.5) ** 2 + (north + 8.5) ** 2) ** 0.5 - 3
    assert float(rows["walnut"][2]) == pytest.approx(away, abs=0.4)


def test_positions_that_stand_in_the_recordings_reach_the_installer(report, west_eave):
    row = next(r for r in installer.installer(report, W)["places"]["rows"] if r[0] == "west eave")
    assert row[1:5] == ["−3.3", "−2.1", "3.9", "0.05"]
    assert "3.3 m west, 2.1 m south, 3.9 m up from the job's origin" in west_eave["facts"]


def test_the_installer_learns_when_the_worst_and_the_best_place_are_shaded_and_by_what(report):
    """On the shortest day the stretches are those that the invented place itself would cast."""
    (found,) = report.arrays
    hours = np.arange(9.125, 15.0, 0.25)
    day = np.repeat(np.datetime64("2026-12-21"), len(hours))
    sun = sun_track(utc_of_solar_hour(day, hours, report.job.site.longitude_deg), report.job.site)
    (table,) = installer.installer(report, W)["arrays"]
    places = (found.over_m[int(k(found.over_value))] for k in (np.argmin, np.argmax))
    for at_m, window, cell in zip(
        places, extreme_windows(found), table["rows"][11][2:], strict=True
    ):
        scene, right = SWALLOW_HOUSE.scene(*at_m.tolist()), 0
        for hour, azimuth, elevation in zip(hours, sun.azimuth_deg, sun.elevation_deg, strict=True):
            is_dark = elevation < scene.elevation_at(azimuth)
            name = scene.obstruction_at(azimuth).name if is_dark else None
            told = {
                b.obstruction
                for b in window.blocked
                if b.month == 12 and b.from_solar_hour <= hour <= b.to_solar_hour
            }
            right += name in told if is_dark else not told
        assert right >= len(hours) - 2
        assert all(b.obstruction in cell for b in window.blocked if b.month == 12)
    assert table["rows"][5][1:] == ["10:02–16:02", "–", "–"]


def test_a_gain_stands_with_its_interval_and_whether_it_can_be_had(report):
    (found,) = report.arrays
    rows = {row[0]: row for row in array.obstructions(found, W)["rows"]}
    assert {name for name, row in rows.items() if row[4] == "yes"} == {"walnut", "flagpole"}
    for gain in found.gains:
        assert 0 <= gain.low <= gain.value <= gain.high
        ends = f"{100 * gain.value:.1f} ({100 * gain.low:.1f}–{100 * gain.high:.1f})"
        assert rows[gain.name][5] == ends


def test_it_is_told_where_the_origin_is_and_that_nobody_measured_the_outline(report):
    (found,) = report.arrays
    told = " ".join(array.page(found, Pictures(), W)["lines"])
    assert "its outline is as the job tells it, not measured by the sweeps" in told
    assert "lower left corner as you look up the slope, which stands 4.4 m west, 2.8 m" in told
    origin = "west eave stands 3.3 m west, 2.1 m south, 3.9 m up from it."
    assert origin in told
    assert origin in installer.installer(report, W)["places"]["note"]
