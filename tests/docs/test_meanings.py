"""The tools that change and try the code (tools/meanings.toml, mutants.py) still fit it."""

import re
import runpy
import tomllib
from pathlib import Path

ROOT = Path(__file__).parents[2]


def test_every_text_that_it_changes_stands_there_once_and_its_tests_are_there():
    table = tomllib.loads((ROOT / "tools" / "meanings.toml").read_text("utf-8"))["meaning"]
    assert len(table) > 100
    stands = {one["what"]: (ROOT / one["file"]).read_text("utf-8").count(one["text"])
              for one in table}  # fmt: skip
    assert {what: n for what, n in stands.items() if n != 1} == {}
    named = [test.partition("::") for one in table for test in one["tests"]]
    assert [f"{file}::{name}" for file, _, name in named
            if name and f"def {name}(" not in (ROOT / file).read_text("utf-8")] == []  # fmt: skip
    files = {file for file, _, _ in named}
    text = (ROOT / "tools" / "lowest_versions.py").read_text("utf-8")
    files |= set(re.findall(r'"(tests/[^":]+)', text))
    mutants = runpy.run_path(str(ROOT / "tools" / "mutants.py"))
    for room in mutants["ROOMS"]:
        files.update(*mutants["files_of"](room))
    assert {file for file in files if not (ROOT / file).exists()} == set()
