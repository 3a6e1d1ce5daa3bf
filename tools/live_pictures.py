"""Take the pictures of the live view that the documentation shows.

    python tools/live_pictures.py [--output docs/pictures]

Runs the installed commands in a real terminal of 80 by 24 characters (tmux): the virtual board,
calibrated and swept in real time. After 45 seconds of sweep the terminal is captured as text,
`live-terminal.txt`; the same recording up to there gives the window's picture, `live-window.png`.
"""

import argparse
import os
import shlex
import subprocess
import sys
import tempfile
import time
from pathlib import Path

from matplotlib.figure import Figure

from logger.access import AccessSettings
from logger.horizon_fit import HorizonSettings
from logger.job import read_job
from logger.live.running import running_answer
from logger.live.screen import Frame
from logger.live.session import LiveSession
from logger.live.window import SkylinePicture, message_of
from logger.orientation import declination_at
from logger.recording import StreamBuilder, read_recording
from logger.survey.calibrations import corrections_of_job
from logger.survey.points import load_sweep, site_year

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


def window_picture(job_folder: Path, path: Path) -> None:
    """The window at the same moment, from the recording."""
    job = read_job(job_folder)
    (recording_path,) = (job_folder / "sweeps" / POINT).glob("*.sweep")
    sweep = load_sweep(recording_path)
    started = sweep.recording.started
    assert started is not None
    declination = declination_at(job.site, started.date())
    corrections = corrections_of_job(job)(sweep, declination).corrections
    builder = StreamBuilder()
    session = LiveSession(builder, corrections, job.site, started)
    for t, raw in read_recording(recording_path).sentences:
        if t > AFTER_S:
            break
        builder.feed(t, raw + b"\r\n")
    session.advance()
    year = site_year(job, AccessSettings(draws=0))
    settings = HorizonSettings(latitude_deg=job.site.latitude_deg)
    answer = running_answer(session.passes(), year, settings)
    figure = Figure(figsize=(11, 6.2))
    picture = SkylinePicture(figure, job.site)
    view = session.view(AFTER_S, AFTER_S, answer)
    picture.update(message_of(view, Frame(f"{job.name} · {POINT}")))
    figure.savefig(path, dpi=90, metadata={"Software": "horizon-logger"})


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
        window_picture(job, output / "live-window.png")
    print(text)


if __name__ == "__main__":
    main()
