#!/usr/bin/env python
"""Change what the program means, one piece of text at a time, and see whether the tests notice.

    python tools/meanings.py
    python tools/meanings.py --only sun bearing
    python tools/meanings.py --part 2/6

`meanings.toml` names for each change a file, a piece of its text that stands there exactly once,
what stands in its place, and the tests that must fail. Works on a copy of this checkout, not on
Windows. Exits 1 where a change is not noticed, a text is no longer there, or the tests fail without
any change.
"""

from __future__ import annotations

import argparse
import os
import sys
import tempfile
import tomllib
from dataclasses import dataclass
from pathlib import Path

import numpy  # noqa: F401 - what takes its time to import is imported once, for all tests
import pandas  # noqa: F401
import pvlib  # noqa: F401
import pytest
import scipy.spatial.transform  # noqa: F401
from mutants import copy_of_the_checkout

ROOT = Path(__file__).resolve().parent.parent


@dataclass(frozen=True)
class Meaning:
    """One change of meaning, and who should notice."""

    what: str
    file: str
    text: str
    instead: str
    tests: tuple[str, ...]

    def changed(self, source: str) -> str:
        """The file with the change in it."""
        if (n := source.count(self.text)) != 1:
            raise SystemExit(f"{self.what}: its text stands {n} times in {self.file}, not once")
        return source.replace(self.text, self.instead)


def meanings(path: Path = ROOT / "tools" / "meanings.toml") -> list[Meaning]:
    """The table."""
    found = tomllib.loads(path.read_text("utf-8"))["meaning"]
    return [Meaning(**{**one, "tests": tuple(one["tests"])}) for one in found]


def pass_in(folder: Path, tests: tuple[str, ...]) -> bool:
    """Whether tests pass on the copy, in a process that has imported none of our own code yet."""
    child = os.fork()
    if child == 0:
        os.chdir(folder)
        sys.path.insert(0, str(folder))
        with open(folder / "pytest.log", "wb") as log:
            os.dup2(log.fileno(), 1)
            os.dup2(log.fileno(), 2)
        os._exit(pytest.main(["-qx", "-p", "no:cacheprovider", "-p", "no:randomly", *tests]))
    code = os.waitstatus_to_exitcode(os.waitpid(child, 0)[1])
    if code not in (0, 1):
        said = (folder / "pytest.log").read_text("utf-8", "replace")
        raise SystemExit(f"{' '.join(tests)} could not be run:\n{said}")
    return code == 0


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__.split("\n")[0])
    parser.add_argument("--only", nargs="*", default=[], help="Words of which one must be in it.")
    parser.add_argument("--part", default="1/1", help="Such as 2/6: the second of six parts.")
    wanted = parser.parse_args()
    every = meanings()
    for one in every:
        one.changed((ROOT / one.file).read_text("utf-8"))
    part, parts = map(int, wanted.part.split("/"))
    chosen = [
        one
        for one in every[part - 1 :: parts]
        if not wanted.only or any(word in f"{one.what} {one.file}" for word in wanted.only)
    ]
    missed = 0
    with tempfile.TemporaryDirectory() as tmp:
        folder = Path(tmp)
        os.environ |= {"PYTHONPATH": str(folder), "PYTHONDONTWRITEBYTECODE": "1"}
        sys.dont_write_bytecode = True
        copy_of_the_checkout(folder)
        if not pass_in(folder, tuple(dict.fromkeys(test for one in chosen for test in one.tests))):
            print((folder / "pytest.log").read_text("utf-8", "replace")[-2000:])
            raise SystemExit("the tests fail without any change: nothing can be said")
        for one in chosen:
            source = (ROOT / one.file).read_text("utf-8")
            (folder / one.file).write_text(one.changed(source), "utf-8")
            noticed = not pass_in(folder, one.tests)
            (folder / one.file).write_text(source, "utf-8")
            print(f"{'noticed    ' if noticed else 'NOT NOTICED'}  {one.what}", flush=True)
            missed += not noticed
    print(f"{len(chosen) - missed} of {len(chosen)} changes of meaning were noticed")
    return bool(missed)


if __name__ == "__main__":
    sys.exit(main())
