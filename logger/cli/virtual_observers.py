"""A class of virtual observers with known faults, as job folders: a lesson without a board."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from logger.simulation import (
    DEFAULT_SITE,
    DEFAULT_START,
    BoardSettings,
    Operator,
    Scene,
    Sensor,
    Steel,
    simulate_level,
    simulate_sweep,
    simulate_tumble,
)

if TYPE_CHECKING:
    from logger.calibration import Purpose
    from logger.simulation import Simulated

POINT = "the spot"
FAULTS = (
    "compass not turned enough",
    "rolled by hand",
    "passes disagree",
    "missed the sun's range",
)
TRACING_BIAS_DEG, TREMOR_DEG = 0.4, 0.3
LAZY_TUMBLE_S = 11.0  # Just enough that it is taken, and its coverage fails the check. [s]


@dataclass(frozen=True)
class Student:
    """One virtual observer, and the fault that is known of it."""

    name: str
    fault: str
    operator: Operator
    steel: Steel | None
    seed: int


def students(n: int, seed: int) -> list[Student]:
    """Observers with drawn bias, tremor and pace; two of five have one of `FAULTS`, in turn."""
    rng = np.random.default_rng([seed, 21])
    found, faulty = [], 0
    for k in range(n):
        operator = Operator(
            speed_deg_s=float(rng.uniform(7.0, 14.0)),
            tremor_deg=float(TREMOR_DEG * rng.lognormal(0.0, 0.3)),
            tracing_bias_deg=TRACING_BIAS_DEG,
        )
        fault, steel = "", None
        if k % 5 in (2, 4):
            fault, faulty = FAULTS[faulty % len(FAULTS)], faulty + 1
        if fault == "rolled by hand":
            operator = replace(operator, tilt_rms_deg=30.0)
        elif fault == "passes disagree":
            steel = Steel(growing_ut=(0.0, 2.2, 0.0))  # a bag with iron in it comes nearer
        elif fault == "missed the sun's range":
            operator = replace(operator, sectors=((150.0, 290.0),))
        found.append(Student(f"student {k + 1:02d}", fault, operator, steel, seed * 1000 + k))
    return found


def write_class(folder: Path, n: int, scene: Scene, seed: int, say: Callable[[str], None]) -> None:
    """A job folder for each student: calibrations and a sweep of one point, and who has what."""
    from logger.job import calibration_path, create_job, sweep_path
    from logger.outputs import write_output
    from logger.recording import load_stream, write_recording
    from logger.survey.calibrations import Wanted, calibrate, keep

    settings = BoardSettings(serial_number=f"V{seed:03d}")
    board = Sensor(individual=seed + 1, index_error_deg=0.5, collimation_error_deg=-0.3)
    faults = ["student,fault"]
    for k, student in enumerate(students(n, seed)):
        started = DEFAULT_START + dt.timedelta(minutes=15 * k)
        job = create_job(folder / student.name.replace(" ", "-"), DEFAULT_SITE, name=student.name)
        about = {"sensor": board, "started": started, "settings": settings}
        lazy = student.fault == FAULTS[0]
        tumble_s = LAZY_TUMBLE_S if lazy else 40.0
        taken: dict[Purpose, Simulated] = {
            "compass": simulate_tumble(seed=student.seed + 500, seconds_s=tumble_s, **about),
            "level": simulate_level(pairs=3, seed=student.seed + 700, **about),
        }
        for purpose, done in taken.items():
            path = calibration_path(job, purpose, started)
            write_recording(path, done.header | {"observer": student.name}, done.chunks)
            recording, stream = load_stream(path)
            keep(job, recording, calibrate(job, recording, stream, Wanted(purpose)))
        here = replace(scene, steel=student.steel)
        about["started"] = later = started + dt.timedelta(minutes=5)
        done = simulate_sweep(here, student.operator, seed=student.seed, **about)
        header = done.header | {"observer": student.name, "point": POINT}
        path = sweep_path(job, POINT, later)
        write_recording(path, header, done.chunks, done.notes)
        faults.append(f"{student.name},{student.fault}")
        say(f"{student.name}: {student.fault or 'no fault'}")
    write_output(folder / "faults.csv", "\n".join(faults) + "\n")
    write_output(folder / "truth.csv", scene.as_csv())
