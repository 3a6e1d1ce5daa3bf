"""Make the shipped survey again: ``python recordings/make.py [FOLDER]``.

Everything in it is invented: the place, its skylines, the operator and the board. The virtual
board makes the recordings from the seeds below, byte for byte the same every time; the
calibrations are fitted from them by the program; the expected answers come from the exact
skylines, not from the recordings. ``--check`` makes it all elsewhere and compares: recordings and
job byte for byte, results number for number to a thousandth.
"""

from __future__ import annotations

import argparse
import datetime as dt
import filecmp
import json
import sys
import tempfile
from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from logger.access import Plane, SiteYear
from logger.files import json_text, write_atomically
from logger.job import Job, Point, calibration_path, create_job, set_point, sweep_path
from logger.recording import load_stream, write_recording
from logger.simulation import (
    BoardSettings,
    Operator,
    Scene,
    Sensor,
    Simulated,
    scene_named,
    simulate_bearing,
    simulate_level,
    simulate_sweep,
    simulate_tumble,
)
from logger.site import Site
from logger.survey.calibrations import Wanted, calibrate, keep

HERE = Path(__file__).parent
JOB = "three-alders"
SEED = 2026
SITE = Site(46.05, 14.51, 310.0)
DAY = dt.datetime(2026, 5, 14, 6, 20, 0, tzinfo=dt.UTC)
PLANES = (
    Plane("ground frame", 35.0, 180.0, size_kwp=4.0),
    Plane("south-west frame", 20.0, 215.0, size_kwp=6.0),
)
PEOPLE = {
    "surveyor": "the virtual operator (invented)",
    "note": "an example made by the virtual board, not valid for any application",
}
HEIGHT_M = 1.6
# A thin mast on a ridge 12 km away, seen from every point; its bearing is taken from a map.
CLOSING_TARGET = (224.0, 7.5)
# The ground turns the field a little; the model does not know.
DECLINATION_ERROR_DEG = 0.5
TOLERANCE = 1e-9
PROGRAM = "program"


@dataclass(frozen=True)
class Spot:
    """A point of the survey: its name, its skyline, and when it was swept."""

    name: str
    scene: str
    scene_seed: int
    after_min: float


SPOTS = (
    Spot("meadow", "open-meadow", 11, 20.0),
    Spot("yard", "street", 12, 27.0),
    Spot("walled garden", "courtyard", 13, 35.0),
)
# Largest departures of a sweep's answer from that of the exact skyline: percentage points of
# access as fractions, and degrees.
WITHIN = {"annual_access": 0.01, "month_access": 0.03, "highest_deg": 1.0}


def scene_of(spot: Spot) -> Scene:
    """The exact skyline of a point."""
    return scene_named(spot.scene, spot.scene_seed)


def board() -> tuple[Sensor, BoardSettings]:
    """The board of the survey, with its iron and a sight that is a little out of line."""
    settings = BoardSettings(name="virtual board", serial_number="V2026")
    sensor = Sensor(individual=SEED, index_error_deg=0.5, collimation_error_deg=-0.35)
    return sensor, settings


def make_calibration(purpose: str) -> tuple[Simulated, dt.datetime]:
    """A calibration before going to the points: compass, level or bearing."""
    sensor, settings = board()
    number = ("compass", "level", "bearing").index(purpose)
    started = DAY + dt.timedelta(minutes=4 * number)
    about: dict[str, Any] = {
        "sensor": sensor,
        "site": SITE,
        "started": started,
        "seed": SEED + 10 + number,
        "streams": "MG",
        "settings": settings,
        "declination_error_deg": DECLINATION_ERROR_DEG,
    }
    if purpose == "compass":
        return simulate_tumble(**about), started
    if purpose == "level":
        return simulate_level(CLOSING_TARGET, pairs=3, edge=(150.0, 2.0), **about), started
    return simulate_bearing(CLOSING_TARGET, **about), started


def make_sweep(spot: Spot, number: int) -> tuple[Simulated, dt.datetime]:
    """The sweep of a point, the closing target sighted before and after."""
    sensor, settings = board()
    started = DAY + dt.timedelta(minutes=spot.after_min)
    # The sweep begins and ends beside the closing target: no way across the sky is recorded.
    once_round = (CLOSING_TARGET[0], CLOSING_TARGET[0] + 364.0)
    operator = replace(
        Operator.calm(), speed_deg_s=10.0, closing_target=CLOSING_TARGET, sectors=(once_round,)
    )
    done = simulate_sweep(
        scene_of(spot),
        operator,
        sensor,
        SITE,
        started,
        SEED + number,
        streams="MG",
        settings=settings,
        declination_error_deg=DECLINATION_ERROR_DEG,
    )
    return done, started


def expected(spot: Spot) -> dict[str, Any]:
    """The answer that the exact skyline of a point gives, on every plane."""
    truth = scene_of(spot).truth()
    found = SiteYear(SITE, PLANES).assess(truth).as_dict()
    return {
        "highest_deg": {"value": float(truth.elevation_deg.max()), "within": WITHIN["highest_deg"]},
        "planes": {
            plane["name"]: {
                share: {
                    "annual": {
                        "value": plane[share]["annual"]["value"],
                        "within": WITHIN["annual_access"],
                    },
                    "monthly": {
                        "value": [month["value"] for month in plane[share]["monthly"]],
                        "within": WITHIN["month_access"],
                    },
                }
                for share in ("solar_access", "beam_access")
            }
            for plane in found["planes"]
        },
    }


def calibrate_board(job: Job) -> None:
    """Record and fit the calibrations, in their order."""
    for purpose in ("compass", "level", "bearing"):
        done, started = make_calibration(purpose)
        path = calibration_path(job, purpose, started)
        more = {"observer": "the virtual operator", "holder": "pole clamp"}
        write_recording(path, done.header | more, done.chunks, done.notes)
        target = CLOSING_TARGET[0] if purpose == "bearing" else None
        recording, stream = load_stream(path)
        keep(job, recording, calibrate(job, recording, stream, Wanted(purpose, target_deg=target)))


def make(folder: Path) -> list[Path]:
    """Write the job and the expected answers into a folder; the files made."""
    job = create_job(
        folder / JOB,
        SITE,
        name="Three Alders, an invented farm",
        timezone="Europe/Ljubljana",
        planes=PLANES,
        people=PEOPLE,
    )
    calibrate_board(job)
    for number, spot in enumerate(SPOTS):
        set_point(job.folder, Point(spot.name, HEIGHT_M, HEIGHT_M))
        done, started = make_sweep(spot, number)
        about = {
            "point": spot.name,
            "sight_height_m": HEIGHT_M,
            "module_height_m": HEIGHT_M,
            "observer": "the virtual operator",
            "holder": "pole clamp",
            "leaf": "in leaf",
            "stance": "standing on the ground",
            "scene": f"{spot.scene}, seed {spot.scene_seed}",
        }
        path = sweep_path(job, spot.name, started)
        write_recording(path, done.header | about, done.chunks, done.notes)
    (job.folder / ".job.lock").unlink(missing_ok=True)
    answers = {
        "made_by": "recordings/make.py, from the exact skylines of the invented scenes",
        "points": {spot.name: expected(spot) for spot in SPOTS},
    }
    write_atomically(folder / f"{JOB}.expected.json", json_text(answers))
    made = [path for path in job.folder.rglob("*") if path.is_file()]
    return sorted([*made, folder / f"{JOB}.expected.json"])


def differences(folder: Path, other: Path, names: Sequence[Path]) -> list[str]:
    """Which of the files are not the same in both folders."""
    return [str(name) for name in names if not same_file(folder / name, other / name)]


def same_file(one: Path, other: Path) -> bool:
    """Byte for byte; results in JSON number for number, whatever program version made them."""
    if not one.is_file():
        return False
    if one.suffix != ".json":
        return filecmp.cmp(one, other, shallow=False)
    return same_result(*(json.loads(path.read_text("utf-8")) for path in (one, other)))


def same_result(one: Any, other: Any) -> bool:
    """The same structure and words, numbers to nine decimals; the version alone may differ."""
    if isinstance(one, dict) and isinstance(other, dict):
        return one.keys() == other.keys() and all(
            key == PROGRAM or same_result(one[key], other[key]) for key in one
        )
    if isinstance(one, list) and isinstance(other, list):
        return len(one) == len(other) and all(map(same_result, one, other))
    if isinstance(one, float) and isinstance(other, float):
        return abs(one - other) <= TOLERANCE
    return bool(one == other)


def main() -> int:
    """Run from the command line."""
    parser = argparse.ArgumentParser(description="Make the shipped survey again.")
    parser.add_argument("folder", nargs="?", type=Path, default=HERE)
    parser.add_argument("--check", action="store_true", help="compare instead of writing")
    options = parser.parse_args()
    if not options.check:
        for path in make(options.folder):
            print(path)
        return 0
    with tempfile.TemporaryDirectory() as temporary:
        fresh = Path(temporary)
        names = [path.relative_to(fresh) for path in make(fresh)]
        off = differences(options.folder, fresh, names)
    print("\n".join(f"differs: {name}" for name in off) or f"{len(names)} files, all the same")
    return 1 if off else 0


if __name__ == "__main__":
    sys.exit(main())
