#!/usr/bin/env python
"""The same recording and settings give the same bytes, however and wherever they are worked out.

    python tools/same_bytes.py
    python tools/same_bytes.py recordings/some.sweep

Replays a recording (without one, a made-up sweep) in processes that differ in everything that must
not matter: hash seed, number of threads of the numerical libraries, time zone, language, working
directory, and in how many run at the same time.
"""

from __future__ import annotations

import hashlib
import os
import subprocess
import sys
import tempfile
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

from logger.recording import write_recording
from logger.simulation import simulate_sweep
from logger.simulation.scenes import scene_named

PROGRAM = "from logger.cli import main; main()"
WORLDS: dict[str, dict[str, str]] = {
    "as it is": {},
    "again": {},
    "hash seed 0": {"PYTHONHASHSEED": "0"},
    "hash seed 4711": {"PYTHONHASHSEED": "4711"},
    "one thread": {"OMP_NUM_THREADS": "1", "OPENBLAS_NUM_THREADS": "1"},
    "four threads": {"OMP_NUM_THREADS": "4", "OPENBLAS_NUM_THREADS": "4"},
    "Auckland": {"TZ": "Pacific/Auckland"},
    "no language": {"LC_ALL": "C", "LANG": "C"},
    "another folder": {"PWD": "/"},
}


def made(folder: Path) -> Path:
    sweep = simulate_sweep(scene_named("street", 1), seed=1)
    path = folder / "made.sweep"
    write_recording(path, {**sweep.header, "point": "spot"}, sweep.chunks)
    return path


def replay(recording: Path, world: dict[str, str]) -> bytes:
    done = subprocess.run(
        [sys.executable, "-c", PROGRAM, "replay", str(recording), "--json", "-"],
        env={**os.environ, **world}, cwd=world.get("PWD"), capture_output=True, check=False,
    )  # fmt: skip
    if done.returncode not in (0, 4):
        raise SystemExit(done.stderr.decode("utf-8", "replace"))
    return done.stdout


def main() -> int:
    with tempfile.TemporaryDirectory() as tmp:
        recording = Path(sys.argv[1]).resolve() if sys.argv[1:] else made(Path(tmp))
        answers = {name: replay(recording, world) for name, world in WORLDS.items()}
        with ThreadPoolExecutor(4) as pool:
            together = list(pool.map(lambda _: replay(recording, {}), range(4)))
    answers |= {f"one of four at once, {i}": answer for i, answer in enumerate(together, start=1)}
    first = answers["as it is"]
    for name, answer in answers.items():
        digest = hashlib.sha256(answer).hexdigest()[:16]
        print(f"{'same ' if answer == first else 'OTHER'} {digest} {name}")
    differing = sum(answer != first for answer in answers.values())
    print(f"{len(answers)} runs, {differing} with other bytes, {len(first)} bytes each")
    return 1 if differing else 0


if __name__ == "__main__":
    sys.exit(main())
