"""No output option destroys a recording, a job or an input, whatever a hurried person types."""

import shutil
from pathlib import Path

import pytest

from logger.survey.demo import shipped_survey

PLACE = ["--latitude", "46.05", "--longitude", "14.51"]
PLANE = ["--tilt", "30", "--azimuth", "180"]


@pytest.fixture(scope="module")
def survey(tmp_path_factory) -> Path:
    folder = tmp_path_factory.mktemp("mailed") / "job"
    shutil.copytree(shipped_survey(), folder)
    flat = "azimuth_deg,elevation_deg\n" + "".join(f"{a},5\n" for a in range(0, 360, 5))
    (folder.parent / "h.csv").write_text(flat)
    (folder.parent / "letter.txt").write_text("Dear neighbour\n")
    return folder


def files(folder: Path) -> dict[str, bytes]:
    return {
        str(path.relative_to(folder)): path.read_bytes()
        for path in sorted(folder.rglob("*"))
        if path.is_file() and path.parent.name != "results"
    }


CALIBRATION = "job/calibrations/20260514T062000Z-compass.json"
REC = next((shipped_survey() / "sweeps" / "yard").iterdir()).name
YARD = f"job/sweeps/yard/{REC}"


@pytest.mark.parametrize(
    "words",
    [
        ["replay", YARD, "--json", YARD],
        ["replay", YARD, "--samples", YARD],
        ["replay", YARD, "--samples", "letter.txt"],
        ["compare", "job", "--json", "job/job.toml"],
        ["compare", "job", "--json", "letter.txt"],
        ["compare", "job", "--json", CALIBRATION, "--overwrite"],
        ["declination", *PLACE, "--json", CALIBRATION, "--overwrite"],
        ["assess", "h.csv", *PLACE, *PLANE, "--json", "h.csv"],
        ["assess", "h.csv", *PLACE, *PLANE, "--json", "h.csv", "--overwrite"],
        ["declination", *PLACE, "--json", "letter.txt"],
        ["simulate", "--truth", YARD, "--tcp", "127.0.0.1:0", "--once"],
        ["simulate", "--truth", "letter.txt", "--tcp", "127.0.0.1:0", "--once"],
    ],
    ids=lambda words: " ".join(w.replace(YARD, "REC") for w in words if w not in PLACE + PLANE),
)
def test_what_stands_there_is_refused_and_kept(run, installed, survey, words) -> None:
    before = files(survey.parent)
    # A virtual board that is not refused would wait for a host for ever.
    done = (installed if words[0] == "simulate" else run)(*words, cwd=survey.parent)
    assert done.code == 2, done.err
    assert files(survey.parent) == before
