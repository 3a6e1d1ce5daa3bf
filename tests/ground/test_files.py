"""Files are written whole, JSON holds no number that is not defined."""

import json
import math

import numpy as np

from logger.files import json_text, plain, write_atomically


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
