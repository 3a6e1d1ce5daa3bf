"""The answers in words: the year, the solar window, which point is best, what north rests on."""

from __future__ import annotations

import re
from dataclasses import replace

import numpy as np
import pytest

from logger.access import FAIL, PASS, TOO_CLOSE, Bounded, Verdict
from logger.access.window import Blocked
from logger.report import cover, installer, pages, sentences
from logger.report.language import Words
from logger.survey.gains import Gain

from .conftest import FAILED, PASSED

W = Words()


def plain(text: str) -> str:
    return text.replace("\N{NO-BREAK SPACE}", " ")


def test_the_window_comes_first_then_planes_then_what_they_rest_on(point_of, access_of):
    told = sentences.answer_text(point_of("yard", 30.0, checks=(PASSED,)))
    start = "From 9 to 15 h solar time the sun is out of sight for part of the time in "
    assert told.startswith(start)
    order = ["roof: tilt 35°", "east wall: tilt 90°", "declination", "samples used"]
    places = [told.index(word) for word in order]
    assert places == sorted(places)
    assert "\n\n\n" not in told
    failed = sentences.answer_text(point_of("yard", 30.0, checks=(PASSED, FAILED)))
    assert failed.startswith(f"NOT FIT FOR USE: failed passes agree\n\n{start}")
    of_a_file = sentences.answer_text(access_of())
    assert "samples" not in of_a_file
    assert "year 2026" in of_a_file


def test_several_points_are_told_shortly_and_share_what_they_rest_on(point_of):
    points = [point_of("yard", 30.0), point_of("eave")]
    assert sentences.point_story(points[0]).startswith("== yard ==\n\nFrom 9 to 15 h")
    once = sentences.assumptions_once(points).splitlines()
    assert len(once) == len(set(once))
    assert not any(line.endswith("samples used") for line in once)


def test_what_is_blocked_is_told_month_by_month_with_its_hours_and_name(point_of):
    window = point_of("yard", 30.0).access.planes[0].window
    (december,) = re.findall(
        r"Dec:.* (\d+:\d\d) to (\d+:\d\d) by =barn", sentences.window_text(window)
    )
    # The barn spans 150 to 200° and reaches above the whole of December's path there.
    assert december[1] > "13:10"
    assert december[0].startswith("9:")
    stretch = replace(window.blocked[0], to_solar_hour=15.0)
    own = tuple(replace(stretch, month=m, from_solar_hour=8.0 + m / 4) for m in (1, 11, 12))
    starts = re.findall(
        r"(\w+): (\d+:\d\d) to", sentences.window_text(replace(window, blocked=own))
    )
    assert starts == [("Jan", "8:15"), ("Nov", "10:45"), ("Dec", "11:00")]


def answer_of(point) -> str:
    return plain(sentences.answer(point.name, point.access.planes, W))


def test_a_point_s_answer_says_whether_its_window_is_clear_or_blocked_or_not_known(point_of):
    clear = answer_of(point_of("eave", 2.0))
    assert clear.startswith("Over the year eave receives 100 % (99 to 100 %) on roof and")
    assert clear.endswith("and from 9 to 15 h the sun is in sight in every month.")
    yard = point_of("yard", 30.0)
    shares = yard.access.planes[0].window.monthly_clear_fraction
    worst, n = int(np.argmin(shares)), int((shares < 0.995).sum())  # others print as 100 % clear
    assert (
        f"out of sight for part of the time in {n} months, most in {W.month(worst)}, when it is in "
        f"sight for {shares[worst] * 100:.0f} % of these"
    ) in answer_of(yard)
    unknown = answer_of(point_of("gap", gap=True))
    assert "is not known in" in unknown
    assert "in sight in every month" not in unknown


def test_a_month_is_blocked_alike_wherever_months_are_told(point_of):
    """August loses 0.4 % of its window, September 0.6 %: the one prints as clear, and is."""
    window = point_of("eave", 2.0).access.planes[0].window
    clear = np.ones(12)
    clear[[7, 8]] = 0.996, 0.994
    blocked = tuple(Blocked(m, 9.0, 9.5, "=barn", 0.1, "", "") for m in (8, 9))
    window = replace(window, monthly_clear_fraction=clear, blocked=blocked)
    planes = [replace(p, window=window) for p in point_of("eave", 2.0).access.planes]
    assert "part of the time in September, when" in sentences.answer("eave", planes, W)
    assert "in 1 of 12 months" in sentences.window_text(window)
    assert [m for m, cell in enumerate(installer.shaded_hours(window)) if cell != "–"] == [8]
    assert pages.when_blocked(window, "=barn", W) == "Sept: 9:00 to 9:30"


def with_year(point, value, low, high):
    shares = Bounded(*(np.full(13, v) for v in (value, low, high, low, high)))
    planes = tuple(replace(p, solar_access=shares) for p in point.access.planes[:1])
    return replace(point, access=replace(point.access, planes=planes))


@pytest.mark.parametrize(
    ("bounds", "told"),
    [
        ((0.864, 0.84, 0.88), "yard receives 86 % (84 to 88 %) of the light"),
        ((0.86, 0.86, 0.86), "yard receives 86 % (uncertainty not known) of the light"),
        ((np.nan, 0.6, 0.92), "yard receives between 60 and 92 % of the light"),
        ((np.nan, np.nan, np.nan), "yard gets no sun over the year."),
    ],
)
def test_the_year_is_told_with_what_is_known_of_it(point_of, bounds, told):
    assert told in answer_of(with_year(point_of("yard"), *bounds))


@pytest.mark.parametrize(
    ("years", "told"),
    [
        # Arms of one point each: 10 points less and more sqrt(2)
        (
            {"meadow": (0.9, 0.89, 0.91), "yard": (0.8, 0.79, 0.81)},
            "Solar access at meadow is about 10 percentage points higher than at yard (9 to 11).",
        ),
        (
            {"meadow": (0.81, 0.78, 0.84), "yard": (0.8, 0.77, 0.83)},
            "Solar access at meadow and yard does not differ significantly: 1.0 percentage points, "
            "less than the uncertainty.",
        ),
        (
            {"meadow": (0.9, 0.9, 0.9), "yard": (0.8, 0.8, 0.8)},
            "Solar access at meadow is about 10 percentage points higher than at yard; whether "
            "that is significant is not known, because the uncertainty is not.",
        ),
        (
            {"failed": (0.99, 0.98, 1.0), "unknown": (np.nan, 0.5, 1.0), "a": (0.7, 0.69, 0.71),
             "b": (0.9, 0.89, 0.91)},
            "Solar access at b is about 20 percentage points higher than at a (19 to 21).",
        ),
        ({"failed": (0.99, 0.98, 1.0), "a": (0.7, 0.69, 0.71)}, ""),
    ],
)  # fmt: skip
def test_points_are_ranked_by_what_is_known_and_fit(point_of, years, told):
    points = [
        with_year(point_of(name, checks=(FAILED if name == "failed" else PASSED,)), *bounds)
        for name, bounds in years.items()
    ]
    assert plain(cover.comparison(points, W)) == told
    assert plain(cover.comparison(points[::-1], W)) == told


def test_each_rule_says_where_it_is_met_and_where_not(point_of):
    def judged(name, value, low, high):
        point = with_year(point_of(name), value, low, high)
        plane = replace(
            point.access.planes[0], verdicts=(Verdict("solar access", 0.8, value, low, high),)
        )
        return replace(point, access=replace(point.access, planes=(plane,)))

    points = [judged("a", 0.9, 0.85, 0.95), judged("b", 0.7, 0.6, 0.75), judged("c", 0.8, 0.7, 0.9)]
    verdicts = [p.access.planes[0].verdicts[0].verdict for p in points]
    assert verdicts == [PASS, FAIL, TOO_CLOSE]
    assert [plain(line) for line in cover.rule_sentences(points, W)] == [
        "Solar access of the year, at least 80 %: not met (b: roof).",
        "Solar access of the year, at least 80 %: too close to call (c: roof).",
        "Solar access of the year, at least 80 %: met (a: roof).",
    ]


def test_the_change_that_gains_most_is_told_with_its_interval():
    small, large = (Gain("lime", "roof", 0.8, v, v - 0.01, v + 0.02, True) for v in (0.02, 0.05))
    told = plain(sentences.gain([(small, "roof at eave"), (large, "roof at yard")], W))
    assert told == (
        "Of what could be removed, taking away lime would gain most: 5.0 percentage points (4.0 to "
        "7.0) of the year's light on roof at yard, from 80.0 to 85.0 %."
    )
    nothing = replace(small, value=0.004)
    assert "Nothing that could be cut" in sentences.gain([(nothing, "roof at eave")], W)
    # What has no name may well be something that could be cut.
    told = plain(sentences.gain([(nothing, "roof at eave")], W, unnamed=0.233))
    assert told.startswith("What could be gained is not known: up to 23.3 % of the year's light")


def test_hours_of_the_sun_are_told_by_the_clock(point_of):
    told = sentences.clock_sentence(point_of("yard").access, "Europe/Ljubljana", W)
    # 14.51° east of Greenwich the mean sun is 2 minutes behind the zone's; the sundial is right
    # on 15 June and 5 minutes fast on 15 December (equation of time, any almanac).
    assert "9 to 15 h is 10:02 to 16:02 in June and 08:57 to 14:57 in December" in told


@pytest.mark.parametrize(("bearing", "told"), [(0.5, "within"), (3.0, "more than")])
def test_a_bearing_that_differs_from_the_model_is_said_to_be_within_both_errors_or_not(
    point_of, bearing, told
):
    point = point_of("yard")
    (of,) = (c for c in point.chosen[0].used if c.kind == "bearing")
    model = replace(point.declination, value_deg=0.0, standard_error_deg=0.3)
    figures = {"heading_deg": bearing, "standard_error_deg": 0.4}  # 0.5° together
    said = installer.two_norths(model, [replace(of, figures=figures)], W)
    assert f"differs from the model by {bearing:.2f}°, " in said
    assert told in said
    assert "the 0.98° that" in said


def test_what_makes_true_north_is_told(surveyed):
    result = surveyed[0]
    told = sentences.true_north(result)
    assert told.startswith("bearing calibration +5.")
    assert "in place of the declination +4." in told
    bare = replace(result.chosen[0], used=())
    assert sentences.true_north(replace(result, chosen=(bare,))).startswith("declination +4.")
    half = sentences.true_north(replace(result, chosen=(*result.chosen, bare)))
    assert "in 1 of 2 recordings; else declination" in half


def test_what_nobody_named_is_told_by_its_azimuths_in_the_language():
    german = Words("de")
    assert sentences.obstruction("188 to 224°", german) == "188 bis 224°"
    assert sentences.obstruction("188 to 224°", W) == "188 to 224°"
    assert sentences.obstruction("road to 7°", german) == "road to 7°"
