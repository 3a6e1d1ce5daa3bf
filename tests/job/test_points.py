"""Points and planes side by side, on figures whose answer is plain."""

import json
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from click.testing import CliRunner

from logger.cli import main
from logger.job import Job, result_path, write_json
from logger.report.figures import plane_figures
from logger.survey.side_by_side import Spot, best_plane, best_point, corners


def plane(
    year: float, error: float = 0.01, name: str = "roof", factor: float = 1.0, **more: Any
) -> dict[str, Any]:
    """A plane's entry of a result: the same access all year, give or take."""

    def share(value: float) -> dict[str, float]:
        return {"value": value, "low": value - error, "high": value + error}

    months = more.pop("months", [year] * 12)
    return {
        "name": name,
        "tilt_deg": 35.0,
        "azimuth_deg": 180.0,
        "solar_access": {
            "annual": share(year),
            "monthly": [None if m is None else share(m) for m in months],
        },
        "orientation_factor": factor,
        "loss": {"annual_kwh_per_m2": 1000 * (1 - year), "monthly_kwh_per_m2": [0.0] * 12},
        "window": {"from_solar_hour": 9, "to_solar_hour": 15, **more},
        "by_obstruction": [{"name": "lime", "annual_loss_fraction": 1 - year}],
    }


def spot(name: str, *planes: dict[str, Any]) -> Spot:
    return Spot(name, tuple(plane_figures(p) for p in planes))


def test_a_difference_beyond_the_uncertainty_makes_one_point_the_best() -> None:
    best = best_point([spot("a", plane(0.80)), spot("b", plane(0.90)), spot("c", plane(0.85))], 0)
    assert best is not None
    assert best.name == "b"
    assert best.stands_out
    (nearest, gap), *_ = best.others
    assert nearest == "c"
    assert gap.value == pytest.approx(0.05)
    assert gap.low == pytest.approx(0.05 - np.hypot(0.01, 0.01))


def test_a_difference_within_the_uncertainty_is_no_real_difference() -> None:
    best = best_point(
        [spot("a", plane(0.89, 0.02)), spot("b", plane(0.90, 0.02)), spot("c", plane(0.7, 0.02))], 0
    )
    assert best is not None
    assert not best.stands_out
    assert best.no_real_difference == ("a",)


def test_planes_are_compared_by_what_they_receive_not_by_access_alone() -> None:
    turned_away = plane(0.99, name="north", factor=0.6)
    best = best_plane(spot("a", plane(0.85, name="south"), turned_away))
    assert best is not None
    assert best.name == "south"
    assert best.others[0][1].value == pytest.approx(0.85 - 0.99 * 0.6)


def test_one_alone_is_not_compared() -> None:
    assert best_point([spot("a", plane(0.9))], 0) is None
    assert best_plane(spot("a", plane(0.9))) is None


def test_corners_average_and_name_the_worst_month_by_month() -> None:
    one = plane(0.90, months=[0.5, *[0.9] * 10, None])
    two = plane(0.80, months=[0.7, *[0.8] * 10, None])
    found = corners("array", [spot("nw", one), spot("ne", two)], 0)
    assert found.average[12] == pytest.approx(0.85)
    assert (found.average_low[12], found.average_high[12]) == pytest.approx((0.84, 0.86))
    assert found.worst[0] == pytest.approx(0.5)
    assert found.worst[12] == pytest.approx(0.8)
    assert found.worst_point == ("nw", *["ne"] * 10, "", "ne")
    assert np.isnan(found.average[11])


def stored(job: Job, name: str, *planes: dict[str, Any]) -> None:
    recording = job.folder / "sweeps" / name / "20260514T081231Z.sweep"
    recording.parent.mkdir(parents=True)
    recording.touch()
    check = {"check": "passes agree", "passed": name != "shaky", "value": 0, "limit": 0, "why": ""}
    write_json(result_path(job, name), {"planes": list(planes), "quality": [check]})


def ran(*arguments: object) -> tuple[int, str, str]:
    done = CliRunner().invoke(main, [str(a) for a in arguments])
    return done.exit_code, done.stdout, done.stderr


def test_the_points_command_shows_all_and_says_which_is_best(job: Job) -> None:
    blocked = [{"month": 12, "from": 9.0, "to": 9.5, "obstruction": "lime"}]
    stored(job, "eave", plane(0.80, blocked=blocked), plane(0.70, name="wall", factor=0.7))
    stored(job, "gable", plane(0.90), plane(0.80, name="wall", factor=0.7))
    code, out, _ = ran("points", job.folder)
    assert code == 0
    assert "for roof: gable is best, 10.0 percentage points of solar access more than eave" in out
    assert "planes at eave: roof is best" in out
    line = next(row for row in out.splitlines() if row.startswith("eave"))
    assert "80.0" in line
    assert "Dec" in line
    assert "lime 20.0 %" in line
    assert "clear" in next(row for row in out.splitlines() if row.startswith("gable"))


def test_points_too_close_to_call_are_called_so(job: Job) -> None:
    stored(job, "eave", plane(0.895, 0.02))
    stored(job, "gable", plane(0.90, 0.02))
    _, out, _ = ran("points", job.folder)
    assert "for roof: no real difference between gable and eave: 0.5 percentage points" in out


def test_the_corners_of_an_array_go_into_the_json(job: Job) -> None:
    for name, year in (("nw", 0.9), ("ne", 0.8), ("shaky", 0.7)):
        stored(job, name, plane(year))
    code, out, err = ran("points", job.folder, "--array", "south=nw,ne", "--json", "-")
    assert code == 4
    document = json.loads(out)
    (array,) = document["arrays"]
    assert array["points"] == ["nw", "ne"]
    assert array["average"]["annual"]["value"] == pytest.approx(0.85)
    assert array["worst_point"][12] == "ne"
    assert document["best_point"]["roof"]["name"] == "nw"
    assert document["best_point"]["roof"]["stands_out"] is True
    assert "shaky: not fit for use - passes agree" in err


@pytest.mark.parametrize(
    ("text", "words"),
    [("south", "is not NAME=POINT"), ("south=", "is not NAME="), ("s=nw,nope", "no point 'nope'")],
)
def test_an_array_of_unknown_corners_is_refused(job: Job, text: str, words: str) -> None:
    stored(job, "nw", plane(0.9))
    code, _, err = ran("points", job.folder, "--array", text)
    assert code == 2
    assert words in " ".join(err.split())


def test_a_job_without_a_sweep_says_what_to_do(job: Job) -> None:
    code, _, err = ran("points", job.folder)
    assert code == 2
    assert "no point of this job has a recording" in err


def test_a_result_that_is_no_result_is_named(job: Job, tmp_path: Path) -> None:
    stored(job, "eave", plane(0.9))
    result_path(job, "eave").write_text("{")
    code, _, err = ran("points", job.folder)
    assert code == 3
    assert "eave.json" in err


def with_bad_point(job: Job) -> Job:
    """Beside a good point one whose only recording is empty."""
    stored(job, "eave", plane(0.9))
    bad = job.folder / "sweeps" / "garb" / "20260514T090000Z.sweep"
    bad.parent.mkdir(parents=True)
    bad.touch()
    return job


def test_a_point_with_a_bad_recording_is_named_and_the_others_are_shown(job: Job) -> None:
    code, out, err = ran(
        "points", with_bad_point(job).folder, "--array", "roof=garb", "--json", "-"
    )
    assert code == 3
    assert "left out - garb: " in err
    document = json.loads(out)
    assert [point["name"] for point in document["points"]] == ["eave"]
    assert list(document["left_out"]) == ["garb"]
    assert document["arrays"] == []


def test_a_point_whose_only_recording_is_excluded_is_no_point(job: Job) -> None:
    with_bad_point(job)
    code, _, err = ran("edit", "exclude-sweep", job.folder, "garb", "--why", "empty")
    assert code == 0, err
    code, out, err = ran("points", job.folder)
    assert code == 0, err
    assert "eave" in out
    assert "garb" not in out + err
