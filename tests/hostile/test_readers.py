"""Files from other people's laptops end in data or in one of our own errors, nothing else."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from logger.access import read_weather
from logger.calibration import read_calibration
from logger.errors import InputError
from logger.horizon_csv import parse_horizon_csv
from logger.job import read_job

ABSURD = ("1" + "0" * 400, "1e999", "-1e308", "nan", "inf", "-inf", "true", '""', "[[]]")
NUMBERS = st.one_of(
    st.sampled_from([10**400, -(10**400), 1e308, True, None, "x", [], [[1]], {}]),
    st.floats(),
    st.integers(),
)


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    return tmp_path_factory.mktemp("hostile")


@pytest.mark.parametrize("value", ABSURD)
@pytest.mark.parametrize("key", ["latitude_deg", "longitude_deg", "altitude_m"])
def test_an_absurd_number_in_a_job_is_refused_by_its_key(folder, key, value):
    site = {"latitude_deg": "46.0", "longitude_deg": "14.5", "altitude_m": "310"} | {key: value}
    text = "[site]\n" + "".join(f"{k} = {v}\n" for k, v in site.items())
    (folder / "job.toml").write_text(text)
    with pytest.raises(InputError, match=rf"{key[:4]}|TOML"):
        read_job(folder)


@given(content=st.binary(max_size=200))
def test_any_bytes_as_a_job(folder, content):
    (folder / "job.toml").write_bytes(content)
    with pytest.raises(InputError):
        read_job(folder)


@pytest.mark.parametrize("content", [b"a = " + b"[" * 100_000, b"[" * 100_000, b"a." * 60_000])
def test_a_deep_job_is_refused(folder, content):
    (folder / "job.toml").write_bytes(content)
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


@given(content=st.text(max_size=200), header=st.booleans())
def test_any_text_as_a_horizon(content, header):
    try:
        profile = parse_horizon_csv("azimuth_deg,elevation_deg\n" * header + content)
    except InputError:
        return
    assert len(profile) > 0


@pytest.mark.parametrize("cell", ["nan", "inf", "-inf", "1e999", "91", "-91", "1_000", "0x1", "١"])
def test_an_elevation_that_is_none_is_refused_with_its_line(cell):
    try:
        profile = parse_horizon_csv(f"azimuth_deg,elevation_deg\n0,{cell}\n")
    except InputError as error:
        assert "line 2" in str(error)  # noqa: PT017 - either is right for digits of other scripts
        return
    assert -90 <= profile.elevation_deg[0] <= 90


@pytest.mark.parametrize(
    "content",
    [b"", b"LOCATION,\n" * 20, b"a\nDate (MM/DD/YYYY),Time\n1,2\n", b"\0" * 1000, b"LOCATION," * 9],
)
def test_a_file_that_is_no_weather_is_refused(folder, content):
    (folder / "w.epw").write_bytes(content)
    with pytest.raises(InputError):
        read_weather(folder / "w.epw")
