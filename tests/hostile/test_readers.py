"""Files from other people's laptops end in data or in one of our own errors, nothing else."""

import json

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from logger.calibration import read_calibration
from logger.errors import InputError
from logger.job import create_job, read_job
from logger.site import Site
from logger.survey.terrain_store import SCHEMA, far_as_dict, stored_terrain
from logger.terrain import FarHorizon


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    return tmp_path_factory.mktemp("hostile")


@given(content=st.binary(max_size=200))
def test_any_bytes_as_a_job(folder, content):
    (folder / "job.toml").write_bytes(content)
    with pytest.raises(InputError):
        read_job(folder)


def test_a_deep_job_is_refused(folder):
    (folder / "job.toml").write_bytes(b"a = " + b"[" * 100_000)
    with pytest.raises(InputError, match="TOML"):
        read_job(folder)


@pytest.mark.parametrize(
    "content",
    [b"", b"[1]", b"[" * 100_000, b'{"a":' * 50_000, b"\xff", b'{"a": 1' + b"0" * 5000 + b"}"],
)
def test_a_calibration_that_is_no_json_object_is_refused(folder, content):
    (folder / "c.json").write_bytes(content)
    with pytest.raises(InputError):
        read_calibration(folder / "c.json")


def terrain_file(folder):
    """A job with a far horizon as the program keeps it, its path and what it says."""
    job = create_job(folder, Site(46.05, 14.51))
    column = np.full(4, 3.0)
    gap = np.array([np.inf, 5_000.0, np.inf, np.inf])
    far = FarHorizon(np.arange(4) * 90.0, column, 1000.0 * column, 0.1 * column, gap, 312.0)
    path = folder / "terrain" / "yard.json"
    path.parent.mkdir()
    said = json.loads(json.dumps({"schema": SCHEMA, **far_as_dict(far)}, default=list))
    return job, path, said | {"gap_m": [None, 5_000.0, None, None]}


def test_a_far_horizon_is_read_as_it_was_kept(tmp_path):
    job, path, said = terrain_file(tmp_path / "job")
    path.write_text(json.dumps(said))
    far = stored_terrain(job, "yard")
    assert far.whole.tolist() == [True, False, True, True]
    assert far.elevation_deg.tolist() == [3.0] * 4


@pytest.mark.parametrize(
    "value",
    ["x", None, 5, [], [1, 2], [-1000] * 4, [1e308] * 4, [10**400] * 4, [float("inf")] * 4]
    + [[each] * 4 for each in ("x", [1, 2], {})],
)
@pytest.mark.parametrize(
    "key", ["azimuth_deg", "elevation_deg", "distance_m", "standard_error_deg", "gap_m", "eye_m"]
)  # fmt: skip
def test_a_far_horizon_spoilt_in_one_place_is_told_with_its_file(tmp_path, key, value):
    if (key, value) == ("eye_m", 5):
        value = -5_000
    job, path, said = terrain_file(tmp_path / "job")
    path.write_text(json.dumps(said | {key: value}))
    with pytest.raises(InputError, match=r"yard\.json: is not as the program wrote it") as refused:
        stored_terrain(job, "yard")
    assert "delete the file" in refused.value.hint
