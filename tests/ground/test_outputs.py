"""An output option never destroys what somebody may need."""

import os
from pathlib import Path

import pytest

from logger.errors import LoggerError
from logger.outputs import remove_in_job, write_in_job, write_output

RESULT = '{\n  "schema": "horizon-logger result 2",\n  "point": "yard"\n}\n'
ROWS = "t_s,azimuth_deg\n0,1\n"
needs_links = pytest.mark.skipif(not hasattr(os, "symlink"), reason="needs symbolic links")


@pytest.mark.parametrize(
    ("name", "stands", "content", "why"),
    [
        ("yard.sweep", "horizon-logger recording 1\nh {}\n", RESULT, "recording"),
        ("log.txt", "horizon-logger recording 1\nh {}\n", ROWS, "recording"),
        ("broken.sweep", "", RESULT, "recording"),
        ("job.toml", "[site]\n", RESULT, "job's own file"),
        ("h.csv", "azimuth_deg,elevation_deg\n0,1\n", RESULT, "something else"),
        ("letter.txt", "Dear neighbour\n", ROWS, "something else"),
        ("other.json", '{"mine": 1}\n', RESULT, "something else"),
        ("plan.pdf", "%PDF-1.7\n", RESULT, "something else"),
    ],
)
def test_what_stands_there_already_is_kept(
    tmp_path: Path, name: str, stands: str, content: str, why: str
) -> None:
    path = tmp_path / name
    path.write_text(stands)
    with pytest.raises(LoggerError, match=why) as refused:
        write_output(path, content)
    assert refused.value.exit_code == 2
    assert path.read_text() == stands


@pytest.mark.parametrize("content", [RESULT, ROWS, "%PDF-1.7\nnew", "# by us\nt_s\n1\n"])
def test_a_command_may_write_its_own_kind_again(tmp_path: Path, content: str) -> None:
    path = tmp_path / "out"
    for text in (content, content + "\n"):
        write_output(path, text)
    assert path.read_text() == content + "\n"


def test_another_kind_goes_only_when_told(tmp_path: Path) -> None:
    path = tmp_path / "letter.txt"
    path.write_text("Dear neighbour\n")
    write_output(path, RESULT, overwrite=True)
    assert path.read_text() == RESULT


def test_an_input_is_never_written_even_when_told(tmp_path: Path) -> None:
    path = tmp_path / "h.csv"
    path.write_text(ROWS)
    with pytest.raises(LoggerError, match="input"):
        write_output(path, ROWS, inputs=[path], overwrite=True)


@pytest.mark.parametrize(
    "name",
    [
        "job.toml", "calibrations/c.json", "sweeps/yard/x.csv", "weather/year.epw",
        "photos/yard/a.png", "results/yard.json", "terrain/yard.png",
    ],
)  # fmt: skip
@pytest.mark.parametrize("there", [True, False])
def test_no_output_goes_among_a_jobs_own_files_even_when_told(tmp_path, name, there) -> None:
    (tmp_path / "job.toml").write_text("[site]\n")
    path = tmp_path / name
    path.parent.mkdir(parents=True, exist_ok=True)
    if there:
        path.write_text(RESULT)
    before = {one: one.read_bytes() for one in tmp_path.rglob("*") if one.is_file()}
    with pytest.raises(LoggerError, match="a job's own file"):
        write_output(path, RESULT, overwrite=True)
    assert {one: one.read_bytes() for one in tmp_path.rglob("*") if one.is_file()} == before


def test_what_lies_in_a_folder_that_is_read_is_kept_even_when_told(tmp_path: Path) -> None:
    tile = tmp_path / "N46E014.hgt"
    tile.write_bytes(b"\0\1")
    with pytest.raises(LoggerError, match="something else"):
        write_output(tile, RESULT, inputs=[tmp_path], overwrite=True)
    write_output(tmp_path / "new.json", RESULT, inputs=[tmp_path])
    assert tile.read_bytes() == b"\0\1"


@needs_links
def test_a_link_out_of_its_folder_is_not_followed(tmp_path: Path) -> None:
    precious, job = tmp_path / "precious.json", tmp_path / "job"
    precious.write_text(RESULT)
    (job / "results").mkdir(parents=True)
    link = job / "results" / "yard.json"
    link.symlink_to(precious)
    with pytest.raises(LoggerError, match="symbolic link"):
        write_output(link, RESULT.replace("yard", "x"))
    write_in_job(job, link, RESULT.replace("yard", "x"))
    assert precious.read_text() == RESULT
    assert not link.is_symlink()


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="needs pipes in folders")
def test_a_pipe_in_the_place_of_a_file_of_the_job_is_not_waited_for(tmp_path: Path) -> None:
    os.mkfifo(tmp_path / "yard.json")
    write_in_job(tmp_path, tmp_path / "yard.json", RESULT)
    assert (tmp_path / "yard.json").read_text() == RESULT


@needs_links
def test_a_folder_of_a_mailed_job_that_is_a_link_is_refused(tmp_path: Path) -> None:
    outside, job = tmp_path / "outside", tmp_path / "job"
    outside.mkdir()
    (outside / "roof.json").write_text(RESULT)
    job.mkdir()
    (job / "results").symlink_to(outside)
    with pytest.raises(LoggerError, match="leads out of the job folder"):
        write_in_job(job, job / "results" / "yard.json", RESULT)
    remove_in_job(job, job / "results" / "roof.json")
    assert [one.name for one in outside.iterdir()] == ["roof.json"]
