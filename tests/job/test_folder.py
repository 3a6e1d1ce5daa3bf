import datetime as dt
import os
import unicodedata
from pathlib import Path

import pytest

from logger.calibration import read_calibration
from logger.edits import edit_from
from logger.errors import InputError, UsageError
from logger.job import (
    Job,
    JobObstruction,
    Point,
    add_edit,
    add_obstruction,
    begun_recordings,
    calibration_files,
    calibration_path,
    enter_edit,
    existing_point,
    kept_recordings,
    known_points,
    point_folder,
    point_names,
    point_recordings,
    point_to_sweep,
    read_job,
    recorded_on,
    rename_point,
    result_path,
    set_point,
    sweep_path,
    swept_under_two_names,
    undo,
    write_json,
)

NOON = dt.datetime(2026, 5, 14, 12, 0, tzinfo=dt.UTC)


def recorded(job: Job, point: str, started: dt.datetime) -> Path:
    path = sweep_path(job, point, started)
    path.parent.mkdir(parents=True, exist_ok=True)
    with path.open("xb") as file:
        file.write(b"horizon-logger recording 1\nh {}\nx 0.1 f800\n")
    return path


def test_files_lie_where_the_documented_layout_says(job: Job) -> None:
    assert sweep_path(job, "eave", NOON) == job.folder / "sweeps/eave/20260514T120000Z.sweep"
    assert (
        calibration_path(job, "compass", NOON)
        == job.folder / "calibrations/20260514T120000Z-compass.sweep"
    )
    assert result_path(job, "eave") == job.folder / "results/eave.json"


def test_whether_anything_was_recorded_on_a_day_counts_sweeps_and_calibrations(job: Job) -> None:
    days = [NOON.date() + dt.timedelta(days=k) for k in range(3)]
    recorded(job, "eave", NOON)
    calibration = calibration_path(job, "compass", NOON + dt.timedelta(days=2))
    calibration.parent.mkdir(exist_ok=True)
    calibration.touch()
    assert [recorded_on(job, day) for day in days] == [True, False, True]


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
    for content in (b"", b"horizon-l", b'horizon-logger recording 1\nh {"point":"silent"}\n'):
        begun.write_bytes(content)
        assert point_names(job) == []
        assert point_recordings(job, "silent") == []
        assert begun_recordings(job, "silent") == [begun]
    noise = recorded(job, "silent", NOON)
    noise.write_bytes(b'horizon-logger recording 1\nh {"point":"silent"}\nx 0.1 f800\n')
    assert point_names(job) == ["silent"]
    assert point_recordings(job, "silent") == [noise]
    assert begun_recordings(job, "silent") == [begun]
    edited(job, "exclude-sweep", "silent", recording=begun.name)
    assert begun_recordings(read_job(job.folder), "silent") == []


def edited(job: Job, kind: str, point: str, **what: object) -> Job:
    who = {"who": "A. Example", "when": "2026-05-15T07:30:00Z", "why": "a test"}
    add_edit(job.folder, edit_from({"kind": kind, "point": point, **who, **what}))
    return read_job(job.folder)


def test_a_point_whose_recordings_are_all_excluded_or_removed_is_none_until_it_is_swept_again(
    job: Job,
) -> None:
    first, second = recorded(job, "eave", NOON), recorded(job, "eave", NOON)
    job = edited(job, "exclude-sweep", "eave", recording=first.name)
    assert kept_recordings(job, "eave") == [second]
    assert point_names(job) == ["eave"]
    job = edited(job, "exclude-sweep", "eave", recording=second.name)
    assert kept_recordings(job, "eave") == point_names(job) == []
    assert known_points(job) == ["eave"]
    undo(job.folder)
    enter_edit(read_job(job.folder), "remove-point", "eave", "A. Example", "the wrong roof")
    later = recorded(job, "eave", NOON)
    assert kept_recordings(read_job(job.folder), "eave") == [later]
    undo(job.folder)
    assert kept_recordings(read_job(job.folder), "eave") == [second, later]
    job = set_point(job.folder, Point("attic"))
    assert point_names(job) == ["attic", "eave"]
    enter_edit(job, "remove-point", "attic", "A. Example", "listed, and never swept")
    assert point_names(read_job(job.folder)) == ["eave"]


def test_a_renamed_point_keeps_its_recordings_photos_edits_and_names(job: Job) -> None:
    name = recorded(job, "eve", NOON).name
    photo = job.folder / "photos" / "eve" / "north.jpg"
    photo.parent.mkdir(parents=True)
    photo.touch()
    job = set_point(job.folder, Point("eve", 1.6))
    edited(job, "exclude-span", "eve", recording=name, from_s=1.0, to_s=2.0)
    add_obstruction(job.folder, JobObstruction("lime", point="eve"))
    # What belongs to another point, or to none, stays as it is.
    recorded(job, "gable", NOON)
    job = set_point(job.folder, Point("gable", 1.4))
    edited(job, "exclude-span", "gable", recording=name, from_s=1.0, to_s=2.0)
    add_obstruction(job.folder, JobObstruction("barn", point="gable"))
    add_obstruction(job.folder, JobObstruction("hills"))
    before = read_job(job.folder)
    rename_point(before, "eve", "eave", "A. Example", "misspelt")
    job = read_job(job.folder)
    assert point_names(job) == ["eave", "gable"]
    assert [path.name for path in kept_recordings(job, "eave")] == [name]
    assert point_folder(job.folder, "photos", "eave").is_dir()
    assert [(one.name, one.sight_height_m) for one in job.points] == [("eave", 1.6), ("gable", 1.4)]
    assert [(one.name, one.point) for one in job.obstructions] == [
        ("lime", "eave"), ("barn", "gable"), ("hills", ""),
    ]  # fmt: skip
    assert [edit.point for edit in job.edits] == ["eave", "gable", "eave"]
    assert job.edits[-1].what() == "renamed from eve"
    undo(job.folder)
    assert read_job(job.folder) == before
    assert photo.exists()


@pytest.mark.parametrize("name", ["gable", "Gable", "eave"])
def test_a_point_never_gets_the_name_of_another(job: Job, name: str) -> None:
    recorded(job, "eave", NOON)
    recorded(job, "gable", NOON)
    with pytest.raises(UsageError, match="already"):
        rename_point(job, "eave", name, "A. Example", "a test")
    assert point_names(read_job(job.folder)) == ["eave", "gable"]


def test_a_rename_that_cannot_be_written_leaves_the_folders_as_they_were(
    job: Job, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = recorded(job, "eave", NOON)

    def full(*_: object) -> None:
        raise InputError("cannot be written: no space left")

    monkeypatch.setattr("logger.job.job_file.write_in_job", full)
    with pytest.raises(InputError, match="no space left"):
        rename_point(job, "eave", "gable", "A. Example", "a test")
    assert path.exists()


DECOMPOSED = unicodedata.normalize("NFD", "Südgiebel")


def test_a_folder_whose_accents_are_spelt_apart_is_the_points_folder(job: Job) -> None:
    folder = job.folder / "sweeps" / DECOMPOSED
    folder.mkdir(parents=True)
    (folder / "20260514T120000Z.sweep").write_bytes(b"horizon-logger recording 1\nx 0.1 f800\n")
    (job.folder / "photos" / DECOMPOSED).mkdir(parents=True)
    assert point_names(job) == ["Südgiebel"]
    assert [path.parent for path in kept_recordings(job, "Südgiebel")] == [folder]
    assert sweep_path(job, "Südgiebel", NOON).parent == folder
    assert point_folder(job.folder, "photos", "Südgiebel").name == DECOMPOSED
    assert existing_point(job, DECOMPOSED) == "Südgiebel"


def test_a_sweep_of_a_name_in_other_letters_of_case_is_refused(job: Job) -> None:
    recorded(job, "meadow", NOON)
    assert point_to_sweep(job, "meadow ") == existing_point(job, " meadow") == "meadow"
    assert point_to_sweep(job, "copse") == "copse"
    with pytest.raises(UsageError, match="there is a point 'meadow' already"):
        point_to_sweep(job, "Meadow")


def test_two_folders_that_differ_in_case_alone_are_refused(job: Job) -> None:
    recorded(job, "meadow", NOON)
    if (job.folder / "sweeps" / "MEADOW").exists():
        pytest.skip("this file system knows no case")
    recorded(job, "Meadow", NOON)
    with pytest.raises(InputError, match="'Meadow' and 'meadow' differ in case alone"):
        read_job(job.folder)


ENTRY = """
[[edits]]
kind = "exclude-sweep"
point = "{}"
recording = "{}"
who = "A. Example"
when = 2026-05-15T07:30:00Z
why = "a test"
"""


@pytest.mark.parametrize(
    ("text", "complaint", "hint"),
    [
        (ENTRY.format("medow", "a.sweep"), "edits 1: there is no point 'medow'", "meadow"),
        (ENTRY.format("Meadow", "a.sweep"), "edits 1: there is no point 'Meadow'", "meadow"),
        (ENTRY.format("meadow", "20260514T120001Z.sweep"), "edits 1: .* has no recording", "0000Z"),
        ("[[obstructions]]\nname='a'\npoint='medow'", "obstructions 1: there is no", "meadow"),
        ("[rule]\nsource = 'a'", "there is no key 'rule'", "rules"),
        ("[[points]]\nname = 'a'\nmodule_heigth_m = 1", "'module_heigth_m'", "module_he"),
    ],
)  # fmt: skip
def test_a_name_in_the_job_that_is_not_there_is_refused_with_the_nearest(
    job: Job, text: str, complaint: str, hint: str
) -> None:
    recorded(job, "meadow", NOON)
    path = job.folder / "job.toml"
    path.write_text(path.read_text() + text)
    with pytest.raises(InputError, match=complaint) as caught:
        read_job(job.folder)
    assert hint in caught.value.hint


def test_blanks_and_accents_of_an_edits_point_make_no_other_point(job: Job) -> None:
    name = recorded(job, "Südgiebel", NOON).name
    path = job.folder / "job.toml"
    path.write_text(path.read_text() + ENTRY.format(f" {DECOMPOSED} ", name))
    assert kept_recordings(read_job(job.folder), "Südgiebel") == []


def test_a_recording_under_two_points_is_found_by_its_bytes(job: Job) -> None:
    one, two = recorded(job, "eave", NOON), recorded(job, "gable", NOON.replace(hour=13))
    one.write_bytes(b"the same")
    two.write_bytes(b"the same")
    assert swept_under_two_names(job, "eave") == [(one, "gable")]
    two.write_bytes(b"the sane")
    assert swept_under_two_names(job, "eave") == []


def test_calibrations_come_oldest_first(job: Job) -> None:
    for day in (15, 14):
        path = calibration_path(job, "level", NOON.replace(day=day)).with_suffix(".json")
        write_json(path, {})
    assert [path.name[:8] for path in calibration_files(job)] == ["20260514", "20260515"]


def test_what_a_link_of_a_mailed_job_leads_to_is_never_written(job: Job, tmp_path: Path) -> None:
    theirs = tmp_path / "letter.txt"
    theirs.write_text("dear")
    result = result_path(job, "eave")
    result.parent.mkdir()
    result.symlink_to(theirs)
    write_json(result, {"a": 1})
    assert result.read_text() == '{"a": 1}\n'
    path = job.folder / "job.toml"
    theirs.write_bytes(path.read_bytes())
    path.unlink()
    path.symlink_to(theirs)
    before = theirs.read_bytes()
    assert set_point(job.folder, Point("eave")).points == (Point("eave"),)
    assert theirs.read_bytes() == before
    (job.folder / "results").rename(tmp_path / "elsewhere")
    (job.folder / "results").symlink_to(tmp_path / "elsewhere")
    with pytest.raises(InputError, match="leads out of the job folder"):
        write_json(result_path(job, "gable"), {})


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="no pipes in folders here")
def test_a_pipe_in_the_place_of_a_recording_is_never_waited_for(job: Job) -> None:
    recorded(job, "eave", NOON)
    pipe = sweep_path(job, "eave", NOON)
    os.mkfifo(pipe)
    assert pipe in point_recordings(read_job(job.folder), "eave")
    assert swept_under_two_names(job, "eave") == []
    (job.folder / "calibrations").mkdir()
    os.mkfifo(job.folder / "calibrations" / "20260514T120000Z-level.json")
    (calibration,) = calibration_files(job)
    with pytest.raises(InputError, match=r"level\.json: is no file but a pipe"):
        read_calibration(calibration)
    (job.folder / "job.toml").unlink()
    os.mkfifo(job.folder / "job.toml")
    with pytest.raises(InputError, match=r"job\.toml: is no file but a pipe"):
        read_job(job.folder)
