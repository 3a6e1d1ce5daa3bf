"""Points and planes side by side: under one sky, plane by name, no surer than they are."""

import json
import math
import shutil

import numpy as np
import pytest

from logger.access import Plane
from logger.job import Point, read_job, set_point
from logger.report.comparison import comparison_text
from logger.site import Site
from logger.survey.compare import SUN_RANGE_CHECK, compare, difference, triple
from logger.survey.recipe import Recipe, recipe_of, set_settings

ROOF, WALL = Plane("roof", 35.0, 180.0), Plane("wall", 90.0, 180.0)
SITE = Site(46.05, 14.51, 310.0)


def plane(year, error=0.01, name="roof", clear=1.0):
    """A plane's entry of a result: the same access all year, give or take."""
    share = {"value": year, "low": year - error, "high": year + error}
    return {
        "name": name,
        "solar_access": {"annual": share, "monthly": [share] * 12},
        "loss": {"annual_kwh_per_m2": 1000 * (1 - year)},
        "window": {"monthly_clear_fraction": [*[1.0] * 11, clear]},
        "by_obstruction": [
            {"name": "lime", "annual_loss_fraction": (1 - year) / 2},
            {"name": "lime", "annual_loss_fraction": (1 - year) / 2},
        ],
    }


def answer(point, *planes, failed=()):
    quality = [{"check": name, "passed": False} for name in failed]
    return {
        "point": point,
        "sky": {"source": "clear sky all year"},
        "planes": list(planes),
        "quality": quality,
        "best_plane": None,
    }


def compared(*found, planes=(ROOF,)):
    return compare(Recipe(SITE, planes), found)


# Differences


def test_the_arms_of_independent_intervals_add_in_quadrature():
    gap = difference((0.90, 0.87, 0.92), (0.80, 0.78, 0.84))
    assert gap.value == pytest.approx(0.10)
    assert gap.low == pytest.approx(0.10 - 0.05)  # 0.03 and 0.04 make 0.05
    assert gap.high == pytest.approx(0.10 + math.hypot(0.02, 0.02))
    assert gap.significant


@pytest.mark.parametrize(
    ("first", "second", "significant"),
    [
        ((0.90, 0.86, 0.92), (0.70, 0.69, 0.74), True),
        ((0.90, 0.87, 0.93), (0.88, 0.85, 0.91), False),  # less than the uncertainty
        ((math.nan,) * 3, (0.8, 0.7, 0.9), None),
        ((0.9, 0.9, 0.9), (0.8, 0.8, 0.8), None),
    ],
)
def test_the_order_of_the_two_turns_the_sign_and_nothing_else(first, second, significant):
    there, back = difference(first, second), difference(second, first)
    assert there.significant is back.significant is significant
    assert there.value == pytest.approx(-back.value, nan_ok=True)
    assert there.low == pytest.approx(-back.high, nan_ok=True)


# Which point is best


def test_a_difference_beyond_the_uncertainty_makes_one_point_the_best():
    found = compared(answer("a", plane(0.8)), answer("b", plane(0.9)), answer("c", plane(0.85)))
    best = found.best_point["roof"]
    assert (best.name, best.ties) == ("b", ())
    (nearest, gap), *_ = best.others
    assert nearest == "c"
    assert gap.value == pytest.approx(0.05)
    assert gap.low == pytest.approx(0.05 - np.hypot(0.01, 0.01))
    told = "roof: Solar access at b is about 5 percentage points higher than at c (4 to 6)."
    assert told in comparison_text(found)


def test_a_difference_within_the_uncertainty_is_called_so():
    found = compared(
        answer("a", plane(0.89, 0.02)), answer("b", plane(0.9, 0.02)), answer("c", plane(0.7, 0.02))
    )
    assert found.best_point["roof"].ties == ("a",)
    assert "at b and a does not differ significantly: 1.0 percentage points" in comparison_text(
        found
    )


def test_points_are_held_against_each_other_plane_by_name():
    """A point that stands for other planes is not in the table of a plane."""
    found = compared(
        answer("a", plane(0.8), plane(0.6, name="wall")),
        answer("b", plane(0.7, name="wall"), plane(0.9)),
        answer("c", plane(0.5)),
        planes=(ROOF, WALL),
    )
    assert [[(at.point, at.access[0]) for at in points] for points in found.planes] == [
        [("a", 0.8), ("b", 0.9), ("c", 0.5)],
        [("a", 0.6), ("b", 0.7)],
    ]
    apart = compared(answer("a", plane(0.8)), answer("b", plane(0.7, name="wall")))
    assert apart.best_point == {"roof": None}


def test_a_point_that_is_not_fit_for_use_is_shown_but_neither_best_nor_worst():
    found = compared(
        answer("a", plane(0.8)),
        answer("b", plane(0.99), failed=["passes agree"]),
        answer("c", plane(0.85)),
    )
    assert found.best_point["roof"].name == "c"
    assert "b is not compared: not fit for use" in comparison_text(found)


def test_what_the_sun_crosses_unmeasured_is_bounds_and_not_known_never_clear():
    found = compared(
        answer("a", plane(0.8)),
        answer("b", plane(1.0, 0.4), failed=[SUN_RANGE_CHECK]),
        answer("c", plane(0.85)),
    )
    text = comparison_text(found)
    (row, _) = [line for line in text.splitlines() if line.startswith("b ")][:2]
    assert "not known" in row
    assert "60.0" in row
    assert "100.0" not in row
    assert "never" not in row
    assert found.best_point["roof"].name == "c"
    assert [at["known"] for at in found.as_dict()["planes"][0]["points"]] == [True, False, True]


def test_a_month_s_shade_and_what_blocks_most_stand_in_the_table():
    text = comparison_text(compared(answer("a", plane(0.8, clear=0.5)), answer("b", plane(0.9))))
    (row,) = [line for line in text.splitlines() if line.startswith("a") and "Dec" in line]
    assert "lime 20.0\xa0%" in row
    assert "never" in next(line for line in text.splitlines() if line.startswith("b"))


def test_sky_planes_and_settings_are_named_once_above_the_tables():
    found = answer("a", plane(0.8)), answer("b", plane(0.9))
    text = comparison_text(compared(*found, planes=(ROOF, WALL)))
    assert text.startswith(
        "Sky: clear sky all year\nPlanes: roof, 35° facing 180°; wall, 90° facing 180°\n"
        "Settings: all as by default\n\n"
    )
    assert text.count("clear sky") == 1


# On the shipped survey


@pytest.fixture(scope="module")
def surveyed(copy_job, tmp_path_factory):
    job = copy_job(tmp_path_factory.mktemp("two") / "alders", ("meadow", "yard"))
    set_settings(read_job(job), {"draws": "100"})
    return job


def test_planes_of_one_point_are_compared_under_one_horizon(surveyed, run):
    """Errors that both planes share cancel: the interval is narrower than of independent ones."""
    document = json.loads(run("replay", surveyed, "yard", "--json", "-").out)
    best = document["best_plane"]
    assert best["name"] == "ground frame"
    (other,) = best["others"]
    gap = other["difference"]
    figures = {p["name"]: p["total_solar_resource_fraction"] for p in document["planes"]}
    independent = difference(
        *(triple(figures[name]) for name in ("ground frame", "south-west frame"))
    )
    assert gap["value"] == pytest.approx(independent.value, abs=1e-9)
    assert gap["low"] < gap["value"] < gap["high"]
    assert gap["high"] - gap["low"] < (independent.high - independent.low) / 1.5


def test_after_an_answer_under_another_sky_all_points_stand_under_the_job_s(
    surveyed, run, typical_year, tmp_path
):
    """On the old program a point of a typical year was ranked beside one of a clear sky."""
    job = shutil.copytree(surveyed, tmp_path / "alders")
    set_point(job, Point("meadow"))
    set_point(job, Point("yard"))
    plain = run("compare", job, "--json", "-").out
    assert run("replay", job, "yard", "--weather", typical_year).code == 0
    set_point(job, Point("yard", sight_height_m=1.6))
    assert json.loads(run("compare", job, "--json", "-").out) == json.loads(plain)
    other = json.loads(run("compare", job, "--weather", typical_year, "--json", "-").out)
    assert other["recipe"] != json.loads(plain)["recipe"]
    assert other["sky"] != json.loads(plain)["sky"]


def test_weather_of_the_job_holds_for_every_command_until_it_is_changed(
    surveyed, run, typical_year, tmp_path
):
    job = shutil.copytree(surveyed, tmp_path / "alders")
    done = run("weather", job, typical_year)
    assert done.code == 0, done.err
    (kept,) = (job / "weather").iterdir()
    skies = [
        json.loads(run(*command, "--json", "-").out)
        for command in (("compare", job), ("replay", job, "yard"))
    ]
    assert skies[0]["sky"] == skies[1]["sky"]["source"]
    assert skies[1]["sky"]["kind"] == "typical year"
    assert skies[1]["sky"]["sha256"] == recipe_of(read_job(job)).weather.sha256
    kept.write_bytes(kept.read_bytes() + b"\n")
    changed = run("compare", job)
    assert changed.code == 3
    assert "is another file than the one that the job's weather was set to" in changed.err


def test_a_point_stands_for_the_planes_it_is_assigned_to(surveyed, run, tmp_path):
    job = shutil.copytree(surveyed, tmp_path / "alders")
    set_point(job, Point("yard", planes=("south-west frame",)))
    document = json.loads(run("compare", job, "--json", "-").out)
    found = {plane["name"]: [at["point"] for at in plane["points"]] for plane in document["planes"]}
    assert found == {"ground frame": ["meadow"], "south-west frame": ["yard", "meadow"]}
    assert document["best_plane"]["yard"] is None
    other = ("--tilt", 10, "--azimuth", 90)
    turned = json.loads(run("compare", job, *other, "--json", "-").out)
    assert [at["point"] for at in turned["planes"][0]["points"]] == ["yard", "meadow"]
    told = run("compare", job, *other).out
    assert "Planes: plane, 10° facing 90°" in told
    assert "ground frame" not in told


def test_a_point_with_a_bad_recording_is_named_and_the_others_are_shown(surveyed, run, tmp_path):
    job = shutil.copytree(surveyed, tmp_path / "alders")
    bad = job / "sweeps" / "garb" / "20260514T090000Z.sweep"
    bad.parent.mkdir()
    bad.write_bytes(b"junk")
    done = run("compare", job, "--json", "-")
    assert done.code == 3
    assert "left out - " in done.err
    document = json.loads(done.out)
    assert [at["point"] for at in document["planes"][0]["points"]] == ["meadow", "yard"]
    assert list(document["left_out"]) == ["garb"]


def test_a_plane_s_year_is_the_mean_of_its_points_and_its_kwh_stand_once():
    sized = [
        {**plane(year), "energy": {"annual_kwh": kwh}} for year, kwh in ((0.8, 4000), (0.9, 4400))
    ]
    found = compared(answer("a", sized[0]), answer("b", sized[1]))
    told = comparison_text(found)
    assert (
        "roof: the mean solar access of its 2 points is 85.0 %, the worst is a with 80.0 %" in told
    )
    assert "the array would give 4200 kWh a year, by the mean" in told
    (year,) = [p["year"] for p in found.as_dict()["planes"]]
    assert (year["points"], year["worst"], year["energy_kwh"]) == (2, "a", 4200.0)
    unsized = compared(answer("a", plane(0.8)), answer("b", plane(0.9)))
    assert "kWh a year" not in comparison_text(unsized)
