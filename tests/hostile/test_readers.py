"""Files from other people's laptops end in data or in one of our own errors, nothing else."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from logger.calibration import read_calibration
from logger.errors import InputError
from logger.job import read_job


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
