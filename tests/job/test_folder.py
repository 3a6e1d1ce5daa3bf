import datetime as dt
from pathlib import Path

import pytest

from logger.errors import InputError
from logger.job import (
    Job,
    Point,
    calibration_path,
    calibration_results,
    point_names,
    point_recordings,
    read_job,
    recording_elsewhere,
    result_path,
    set_point,
    sweep_path,
    write_json,
)

NOON = dt.datetime(2026, 5, 14, 12, 0, tzinfo=dt.UTC)


def recorded(job: Job, point: str, started: dt.datetime) -> Path:
    path = sweep_path(job, point, started)
    path.parent.mkdir(parents=True, exist_ok=True)
    path.touch(exist_ok=False)
    return path


def test_files_lie_where_the_documented_layout_says(job: Job) -> None:
    assert sweep_path(job, "eave", NOON) == job.folder / "sweeps/eave/20260514T120000Z.sweep"
    assert (
        calibration_path(job, "compass", NOON)
        == job.folder / "calibrations/20260514T120000Z-compass.sweep"
    )
    assert result_path(job, "eave") == job.folder / "results/eave.json"


def test_two_recordings_of_one_second_get_two_names(job: Job) -> None:
    first, second = recorded(job, "eave", NOON), recorded(job, "eave", NOON)
    assert first != second
    assert point_recordings(job, "eave") == [first, second]


def test_points_are_listed_first_by_the_job_then_by_what_was_swept(job: Job) -> None:
    recorded(job, "annex", NOON)
    recorded(job, "eave", NOON)
    job = set_point(job.folder, Point("eave"))
    assert point_names(job) == ["eave", "annex"]


def test_a_folder_and_a_recording_into_which_nothing_came_are_no_point(job: Job) -> None:
    (job.folder / "sweeps" / "empty").mkdir(parents=True)
    begun = recorded(job, "silent", NOON)
    begun.write_bytes(b'horizon-logger recording 1\nh {"point":"silent"}\n')
    assert point_names(job) == []
    assert point_recordings(job, "silent") == []
    noise = recorded(job, "silent", NOON)
    noise.write_bytes(b'horizon-logger recording 1\nh {"point":"silent"}\nx 0.1 f800\n')
    assert point_names(job) == ["silent"]
    assert point_recordings(job, "silent") == [noise]


def test_a_recording_of_another_point_is_found_by_its_name(job: Job) -> None:
    path = recorded(job, "annex", NOON)
    assert recording_elsewhere(job, path.name) == path
    with pytest.raises(InputError, match="no recording is called"):
        recording_elsewhere(job, "20260101T000000Z.sweep")
    recorded(job, "eave", NOON)
    with pytest.raises(InputError, match="more than one recording is called"):
        recording_elsewhere(job, path.name)


def test_calibration_results_come_oldest_first(job: Job) -> None:
    for day in (15, 14):
        path = calibration_path(job, "level", NOON.replace(day=day)).with_suffix(".json")
        write_json(path, {"day": day})
    assert [result["day"] for _, result in calibration_results(job)] == [14, 15]


def test_a_broken_calibration_result_is_named(job: Job) -> None:
    path = job.folder / "calibrations" / "20260514T120000Z-level.json"
    path.parent.mkdir()
    path.write_text("[1, 2]")
    with pytest.raises(InputError, match=r"20260514T120000Z-level\.json: holds no JSON object"):
        calibration_results(read_job(job.folder))
