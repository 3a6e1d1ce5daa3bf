"""The survey that ships with the program: where it lies, and what the demo does with it."""

from __future__ import annotations

import shutil
from pathlib import Path

from logger.calibration import StoredCalibration
from logger.errors import InputError
from logger.job import Job
from logger.recording import load_stream
from logger.survey.calibrations import (
    Wanted,
    calibrate,
    is_by_ridge,
    keep,
    stored_calibrations,
)

SURVEY, ROOF = "three-alders", "swallow-house"


def shipped_survey(name: str = SURVEY) -> Path:
    """The job folder of a shipped survey: inside an installed wheel, or in the source tree."""
    here = Path(__file__).parents[1]
    for folder in (here / "recordings", here.parent / "recordings"):
        if (folder / name / "job.toml").is_file():
            return folder / name
    raise InputError("this installation carries no demo survey", str(here / "recordings"))


def calibrated_again(job: Job) -> list[StoredCalibration]:
    """Fit each of a job's calibrations from its recording, in order, and store it anew."""
    fitted = []
    for known in stored_calibrations(job):
        if is_by_ridge(known):
            continue
        recording, stream = load_stream(job.folder / "calibrations" / known.about.recording)
        target = known.figures.get("target_deg")
        wanted = Wanted(known.about.purpose, known.about.holder, target)
        found = calibrate(job, recording, stream, wanted)
        keep(job, recording, found)
        fitted.append(found)
    return fitted


def new_demo(output: Path) -> Path:
    """A folder for a demo, with copies of the shipped surveys; what is there already stays."""
    folder, n = output, 2
    while folder.exists() and any(folder.iterdir()):
        folder, n = output.with_name(f"{output.name}-{n}"), n + 1
    try:
        for source in (shipped_survey(), shipped_survey(ROOF)):
            shutil.copytree(source, folder / source.name)
    except (OSError, shutil.Error) as error:
        # Where many files failed alike, why the first one did.
        several = error.args[0] if isinstance(error, shutil.Error) else None
        why = several[0][-1] if isinstance(several, list) else error.strerror or error
        raise InputError(f"cannot be written: {why}", str(folder)) from error
    return folder
