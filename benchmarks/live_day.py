"""From stepping onto a spot to its answer, on two spots, with nothing typed.

    python benchmarks/live_day.py [--hand calm|brisk] [--sector FROM,TO]

The installed commands talk over TCP in real time: the virtual board walks from spot to spot,
its trigger opens each, the closing target is sighted and pressed, the part of the skyline that
the sun crosses is swept forth and back, the closing target is sighted and pressed again, and
the trigger closes the spot. Printed is what the sweep says, the time from the opening trigger to
the answer, and how much of it the hand took, from trigger to trigger.
"""

import argparse
import os
import re
import subprocess
import sys
import tempfile
from pathlib import Path

from logger.recording import read_recording

COMMAND = str(Path(sys.executable).with_name("horizon-logger"))
LIMIT_S = 90.0
OPENED = re.compile(r"^(.+), (\d+) s after it was opened: (.*)$", re.M)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--hand", choices=("calm", "brisk"), default="brisk")
    parser.add_argument("--sector", default="53,307", help="What the sun crosses at 46 degrees.")
    asked = parser.parse_args()
    with tempfile.TemporaryDirectory() as folder:
        job = Path(folder) / "barn"
        site = ["--latitude", "46.05", "--longitude", "14.51", "--altitude", "310"]
        subprocess.run([COMMAND, "new", job, *site, "--plane", "roof=35,180"], check=True)
        board = subprocess.Popen(
            [COMMAND, "simulate", "--do", "points", "--scene", "street", "--scene", "ridge",
             "--hand", asked.hand, "--sector", asked.sector, "--target", "63,1.2", "--no-iron",
             "--once"],
            stdout=subprocess.PIPE, stderr=subprocess.DEVNULL, encoding="utf-8",
        )  # fmt: skip
        try:
            assert board.stdout is not None
            port = board.stdout.readline().strip()
            done = subprocess.run(
                [COMMAND, "sweep", job, "eave", "gable", "--port", port],
                stdin=subprocess.DEVNULL, capture_output=True, encoding="utf-8", check=False,
            )  # fmt: skip
        finally:
            board.terminate()
            board.wait()
        recordings = [read_recording(path) for path in sorted((job / "sweeps").glob("*/*.sweep"))]
    found = OPENED.findall(done.stderr)
    if len(found) != 2:
        raise SystemExit(f"no two answers came:\n{done.stderr}")
    for (point, seconds, words), recording in zip(found, recordings, strict=True):
        keys = [(t, raw) for t, raw in recording.sentences if raw.startswith(b"$PHLGK")]
        pressed = sum(b",2,D," in raw for _, raw in keys)
        closed_s = max(t for t, raw in keys if b",1,D," in raw)
        print(f"{point}: {seconds} s from the trigger to the answer, of which the hand took "
              f"{closed_s:.0f} s, {pressed} marks ({words})")  # fmt: skip
    print(f"load of the machine: {os.getloadavg()[0]:.1f} on {os.cpu_count()} cores")
    within = max(int(seconds) for _, seconds, _ in found) <= LIMIT_S
    print(f"{'within' if within else 'BEYOND'} the limit of {LIMIT_S:.0f} s")


if __name__ == "__main__":
    main()
