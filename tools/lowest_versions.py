#!/usr/bin/env python
"""Run the suite with the lowest versions that pyproject.toml allows, or with the newest.

    python tools/lowest_versions.py
    python tools/lowest_versions.py --newest
    python tools/lowest_versions.py --only tests/recording tests/ground
    python tools/lowest_versions.py --main-paths

Builds a virtual environment of its own, installs this checkout with every dependency at its lower
bound (or whatever is newest), and runs the whole suite, or what is named. --main-paths is the part
that the continuous integration runs: what calls other people's packages, and the whole chain once.
"""

from __future__ import annotations

import argparse
import re
import subprocess
import sys
import tempfile
import tomllib
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent

MAIN_PATHS = (
    "tests/recordings/test_shipped_survey.py",
    "tests/commands/test_live_and_replay.py",
    "tests/ground/test_sun.py",
    "tests/ground/test_geomagnetism.py",
    "tests/recording/test_links.py",
    "tests/calibration/test_compass.py",
    "tests/calibration/test_plane.py",
    "tests/access/test_weather_files.py",
    "tests/access/test_transposition.py",
    "tests/agreement/test_iso5725.py",
    "tests/agreement/test_observers.py",
    "tests/job/test_job_file.py",
    "tests/live/test_screen.py",
    "tests/page/test_refusals.py",
    "tests/report/test_charts.py",
    "tests/report/test_language.py",
    "tests/report/test_document.py::test_the_document_is_tagged_and_says_what_it_is",
    "tests/report/test_document.py::test_photos_are_upright_small_and_tell_no_place",
)
NEWEST_PYTHON = (3, 12)
"""The last for which all of the lowest versions were published ready to install."""


def lower_bounds() -> list[str]:
    """Every dependency of the project and of its tests, pinned to its lower bound."""
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    pinned = []
    for wanted in [*project["dependencies"], *project["optional-dependencies"]["test"]]:
        bound = re.match(r"([A-Za-z0-9_.-]+)(?:\[[^]]*\])?\s*>=\s*([0-9.]+)", wanted)
        if bound is None:
            raise SystemExit(f"{wanted!r} in pyproject.toml has no lower bound")
        pinned.append(f"{bound[1]}=={bound[2]}")
    return pinned


def interpreter(newest: bool) -> str:
    """Which Python serves: where the running one is too new for the oldest, an older one here."""
    if newest or sys.version_info[:2] <= NEWEST_PYTHON:
        return sys.executable
    older = [f"python3.{minor}" for minor in range(NEWEST_PYTHON[1], 10, -1)]
    for name in older:
        try:
            subprocess.run([name, "-c", ""], check=True, capture_output=True)
        except (OSError, subprocess.CalledProcessError):
            continue
        return name
    raise SystemExit(
        f"nothing was tested: Python 3.{sys.version_info[1]} is too new for the oldest versions, "
        f"and there is no {' or '.join(older)} here"
    )


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__.split("\n")[0])
    parser.add_argument("--newest", action="store_true")
    parser.add_argument("--only", nargs="*", default=["tests"], help="What pytest is given.")
    parser.add_argument("--main-paths", action="store_true")
    parser.add_argument("--folder", type=Path, help="Keep the environment here, and use it again.")
    wanted = parser.parse_args()
    with tempfile.TemporaryDirectory() as tmp:
        folder = wanted.folder or Path(tmp) / "env"
        if not (folder / "pyvenv.cfg").exists():
            make = [interpreter(wanted.newest), "-m", "venv", str(folder)]
            subprocess.run(make, check=True)
        scripts = folder / ("Scripts" if sys.platform == "win32" else "bin")
        python = str(scripts / "python")
        pins = [] if wanted.newest else lower_bounds()
        upgrade = ["--upgrade", "--upgrade-strategy", "eager"] if wanted.newest else []
        install = [python, "-m", "pip", "install", "-q", *upgrade, "-e", f"{ROOT}[test]", *pins]
        subprocess.run(install, check=True)
        print("\n".join(pins) or "the newest of everything", flush=True)
        tests = [python, "-m", "pytest", "-q", "-n", "auto", "-p", "no:cacheprovider"]
        tests += MAIN_PATHS if wanted.main_paths else wanted.only
        return subprocess.run(tests, cwd=ROOT, check=False).returncode


if __name__ == "__main__":
    sys.exit(main())
