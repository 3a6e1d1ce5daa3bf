"""The firmware, built once for all workers; tests that need it are skipped where it cannot be."""

import sys
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).resolve().parents[2] / "tools"))

import emulated_board

NAMES = {
    "firmware": "the firmware",
    "host": "the firmware's core for this machine",
    "emulator": "the emulated board",
}


def built(tmp_path_factory, *targets):
    for target in targets:
        if reason := emulated_board.missing_for(target):
            pytest.skip(f"{NAMES[target]} cannot be built: {reason}")
    shared = tmp_path_factory.getbasetemp()
    if shared.name.startswith("popen-"):  # one worker of several
        shared = shared.parent
    return emulated_board.build(shared / "firmware", *targets)


@pytest.fixture(scope="session")
def host_programs(tmp_path_factory):
    return built(tmp_path_factory, "host")


@pytest.fixture(scope="session")
def board(tmp_path_factory):
    return built(tmp_path_factory, "firmware", "emulator")
