"""Tiles and jobs of an invented valley; makes this room's helpers importable from its tests."""

from __future__ import annotations

import shutil
import sys
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).parent))
sys.path.insert(0, str(Path(__file__).parents[2] / "benchmarks"))

from invented_hills import Hills
from invented_valley import SITE, swept_job, write_tiles


@pytest.fixture(scope="session")
def hills(tmp_path_factory):
    """A folder of tiles: hills within 30 km, a level valley around the site."""
    return write_tiles(tmp_path_factory.mktemp("hills"), Hills(SITE, 3, reach_m=30_000.0))


@pytest.fixture(scope="session")
def plain(tmp_path_factory):
    """A folder of tiles without a hill."""
    return write_tiles(tmp_path_factory.mktemp("plain"), Hills(SITE, 3, relief_m=0.0))


@pytest.fixture(scope="session")
def calm_job(tmp_path_factory, hills):
    """Nothing turns the compass; not to be changed."""
    return swept_job(tmp_path_factory.mktemp("calm") / "job", hills, 0.0, street=True)


@pytest.fixture(scope="session")
def steel_job(tmp_path_factory, hills):
    """Steel turns the compass: 6° are to be added to its azimuths; not to be changed."""
    return swept_job(tmp_path_factory.mktemp("steel") / "job", hills, 6.0, street=True)


@pytest.fixture
def copy(tmp_path):
    """A job that may be changed."""

    def copied(job):
        return Path(shutil.copytree(job.folder, tmp_path / "job"))

    return copied
