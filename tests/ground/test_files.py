"""Files are read within sense and written whole, JSON holds no number that is not defined."""

import json
import math
import os

import numpy as np
import pytest

from logger.errors import InputError
from logger.files import (
    FOLDERS,
    PART,
    json_text,
    plain,
    read_within,
    temporary_folder,
    write_atomically,
)


def test_undefined_numbers_become_null():
    assert plain({"a": math.nan, "b": [np.float64("inf"), np.int64(3)], "c": np.array([1.5])}) == {
        "a": None,
        "b": [None, 3],
        "c": [1.5],
    }


def test_json_comes_back_as_it_went():
    value = {"list": [{"a": 1, "b": "ž" * 60}, {"a": [0.5] * 40}], "none": None, "empty": []}
    assert json.loads(json_text(value)) == value


def test_writing_replaces_the_whole_file_and_leaves_nothing_beside_it(tmp_path):
    path = tmp_path / "deep" / "a.json"
    write_atomically(path, "first")
    write_atomically(path, "second\n")
    assert path.read_text() == "second\n"
    assert [p.name for p in path.parent.iterdir()] == ["a.json"]


def test_a_file_is_on_the_disk_before_it_takes_the_place_of_the_old_one(tmp_path, monkeypatch):
    (tmp_path / "a.json").write_text("old")
    done = []
    for name in ("fsync", "replace"):
        real = getattr(os, name)
        monkeypatch.setattr(os, name, lambda *a, n=name, real=real: (done.append(n), real(*a)))
    write_atomically(tmp_path / "a.json", "new")
    assert done == ["fsync", "replace"]


def test_what_a_killed_program_left_is_swept_by_the_next_and_nothing_else_is(tmp_path):
    kept = [tmp_path / ".download.part", tmp_path / f".a.json.now{PART}"]
    left = tmp_path / f".a.json.long-ago{PART}"
    for path in (*kept, left):
        path.write_text("half")
    os.utime(left, (0, 0))
    os.utime(kept[0], (0, 0))
    write_atomically(tmp_path / "b.json", "whole")
    assert not left.exists()
    assert all(path.exists() for path in kept)


def test_a_temporary_folder_goes_and_those_of_killed_programs_with_it(tmp_path, monkeypatch):
    monkeypatch.setattr("tempfile.tempdir", str(tmp_path))
    old, other = tmp_path / f"{FOLDERS}old", tmp_path / "horizon-logger-jobs"
    for folder in (old, other):
        (folder / "in").mkdir(parents=True)
        os.utime(folder, (0, 0))
    with temporary_folder() as used:
        assert [p.name for p in sorted(tmp_path.iterdir())] == sorted([used.name, other.name])
    assert list(tmp_path.iterdir()) == [other]


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="this system has no named pipes")
def test_a_pipe_or_device_is_written_to_and_stays_what_it_is(tmp_path):
    path = tmp_path / "pipe"
    os.mkfifo(path)
    reader = os.open(path, os.O_RDONLY | os.O_NONBLOCK)
    write_atomically(path, "a line\n")
    assert os.read(reader, 100) == b"a line\n"
    os.close(reader)
    assert path.is_fifo()


def test_a_link_to_a_file_stays_a_link(tmp_path):
    target, link = tmp_path / "target.json", tmp_path / "link.json"
    target.write_text("old")
    try:
        link.symlink_to(target)
    except OSError:
        pytest.skip("no links may be made here")
    write_atomically(link, "new")
    assert link.is_symlink()
    assert target.read_text() == "new"


def test_a_file_is_read_whole_up_to_its_limit(tmp_path):
    path = tmp_path / "a"
    path.write_bytes(b"x" * 2**20)
    assert read_within(path, 2**20, "note") == path.read_bytes()
    path.write_bytes(b"x" * (2**20 + 1))
    with pytest.raises(InputError, match="more than 1 MiB, no note is that long"):
        read_within(path, 2**20, "note")


def test_what_is_no_file_is_told_in_one_sentence(tmp_path):
    for path in (tmp_path / "none", tmp_path / "a\0b"):
        with pytest.raises(InputError, match="cannot be read"):
            read_within(path, 2**20, "note")
    with pytest.raises(InputError, match="is no file but a folder"):
        read_within(tmp_path, 2**20, "note")


def test_a_column_is_told_as_its_numbers_one_by_one_are():
    column = np.array([1 / 3, -0.0, np.nan, np.inf, -1e300, 5e-11, 1e-12, 123456789.123456789])
    told = plain(column)
    assert told == [plain(float(v)) for v in column]
    assert told[0] == 0.3333333333
    assert str(told[1]) == "0.0"
    assert told[2] is None
    assert told[3] is None
