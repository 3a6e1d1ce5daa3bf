"""Make the shipped survey again, byte for byte: ``python recordings/make.py [FOLDER]``.

Everything in it is invented: the place, its skylines, the operator and the board. The virtual
board makes the recordings from the seeds below; the expected answers come from the exact
skylines, not from the recordings. ``--check`` makes it elsewhere and compares.
"""

from __future__ import annotations

import argparse
import datetime as dt
import filecmp
import sys
import tempfile
from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from firmware_protocol import Decoder
from logger.access import Plane, assess
from logger.acquisition import RecordingWriter
from logger.files import json_text, write_atomically
from logger.job import Point, create_job, set_point, sweep_path
from logger.simulation import (
    BoardSettings,
    Operator,
    Scene,
    Sensor,
    Simulated,
    scene_named,
    simulate_sweep,
)
from logger.site import Site

HERE = Path(__file__).parent
JOB = "three-alders"
SEED = 2026
SITE = Site(46.05, 14.51, 310.0)
DAY = dt.datetime(2026, 5, 14, 6, 20, 0, tzinfo=dt.UTC)
PLANES = (
    Plane("ground frame", 35.0, 180.0, size_kwp=4.0),
    Plane("barn roof", 20.0, 215.0, size_kwp=6.0),
)
HEIGHT_M = 1.6


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
    """The board of the survey, its iron switched off."""
    settings = BoardSettings(name="virtual board", serial_number="V2026")
    return Sensor(individual=SEED).without_iron(), settings


def write_recording(path: Path, done: Simulated, **more: Any) -> None:
    """A simulated task as a sealed recording, notes and all."""
    decoder = Decoder()
    records: list[tuple[float, int, Any]] = [
        *((t, 0, text) for t, text in done.chunks),
        *((round(note.t_s, 3), 1, note) for note in done.notes),
    ]
    with RecordingWriter(path, done.header | more) as writer:
        for t, kind, what in sorted(records, key=lambda record: record[:2]):
            if kind == 0:
                writer.add(t, decoder.feed(what))
            else:
                said = {"label": what.label, "kind": what.kind} | what.more
                writer.note(t, **{key: value for key, value in said.items() if value})


def make_sweep(spot: Spot, number: int) -> tuple[Simulated, dt.datetime]:
    """The sweep of a point."""
    sensor, settings = board()
    started = DAY + dt.timedelta(minutes=spot.after_min)
    operator = replace(Operator.calm(), speed_deg_s=10.0)
    done = simulate_sweep(
        scene_of(spot), operator, sensor, SITE, started, SEED + number, "MG", 50, settings
    )
    return done, started


def expected(spot: Spot) -> dict[str, Any]:
    """The answer that the exact skyline of a point gives, on every plane."""
    truth = scene_of(spot).truth()
    found = assess(truth, SITE, PLANES).as_dict()
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


def make(folder: Path) -> list[Path]:
    """Write the job and the expected answers into a folder; the files made."""
    job = create_job(
        folder / JOB,
        SITE,
        name="Three Alders, an invented farm",
        timezone="Europe/Ljubljana",
        planes=PLANES,
    )
    for number, spot in enumerate(SPOTS):
        set_point(job.folder, Point(spot.name, HEIGHT_M, HEIGHT_M))
        done, started = make_sweep(spot, number)
        write_recording(
            sweep_path(job, spot.name, started),
            done,
            point=spot.name,
            sight_height_m=HEIGHT_M,
            module_height_m=HEIGHT_M,
            observer="the virtual operator",
            leaf="in leaf",
            stance="standing on the ground",
            scene=f"{spot.scene}, seed {spot.scene_seed}",
        )
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
    return [
        str(name)
        for name in names
        if not (folder / name).is_file()
        or not filecmp.cmp(folder / name, other / name, shallow=False)
    ]


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
