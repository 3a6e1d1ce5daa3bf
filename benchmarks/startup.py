"""How long `horizon-logger --help` takes, as a ratio to `python -c "import click"`.

Run it with ``python benchmarks/startup.py``. The two take turns, so that a machine whose speed
drifts drifts for both; the ratio of each pair is taken, and the median printed.
"""

from __future__ import annotations

import statistics
import subprocess
import sys
import time
from pathlib import Path

PAIRS = 15
LIMIT = 3.0


def seconds(command: list[str]) -> float:
    """Wall time of one run. [s]"""
    start = time.perf_counter()
    subprocess.run(command, check=True, stdout=subprocess.DEVNULL)
    return time.perf_counter() - start


def main() -> None:
    ours = [str(Path(sys.executable).with_name("horizon-logger")), "--help"]
    reference = [sys.executable, "-c", "import click"]
    for command in (ours, reference):
        seconds(command)  # files into the cache
    ratios = [seconds(ours) / seconds(reference) for _ in range(PAIRS)]
    print(
        f"--help takes {statistics.median(ratios):.2f} times `import click` "
        f"({min(ratios):.2f} to {max(ratios):.2f}, {PAIRS} pairs); at most {LIMIT:g} is the aim"
    )


if __name__ == "__main__":
    main()
