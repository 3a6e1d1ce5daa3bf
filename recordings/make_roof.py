"""Make the shipped roof again: ``python recordings/make_roof.py [FOLDER]``.

A second survey of an invented place: two points swept on one roof, from which the whole roof is
worked out. The virtual board makes the recordings from the place below, in three dimensions, so
that both points saw the same things; ``make.py`` has the board and how recordings are written.
"""

from __future__ import annotations

import datetime as dt
import sys
from dataclasses import replace
from pathlib import Path

from make import DAY, HERE, PEOPLE, SEED, SITE, board

from logger.access import Plane
from logger.job import Job, calibration_path, create_job, set_named, sweep_path
from logger.parallax import rectangle
from logger.recording import load_stream, write_recording
from logger.simulation import Operator, simulate_level, simulate_sweep, simulate_tumble
from logger.simulation.scenes import EAST_RIDGE, SWALLOW_HOUSE, WEST_EAVE
from logger.survey.calibrations import Wanted, calibrate, keep

JOB = "swallow-house"
PLANE = Plane("south roof", 32.0, 175.0, size_kwp=6.0)
CORNER_M, WIDTH_M, SLOPE_M = (-4.4, -2.8, 3.1), 8.8, 5.4
PLACE = SWALLOW_HOUSE
POINTS = {"west eave": WEST_EAVE, "east ridge": EAST_RIDGE}
"""Where the sight was, by tape from the middle of the eaves. [m]"""
TAPE_M = 0.05
OPERATOR = {"observer": "the virtual operator"}


def calibrations(job: Job) -> None:
    """Compass and level, before going up."""
    sensor, settings = board()
    for number, (purpose, make) in enumerate(
        (("compass", simulate_tumble), ("level", simulate_level))
    ):
        started = DAY + dt.timedelta(hours=2, minutes=4 * number)
        done = make(
            sensor=sensor, site=SITE, started=started, seed=SEED + 40 + number, streams="MG",
            settings=settings,
        )  # fmt: skip
        path = calibration_path(job, purpose, started)
        write_recording(path, done.header | OPERATOR, done.chunks, done.notes)
        recording, stream = load_stream(path)
        keep(job, recording, calibrate(job, recording, stream, Wanted(purpose)))


def make(folder: Path) -> Job:
    """Write the job into a folder."""
    job = create_job(
        folder / JOB,
        SITE,
        name="Swallow House, an invented roof",
        timezone="Europe/Ljubljana",
        planes=(PLANE,),
        people=PEOPLE,
    )
    outline = [list(corner) for corner in rectangle(CORNER_M, WIDTH_M, SLOPE_M, PLANE)]
    set_named(job.folder, "planes", {"name": PLANE.name, "outline": outline})
    calibrations(job)
    sensor, settings = board()
    for number, (name, (east, north, up)) in enumerate(POINTS.items()):
        started = DAY + dt.timedelta(hours=2, minutes=20 + 6 * number)
        operator = replace(Operator.calm(), speed_deg_s=10.0)
        scene = PLACE.scene(east, north, up)
        done = simulate_sweep(
            scene, operator, sensor, SITE, started, SEED + 50 + number, streams="MG",
            settings=settings,
        )  # fmt: skip
        about = OPERATOR | {
            "point": name, "east_m": east, "north_m": north, "up_m": up,
            "position_error_m": TAPE_M, "leaf": "in leaf", "stance": "platform",
            "scene": PLACE.name,
        }  # fmt: skip
        path = sweep_path(job, name, started)
        write_recording(path, done.header | about, done.chunks, done.notes)
    (job.folder / ".job.lock").unlink(missing_ok=True)
    return job


if __name__ == "__main__":
    print(make(Path(sys.argv[1]) if len(sys.argv) > 1 else HERE).folder)
