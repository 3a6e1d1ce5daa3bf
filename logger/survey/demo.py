"""The survey that ships with the program: where it lies, and what the demo does with it."""

from __future__ import annotations

from pathlib import Path

from logger.access import SiteYear
from logger.calibration import StoredCalibration
from logger.errors import InputError
from logger.job import Job, point_recordings
from logger.recording import load_stream
from logger.survey.calibrations import Wanted, calibrate, keep, stored_calibrations
from logger.survey.pipeline import PointResult, survey_point
from logger.survey.points import load_sweep


def shipped_survey() -> Path:
    """The job folder of the demo survey: inside an installed wheel, or in the source tree."""
    here = Path(__file__).parents[1]
    for folder in (here / "recordings", here.parent / "recordings"):
        for job in sorted(folder.glob("*/job.toml")):
            return job.parent
    raise InputError("this installation carries no demo survey", str(here / "recordings"))


def calibrated_again(job: Job) -> list[StoredCalibration]:
    """Fit each of a job's calibrations from its recording, in order, and store it anew."""
    fitted = []
    for known in stored_calibrations(job):
        recording, stream = load_stream(job.folder / "calibrations" / known.about.recording)
        target = known.figures.get("target_deg")
        wanted = Wanted(known.about.purpose, known.about.holder, target)
        found = calibrate(job, recording, stream, wanted)
        keep(job, recording, found)
        fitted.append(found)
    return fitted


def uncalibrated_result(job: Job, point: str, year: SiteYear) -> PointResult:
    """What a point's sweeps would say with the declination alone."""
    return survey_point(point, [load_sweep(p) for p in point_recordings(job, point)], year)
