"""A job, and a ridge that was swept with a virtual board."""

import json
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pytest


@dataclass(frozen=True)
class Surveyed:
    """A job, its one recording, the true skyline as CSV, and what the sweep said."""

    job: Path
    recording: Path
    truth: Path
    said: str


@dataclass(frozen=True)
class Replayed:
    """A replay as installed: how it ended, its JSON, and its table of samples."""

    ran: Any
    result: dict[str, Any]
    samples: list[str]


@pytest.fixture
def job(run, tmp_path):
    """A fresh job."""
    folder = tmp_path / "job"
    made = run(
        "new", folder, "--latitude", 46.05, "--longitude", 14.51, "--altitude", 310,
        "--plane", "roof=35,180",
    )  # fmt: skip
    assert made.code == 0, made.err
    return folder


@pytest.fixture(scope="session")
def ridge(run, installed, board, tmp_path_factory):
    """A calibrated sweep of the smooth ridge, board without iron, over TCP; with its truth."""
    folder = tmp_path_factory.mktemp("ridge")
    job, truth = folder / "job", folder / "truth.csv"
    run("new", job, "--latitude", 46.05, "--longitude", 14.51, "--altitude", 310)
    with board(
        "--tcp", "127.0.0.1:0", "--do", "compass,sweep", "--no-iron", "--speed", 0, "--once",
        "--truth", truth,
    ) as port:  # fmt: skip
        calibrated = installed("calibrate", "compass", job, "--port", port)
        assert calibrated.code == 0, calibrated.err
        swept = installed("sweep", job, "spot", "--port", port)
    assert swept.code == 0, swept.err
    (recording,) = (job / "sweeps" / "spot").glob("*.sweep")
    return Surveyed(job, recording, truth, swept.err)


@pytest.fixture(scope="session")
def replayed(installed, ridge, tmp_path_factory):
    """The ridge replayed."""
    table = tmp_path_factory.mktemp("replayed") / "samples.csv"
    more = ("--job", ridge.job, "--samples", table, "--json", "-")
    ran = installed("replay", ridge.recording, *more)
    return Replayed(ran, json.loads(ran.out), table.read_text().splitlines())
