"""The same point swept again: what grew, and what only came into leaf."""

from __future__ import annotations

import datetime as dt
import re
from dataclasses import replace

import numpy as np
import pytest

from logger.access import Plane, Rules
from logger.agreement.growth import Dated, changes_of
from logger.horizon import HorizonProfile, Obstruction
from logger.report.changed import changed_page
from logger.report.language import Words
from logger.simulation import DEFAULT_SITE
from logger.survey.compare import Difference
from logger.survey.growth import Changed, RuleFails, rules_that_fail
from logger.survey.recipe import Recipe

AZIMUTH = np.arange(0.0, 360.0, 0.5)
SPRUCE = Obstruction("spruces", 150.0, 200.0, "evergreen", 15.0)
LIME = Obstruction("lime", 220.0, 250.0, "deciduous")
SHED = Obstruction("shed", 90.0, 110.0, "building", 30.0)
DAY = dt.date(2026, 6, 1)


def survey(
    spruce_m=8.0, lime_deg=20.0, shed_deg=8.0, years=0.0, leaf="in leaf", lift=0.0, random_deg=0.1,
    **more,
):  # fmt: skip
    """Things on a horizon of 4°; the spruces' height above the sight, 15 m away."""
    elevation = np.full(AZIMUTH.size, 4.0)
    tops = {
        SPRUCE: np.degrees(np.arctan(spruce_m / 15.0)), LIME: lime_deg, SHED: shed_deg,
    }  # fmt: skip
    for thing, top in tops.items():
        inside = (thing.from_azimuth_deg <= AZIMUTH) & (thing.to_azimuth_deg >= AZIMUTH)
        elevation = np.where(inside, top, elevation)
    errors = {"level_error_deg": 0.3, "heading_error_deg": 0.5} | more
    profile = HorizonProfile(
        AZIMUTH, elevation + lift, np.full(AZIMUTH.size, random_deg), obstructions=tuple(tops),
        **errors,
    )  # fmt: skip
    return Dated(profile, DAY + dt.timedelta(days=365.25 * years), leaf)


def by_name(then, now):
    return {change.name: change for change in changes_of(then, now)}


def test_growth_is_told_in_degrees_and_metres_a_year() -> None:
    changed = by_name(survey(8.0), survey(9.2, years=4.0))
    steady = by_name(survey(8.0), survey(9.2, years=4.0, lift=0.4))
    assert not steady["shed"].significant
    assert not steady["everything else"].significant
    found = changed["spruces"]
    assert found.significant
    assert found.rate_m is not None
    assert found.rate_m.value == pytest.approx(0.3, abs=0.01)
    # Level and hand of two surveys: 0.3° each, 95 %, at 15 m and 29.8° up, over four years
    half = 1.96 * np.hypot(0.3, 0.3) * np.radians(1) * 15 / np.cos(np.radians(29.8)) ** 2 / 4
    assert found.rate_m.interval[1] - found.rate_m.value == pytest.approx(half, rel=0.1)


def test_random_errors_count_once_over_their_correlation_length() -> None:
    steady = {"level_error_deg": 0.0, "heading_error_deg": 0.0, "correlation_deg": 2.0}
    then, now = (survey(8.0, random_deg=2.0, years=y, **steady) for y in (0.0, 4.0))
    # 50° of spruces are ten lengths of 2° times sqrt(2 pi); two surveys
    expected = 2.0 / np.sqrt(50 / (2 * np.sqrt(2 * np.pi))) * np.sqrt(2)
    found = by_name(then, now)["spruces"].difference_deg
    assert found.error == pytest.approx(expected, rel=0.02)


def test_a_house_does_not_grow_and_a_crown_in_leaf_did_not_either() -> None:
    found = by_name(
        survey(leaf="bare", lime_deg=16.0), survey(lime_deg=20.0, shed_deg=14.0, years=2)
    )
    assert found["shed"].significant
    assert found["shed"].rate_deg is None
    assert found["lime"].only_leaf
    assert found["lime"].rate_deg is None
    both_in_leaf = by_name(survey(lime_deg=16.0), survey(lime_deg=20.0, years=2))["lime"]
    assert both_in_leaf.rate_deg is not None
    assert both_in_leaf.rate_deg.value == pytest.approx(2.0, abs=0.05)


def test_a_tree_that_is_gone_is_told_lower_and_one_that_was_missed_is_not_known() -> None:
    now = survey(0.0, years=1)
    left = tuple(o for o in now.profile.obstructions if o.name != "spruces")
    cut = replace(now, profile=replace(now.profile, obstructions=left))
    found = by_name(survey(8.0), cut)["spruces"]
    assert found.significant
    assert found.difference_deg.value < -20
    south = (AZIMUTH > 140) & (AZIMUTH < 210)
    missed = replace(now, profile=replace(now.profile, measured=~south))
    assert by_name(survey(8.0), missed)["spruces"].significant is None


def test_a_rule_that_is_kept_now_fails_in_the_year_that_growth_tells() -> None:
    then, now = survey(8.0), survey(9.2, years=4.0)
    recipe = Recipe(DEFAULT_SITE, (Plane("south", 35.0, 180.0),), rules=Rules(0.815))
    (fails,) = rules_that_fail(now.profile, changes_of(then, now), recipe)
    assert fails.plane == "south"
    assert fails.earliest < fails.years
    assert fails.latest is None or fails.latest > fails.years

    def access(height_m: float) -> float:
        from logger.access import SiteYear
        from logger.settings import Settings

        year = SiteYear(DEFAULT_SITE, recipe.planes, Settings(draws=0))
        return year.assess(survey(height_m).profile).planes[0].solar_access.annual

    # The same tree as many years older, drawn anew
    assert access(9.2 + 0.3 * fails.years) < 0.815 <= access(9.2 + 0.3 * (fails.years - 1))
    assert not rules_that_fail(now.profile, changes_of(then, then), recipe)


def test_the_page_says_of_each_thing_what_it_means() -> None:
    then = survey(9.2, lime_deg=16.0, leaf="bare")
    now = survey(8.0, lime_deg=20.0, shed_deg=14.0, years=2.0)
    back = replace(now, day=then.day), replace(then, day=now.day)
    tables = []
    for pair in ((then, now), back, (then, replace(now, day=then.day))):
        fails = (RuleFails("roof", "beam access", 7, 5, 19),)
        found = Changed("yard", pair[0].day, pair[1].day, tuple(changes_of(*pair)),
                        Difference(-0.021, -0.03, -0.012), fails)  # fmt: skip
        (page,) = changed_page([found], Words())["points"]
        tables.append({name: (left, rate, what) for name, left, _, _, rate, what in page["rows"]})
    assert page["answers"] == [
        "Solar access of the year differs by −2.1 percentage points (95 % interval −3.0 to −1.2).",
        "At this growth beam access on roof fails in 7 years (earliest 5, latest 19).",
    ]
    cut, grown, at_once = tables
    assert cut["spruces"][0] == "31.5"  # 9.2 m over 15 m
    assert re.match(r"−0\.60 \(.* m$", cut["spruces"][1])
    assert re.match(r"0\.60 \(.* m$", grown["spruces"][1])
    assert {name: row[2] for name, row in cut.items()} == {
        "spruces": "lower: cut, fallen or traced otherwise",
        "lime": "in leaf against bare: no growth",
        "shed": "higher: built, or traced otherwise",
        "everything else": "no significant change",
    }
    assert grown["spruces"][2] == "grown"
    assert at_once["spruces"][1:] == ("–", "changed; too short a time for a rate")
