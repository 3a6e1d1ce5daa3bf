"""The shipped survey can be made again, and gives what its exact skylines give."""

import json
import re
import sys
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from logger.geometry import wrap360
from logger.horizon import HorizonProfile
from logger.job import point_names, point_recordings, read_job
from logger.simulation import Scene
from logger.survey.calibrations import stored_calibrations
from logger.survey.demo import new_demo
from logger.survey.pipeline import survey_point
from logger.survey.points import load_sweep, point_result
from logger.survey.recipe import recipe_of
from logger.survey.result import PointResult

FOLDER = Path(__file__).parents[2] / "recordings"
sys.path.insert(0, str(FOLDER))

import make  # noqa: E402 - the maker stands beside its recordings, outside the packages

# pvlib 0.16 still asks pandas for a name that pandas 3.1 has deprecated.
pytestmark = pytest.mark.filterwarnings("ignore:DatetimeIndex.dayofyear is deprecated")


@pytest.fixture(scope="module")
def results() -> dict[str, PointResult]:
    job = read_job(FOLDER / make.JOB)
    recipe = recipe_of(job)
    return {name: point_result(job, name, recipe) for name in point_names(job)}


@pytest.fixture(scope="module")
def answers() -> dict[str, Any]:
    found: dict[str, Any] = json.loads((FOLDER / f"{make.JOB}.expected.json").read_text("utf-8"))
    return found


def test_it_is_made_again_byte_for_byte_and_its_figures_to_nine_decimals(tmp_path: Path) -> None:
    names = [path.relative_to(tmp_path) for path in make.make(tmp_path)]
    assert sum(name.suffix == ".sweep" for name in names) == 6
    assert make.differences(FOLDER, tmp_path, names) == []


def test_a_second_demo_leaves_the_first_as_it_was_changed(tmp_path: Path) -> None:
    first = new_demo(tmp_path / "demo") / make.JOB / "job.toml"
    first.write_text("a student's own")
    second = new_demo(tmp_path / "demo")
    assert second == tmp_path / "demo-2"
    assert (second / make.JOB / "job.toml").is_file()
    assert first.read_text() == "a student's own"


def test_every_point_passes_its_checks_and_is_whole(results: dict[str, PointResult]) -> None:
    assert set(results) == {"meadow", "yard", "walled garden"}
    for spot in make.SPOTS:
        result = results[spot.name]
        assert [check.why for check in result.checks if not check.passed] == []
        named = {o.name for o in result.horizon.profile.obstructions}
        assert {o.name for o in make.scene_of(spot).obstructions} <= named
        for sweep in result.sweeps:
            assert re.search("virtual board.*seed", sweep.recording.header["made_by"])
            assert sweep.recording.sealed


def test_every_answer_is_that_of_the_exact_skyline_and_the_year_s_interval_holds_it(
    results: dict[str, PointResult], answers: dict[str, Any]
) -> None:
    assert set(answers["points"]) == set(results)
    for name, expected in answers["points"].items():
        document = results[name].as_dict()
        highest = max(e for e in document["horizon"]["elevation_deg"] if e is not None)
        limit = expected["highest_deg"]
        assert abs(highest - limit["value"]) <= limit["within"], name
        for plane in document["planes"]:
            for share, want in expected["planes"][plane["name"]].items():
                got = plane[share]
                where = f"{name}, {plane['name']}, {share}"
                annual, monthly = want["annual"], want["monthly"]
                assert abs(got["annual"]["value"] - annual["value"]) <= annual["within"], where
                for month, value in zip(got["monthly"], monthly["value"], strict=True):
                    assert abs(month["value"] - value) <= monthly["within"], where
                if share == "solar_access":
                    low, high = got["annual"]["low"], got["annual"]["high"]
                    assert low <= annual["value"] <= high, where


def is_the_exact_skyline(profile: HorizonProfile, scene: Scene) -> bool:
    """Whether neither turned nor lifted against it.

    Compass and bearing hold the heading to some 0.3°, the level calibration the level to 0.1°.
    """
    azimuth, turns = np.arange(0.0, 360.0, 0.2), np.arange(-2.0, 2.01, 0.1)
    found = profile.elevation_at(azimuth, unmeasured_deg=np.nan)
    away = [found - scene.elevation_at(wrap360(azimuth - turn)) for turn in turns]
    lifts = [np.nanmedian(a) for a in away]
    spread = [np.nanmean(np.abs(a - lift)) for a, lift in zip(away, lifts, strict=True)]
    best = int(np.argmin(spread))
    return bool(abs(turns[best]) < 0.5 and abs(lifts[best]) < 0.25)


@pytest.mark.parametrize("spot", make.SPOTS, ids=lambda spot: spot.name)
def test_every_horizon_is_the_exact_skyline_and_a_degree_beside_it_is_not(
    results: dict[str, PointResult], spot: make.Spot
) -> None:
    profile, scene = results[spot.name].horizon.profile, make.scene_of(spot)
    assert is_the_exact_skyline(profile, scene)
    for turn in (-1.0, 1.0):
        assert not is_the_exact_skyline(profile.turned(turn), scene)
    for lift in (-0.5, 0.5):
        lifted = replace(profile, elevation_deg=profile.elevation_deg + lift)
        assert not is_the_exact_skyline(lifted, scene)


def test_the_calibrations_find_what_was_put_into_the_board() -> None:
    sensor, _ = make.board()
    board = sensor.board()
    found = {c.kind: c for c in stored_calibrations(read_job(FOLDER / make.JOB))}
    assert set(found) == {"compass", "level", "bearing"}
    iron = np.array(found["compass"].correction.hard_iron_ut) - board.hard_iron_ut
    assert np.linalg.norm(iron) < 1.0
    bias = np.array(found["compass"].correction.rate_bias_deg_s) - board.rate_bias_deg_s
    assert np.abs(bias).max() < 0.05
    level = found["level"].correction
    assert level.index_deg == pytest.approx(sensor.index_error_deg, abs=0.1)
    assert level.collimation_deg == pytest.approx(sensor.collimation_error_deg, abs=0.15)
    assert found["bearing"].correction.residual_deg == pytest.approx(
        make.DECLINATION_ERROR_DEG, abs=0.3
    )
    for calibration in found.values():
        assert all(check.passed for check in calibration.checks)


def test_without_calibration_the_same_sweep_is_off_by_points(answers: dict[str, Any]) -> None:
    job = read_job(FOLDER / make.JOB)
    sweeps = [load_sweep(path) for path in point_recordings(job, "walled garden")]
    document = survey_point("walled garden", sweeps, recipe_of(job)).as_dict()
    exact = answers["points"]["walled garden"]["planes"]["ground frame"]["beam_access"]
    plane = next(p for p in document["planes"] if p["name"] == "ground frame")
    months = zip(plane["beam_access"]["monthly"], exact["monthly"]["value"], strict=True)
    assert max(abs(month["value"] - value) for month, value in months) > 0.05
