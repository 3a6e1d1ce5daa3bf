"""``horizon-logger edit`` as it is typed."""

from pathlib import Path
from typing import Any

import numpy as np
import pytest
from click.testing import CliRunner

from logger.cli import main
from logger.job import Job, Point, read_job, set_point
from logger.survey.recipe import set_settings

NAME = "20260514T081231Z.sweep"
SECTOR = ("--from-azimuth", 350, "--to-azimuth", 10)
NOWHERE = ("--from-azimuth", 9, "--to-azimuth", 9)
RECORDING = (
    b"horizon-logger recording 1\nh {}\n"
    b"s 0.1 $PHLGA,412,8240,187.42,-2.15,11.80,1,74F9*0F\n"
    b'n 4.2 {"label":"lime tree"}\n'
)


@pytest.fixture
def swept(job: Job) -> Path:
    """A job with a point of one recording, which holds one sentence and one label."""
    path = job.folder / "sweeps" / "eave" / NAME
    path.parent.mkdir(parents=True)
    path.write_bytes(RECORDING)
    return set_point(job.folder, Point("eave")).folder


def ran(change: str, job: Path, *arguments: object) -> tuple[int, str, str]:
    done = CliRunner().invoke(main, ["edit", change, str(job), *map(str, arguments)])
    return done.exit_code, done.stdout, " ".join(done.stderr.split())


@pytest.mark.parametrize(
    ("change", "arguments", "words"),
    [
        ("set-sector", (*SECTOR, "--elevation", 4), "350 to 10° set to 4 to 4° (A. Example,"),
        ("set-sector", (*SECTOR, "--elevation", 4, "--to-elevation", 6), "set to 4 to 6°"),
        ("exclude-span", SECTOR, "every recording: 350 to 10° excluded"),
        ("exclude-span", (*SECTOR, "--recording", NAME), f"{NAME}: 350 to 10° excluded"),
        ("exclude-span", ("--from-second", 0, "--to-second", 2), f"{NAME}: 0 to 2 s excluded"),
        ("exclude-sweep", (), f"{NAME} excluded"),
        ("exclude-sweep", ("--recording", f"sweeps/eave/{NAME}"), f"{NAME} excluded"),
        ("remove-point", (), f"point removed, with {NAME}"),
        ("rename-point", ("gable",), "gable: renamed from eave"),
    ],
)
def test_a_change_is_entered_with_who_when_and_why_listed_and_taken_back(
    swept: Path, change: str, arguments: tuple[object, ...], words: str
) -> None:
    before = read_job(swept)
    code, out, err = ran(change, swept, "eave", *arguments, "--why", "a lorry stood there")
    assert code == 0, err
    assert words in out
    assert f"next: horizon-logger compare {swept}" in err
    (edit,) = read_job(swept).edits
    assert (edit.kind, edit.who, edit.why) == (change, "A. Example", "a lorry stood there")
    assert ran("list", swept)[1] == out
    assert ran("undo", swept)[1] == f"taken back - {out}"
    assert read_job(swept) == before
    code, _, err = ran("undo", swept)
    assert code == 2
    assert "no change to take back" in err


@pytest.mark.parametrize(
    ("change", "arguments", "words"),
    [
        ("exclude-sweep", ("eave", "--recording", "x.sweep"), "has no recording 'x.sweep'"),
        ("exclude-sweep", ("attic",), "no point 'attic' try: eave"),
        ("exclude-span", ("eave",), "a beginning and an end"),
        ("exclude-span", ("eave", "--from-azimuth", 9), "a beginning and an end"),
        ("exclude-span", ("eave", *SECTOR, "--from-second", 0, "--to-second", 2), "a beginning"),
        ("exclude-span", ("eave", "--from-second", 5, "--to-second", 9), "nothing of it lies"),
        ("set-sector", ("eav", *SECTOR, "--elevation", 5), "no point 'eav' try: eave"),
        ("set-sector", ("eave", *SECTOR, "--elevation", 95), "-90.0<=x<=90.0"),
        ("set-sector", ("eave", *SECTOR, "--elevation", "nan"), "not a finite number"),
        ("set-sector", ("eave", *SECTOR, "--elevation", 4, "--who", " "), None),
        ("set-sector", ("eave", "--from-azimuth", 9, "--to-azimuth", 480), "0.0<=x<=360.0"),
        ("set-sector", ("eave", *NOWHERE, "--elevation", 4), "9 to 9° is no sector"),
        ("exclude-span", ("eave", *NOWHERE), "9 to 9° is no sector"),
        ("rename-point", ("eave", "a/b"), "holds one of"),
        ("rename-point", ("eave", "eave"), "there is a point 'eave' already"),
        ("remove-point", ("Eave",), "no point 'Eave' try: eave"),
    ],
)  # fmt: skip
def test_a_change_that_cannot_be_made_is_not_entered(
    swept: Path, change: str, arguments: tuple[object, ...], words: str | None
) -> None:
    if words is None:  # nobody is named in the job either
        path = swept / "job.toml"
        path.write_text(path.read_text().replace('surveyor = "A. Example"', ""))
        words = "an edit needs a name and a reason"
    before = read_job(swept)
    code, _, err = ran(change, swept, *arguments, "--why", "a test")
    assert code == 2
    assert words in err
    assert read_job(swept) == before


def test_which_of_several_recordings_is_meant_is_asked(swept: Path) -> None:
    (swept / "sweeps" / "eave" / "20260514T090000Z.sweep").write_bytes(RECORDING)
    code, _, err = ran("exclude-sweep", swept, "eave", "--why", "a test")
    assert code == 2
    assert f"one of {NAME}, 20260514T090000Z.sweep" in err


def test_a_sector_is_named_listed_and_the_name_taken_back(swept: Path) -> None:
    assert ran("list", swept)[1] == "no changes\n"
    name = ("--name", "yew", "--kind", "evergreen", *SECTOR, "--distance", 12)
    code, _, err = ran("name-sector", swept, "yard", *name)
    assert code == 2
    assert "no point 'yard'" in err
    line = "eave: 350 to 10° named yew, evergreen at 12 m\n"
    assert ran("name-sector", swept, "eave", *name)[:2] == (0, line)
    assert ran("list", swept)[1] == line
    assert ran("undo", swept)[1] == f"taken back - {line}"
    assert read_job(swept).obstructions == ()


def test_more_is_told_of_what_a_sweep_or_the_job_has_named(swept: Path) -> None:
    told = ("--kind", "deciduous", "--distance", 25, "--removable")
    line = "every point: named lime tree, deciduous at 25 m, removable\n"
    assert ran("set-obstruction", swept, "lime tree", *told)[:2] == (0, line)
    assert "not removable" in ran("set-obstruction", swept, "lime tree", "--fixed")[1]
    (lime,) = read_job(swept).obstructions
    assert (lime.kind, lime.distance_m, lime.removable) == ("deciduous", 25.0, False)
    code, _, err = ran("set-obstruction", swept, "line tree", "--fixed")
    assert code == 2
    assert "no sweep or entry names an obstruction 'line tree' try: lime tree" in err
    assert ran("set-obstruction", swept, "lime tree")[0] == 2


def test_a_point_gets_a_position_and_its_planes(swept: Path) -> None:
    def point() -> Any:
        return read_job(swept).point("eave")

    assert ran("set-position", swept, "eave", "--at", "3.2,-0.5,0")[0] == 0
    _, _, err = ran("set-position", swept, "eave", "--at", "4,-1,2", "--at-error", 0.05)
    assert "it was at 3.2,-0.5,0" in err
    assert (point().east_m, point().north_m, point().up_m) == (4.0, -1.0, 2.0)
    assert point().position_error_m == 0.05
    assert ran("set-planes", swept, "eave", "roof")[:2] == (0, "eave: roof, was every plane\n")
    assert point().planes == ("roof",)
    code, _, err = ran("set-planes", swept, "eave", "rof")
    assert code == 2
    assert "there is no plane 'rof' try: roof" in err
    assert ran("set-planes", swept, "eave")[1] == "eave: every plane, was roof\n"
    assert point().planes == ()
    for at in ("3", "3,4", "a,b,c", "3,4,5,6", "nan,0,0", "3e9,0,0"):
        assert ran("set-position", swept, "eave", "--at", at)[0] == 2
    assert point().east_m == 4.0


def test_a_position_is_told_by_tape_and_compass_from_another_point(swept: Path) -> None:
    """Departure ``L sin A`` and latitude ``L cos A`` of a course: surveying texts, from memory."""

    def told(*words: Any) -> tuple[int, str, str]:
        return ran("set-position", swept, "ridge", "--from", "eave", *words)

    set_settings(read_job(swept), {"declination_deg": "4"})
    set_point(swept, Point("ridge"))
    code, _, err = told("--distance", 5, "--bearing", 86)
    assert (code, "eave has no position itself" in err) == (2, True)
    ran("set-position", swept, "eave", "--at", "1,2,3", "--at-error", 0.05)
    # 86 degrees by compass and 4 of declination are due east; of 5 m of tape 3 m up leave 4 m.
    assert told("--distance", 5, "--bearing", 86, "--rise", 3, "--at-error", 0.05)[0] == 0
    ridge = read_job(swept).point("ridge")
    assert (ridge.east_m, ridge.north_m, ridge.up_m) == (5.0, 2.0, 6.0)
    # A degree off over 4 m is 0.07 m across; with the 0.05 m of where it starts, 0.09 m.
    assert ridge.position_error_m == pytest.approx(0.09, abs=0.005)
    assert told("--distance", 10, "--bearing", 26)[0] == 0
    ridge = read_job(swept).point("ridge")
    assert ridge.east_m == pytest.approx(1 + 10 * np.sin(np.radians(30)), abs=1e-3)
    assert ridge.north_m == pytest.approx(2 + 10 * np.cos(np.radians(30)), abs=1e-3)
    assert ridge.position_error_m == pytest.approx(0.3, abs=0.01)
    for words in (("--distance", 5), ("--distance", 2, "--bearing", 0, "--rise", 3),
                  ("--distance", 5, "--bearing", 0, "--at", "1,2,3")):  # fmt: skip
        assert told(*words)[0] == 2


def test_a_mailed_entry_cannot_have_a_folder_moved_out_of_the_job(swept: Path) -> None:
    assert ran("rename-point", swept, "eave", "gable", "--why", "a test")[0] == 0
    path = swept / "job.toml"
    path.write_text(path.read_text().replace('was = "eave"', 'was = "../../elsewhere"'))
    code, _, err = ran("undo", swept)
    assert (code, "holds one of" in err) == (2, True)
    assert (swept / "sweeps" / "gable" / NAME).is_file()
