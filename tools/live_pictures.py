"""Take the pictures of the live view that the documentation shows.

    python tools/live_pictures.py [--output docs/pictures]

Runs the installed commands in a real terminal of 80 by 24 characters (tmux): the virtual board,
calibrated and swept in real time. After 45 seconds of sweep the terminal is captured as text,
`live-terminal.txt`.
"""

import argparse
import os
import shlex
import subprocess
import sys
import tempfile
import time
from pathlib import Path

COMMAND = str(Path(sys.executable).with_name("horizon-logger"))
AFTER_S = 45.0
POINT = "north eave"


def terminal_capture(job: Path) -> str:
    """Sweep in a terminal of its own; what it shows after a while."""
    board = [COMMAND, "simulate", "--scene", "street", "--seed", "3", "--do", "compass,sweep",
             "--tcp", "127.0.0.1:0"]  # fmt: skip
    tmux = ["tmux", "-u", "-L", f"pictures{os.getpid()}", "-f", "/dev/null"]
    with subprocess.Popen(board, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL) as process:
        assert process.stdout is not None
        port = process.stdout.readline().decode().strip()
        subprocess.run([COMMAND, "calibrate", "compass", job, "--port", port], check=True)
        sweep = [COMMAND, "sweep", str(job), POINT, "--port", port, "--no-bell"]
        subprocess.run(
            [*tmux, "new-session", "-d", "-x", "80", "-y", "24", shlex.join(sweep)], check=True
        )
        subprocess.run([*tmux, "send-keys", "Enter"], check=True)  # it waits for that
        try:
            while not list((job / "sweeps").glob("*/*.sweep")):
                time.sleep(0.1)
            time.sleep(AFTER_S)
            shown = subprocess.run([*tmux, "capture-pane", "-p"], check=True, capture_output=True)
            subprocess.run([*tmux, "send-keys", "q"], check=True)
            time.sleep(5)
        finally:
            subprocess.run([*tmux, "kill-server"], check=False, stderr=subprocess.DEVNULL)
            process.terminate()
    return shown.stdout.decode()


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--output", type=Path, default=Path("docs/pictures"))
    output: Path = parser.parse_args().output
    output.mkdir(parents=True, exist_ok=True)
    with tempfile.TemporaryDirectory() as folder:
        job = Path(folder) / "barn"
        site = ["--latitude", "46.05", "--longitude", "14.51", "--altitude", "310"]
        subprocess.run(
            [COMMAND, "new", job, *site, "--name", "Hillside barn", "--plane", "roof=35,180"],
            check=True,
        )
        text = terminal_capture(job)
        (output / "live-terminal.txt").write_text(text, encoding="utf-8", newline="\n")
    print(text)


if __name__ == "__main__":
    main()
