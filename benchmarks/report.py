"""How long a report takes: one point against importing the libraries, twelve points against one.

Run it with ``python benchmarks/report.py [DOZEN]``. It copies the shipped survey into jobs of one
point and of twelve, with three planes, and times the installed command from recordings to PDF. Runs
take turns with the reference, so that a machine whose speed drifts drifts for both.
"""

from __future__ import annotations

import os
import shutil
import statistics
import subprocess
import sys
import tempfile
import time
from pathlib import Path

from logger.survey.demo import shipped_survey

ROUNDS = 5
IMPORTS = "import pvlib, scipy, matplotlib"
THIRD_PLANE = '\n[[planes]]\nname = "east wall"\ntilt_deg = 90.0\nazimuth_deg = 95.0\n'


def job_of(points: int, folder: Path) -> Path:
    """A job of so many points, whose sweeps are the shipped ones over and over."""
    source = shipped_survey()
    text = (source / "job.toml").read_text(encoding="utf-8").partition("[[points]]")[0]
    sweeps = sorted((source / "sweeps").iterdir())
    (folder / "sweeps").mkdir(parents=True)
    (folder / "job.toml").write_text(text + THIRD_PLANE, encoding="utf-8")
    for k in range(points):
        sweep = sweeps[(k + 1) % len(sweeps)]
        shutil.copytree(sweep, folder / "sweeps" / f"{sweep.name} {k + 1}")
    if (source / "calibrations").is_dir():
        shutil.copytree(source / "calibrations", folder / "calibrations")
    return folder


def seconds(command: list[str], bytecode: Path) -> tuple[float, float]:
    """Clock and processor time of one run; exit code 4 (a check failed) counts as done. [s]"""
    environment = {k: v for k, v in os.environ.items() if k != "PYTHONDONTWRITEBYTECODE"}
    environment["PYTHONPYCACHEPREFIX"] = str(bytecode)
    before, start = os.times(), time.perf_counter()
    code = subprocess.run(command, check=False, capture_output=True, env=environment).returncode
    clock, after = time.perf_counter() - start, os.times()
    if code not in (0, 4):
        raise SystemExit(f"{command} left with {code}")
    return clock, (
        after.children_user + after.children_system - before.children_user - before.children_system
    )


def main() -> None:
    dozen = int(sys.argv[1]) if len(sys.argv) > 1 else 12
    program = str(Path(sys.executable).with_name("horizon-logger"))
    with tempfile.TemporaryDirectory() as name:
        one = [program, "report", str(job_of(1, Path(name) / "one"))]
        many = [program, "report", str(job_of(dozen, Path(name) / "many"))]
        imports = [sys.executable, "-c", IMPORTS]
        bytecode = Path(name) / "bytecode"
        for command in (imports, one):
            seconds(command, bytecode)  # files into the cache
        for ending in (["--tables"], []):
            rounds = [
                [seconds(c, bytecode) for c in (imports, one + ending, many + ending)]
                for _ in range(ROUNDS)
            ]
            what = "document, tables and pictures" if ending else "document alone"
            for k, time_of in enumerate(("by the clock", "processor time")):
                first = statistics.median(b[k] / a[k] for a, b, _ in rounds)
                more = statistics.median(c[k] / b[k] for _, b, c in rounds)
                print(
                    f"{what}, {time_of}: one point takes {first:.2f} times `{IMPORTS}` "
                    f"({statistics.median(b[k] for _, b, _ in rounds):.1f} s), {dozen} points "
                    f"{more:.2f} times one point "
                    f"({statistics.median(c[k] for *_, c in rounds):.1f} s)"
                )
            print(f"{os.cpu_count()} processors, load {os.getloadavg()[0]:.1f}")


if __name__ == "__main__":
    main()
