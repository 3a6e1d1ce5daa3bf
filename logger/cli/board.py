"""What commands that listen to a board share: its port, the notice, a recording taken now."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager, nullcontext
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from logger.cli.asking import Surveyor, at_terminal
from logger.cli.environment import visible
from logger.cli.options import say, together
from logger.cli.parameters import DAY, Address, Number

if TYPE_CHECKING:
    from logger.calibration import StoredCalibration
    from logger.job import Job
    from logger.live.capture_loop import CaptureLoop
    from logger.live.lent_port import LentPort
    from logger.page.server import Page
    from logger.recording import Recording, SystemClock
    from logger.recording.samples import Stream
    from logger.survey.calibrations import Wanted

port_options = together(
    click.option(
        "--port",
        "url",
        metavar="URL",
        help="Where the board is; the job remembers it. [default: as before, or the only serial "
        "port on which a board is heard]",
    ),
    click.option(
        "--baud",
        type=click.IntRange(300, 4_000_000),
        help="Speed of a serial port, bit/s; the job remembers it. [default: 115200]",
    ),
    click.option(
        "--page",
        type=Address(),
        metavar="[ADDRESS:PORT]",
        is_flag=False,
        flag_value="127.0.0.1:0",
        help="Serve a page for a phone while recording. Without an address this computer alone "
        "sees it; 0.0.0.0:8000 serves every network it is in.",
    ),
    click.option(
        "--seconds",
        "seconds_s",
        type=Number(min=0.1),
        help="End each recording by itself after this time.",
    ),
)


def clock_now() -> SystemClock:
    """The computer's clock; where it cannot be right, the date is asked for."""
    from logger.geomagnetism import built_in_model
    from logger.recording import SystemClock

    clock, model = SystemClock(), built_in_model()
    today = clock.utc().date()
    if model.epoch <= today.year < model.last_year:
        return clock
    say(
        f"this computer's clock says {today}, outside the years of the magnetic model, "
        f"{model.epoch:.0f} to {model.last_year - 1:.0f}: if it is wrong, declination and sun are"
    )
    if not at_terminal():
        return clock
    given = click.prompt(
        "Date of today (YEAR-MONTH-DAY; Enter keeps the clock's)",
        default=str(today),
        show_default=False,
        type=DAY,
        err=True,
    )
    return SystemClock(given.date() - today)


@contextmanager
def lent_port(surveyor: Surveyor) -> Iterator[LentPort]:
    """The board's port, opened."""
    from logger.live.find_board import lend

    port = lend(surveyor.job, surveyor.url, surveyor.baud, say)
    try:
        yield port
    finally:
        port.hang_up()


@contextmanager
def on_screen(
    port: LentPort, clock: SystemClock, page: Page | None, bell: bool = True
) -> Iterator[CaptureLoop]:
    """A loop with this terminal's screen and keyboard, or lines, and a page where one is wanted."""
    from rich.console import Console

    from logger.live.capture_loop import CaptureLoop
    from logger.live.display import open_display
    from logger.live.keyboard import open_keyboard

    console = Console(stderr=True, highlight=False)
    with (
        open_keyboard() as keyboard,
        open_display(console, say) as display,
        page.beside(display) if page else nullcontext(display) as shown,
    ):
        yield CaptureLoop(port, clock, shown, keyboard, visible, bell)


def say_notice(surveyor: Surveyor, clock: SystemClock) -> None:
    """The safety notice: in full before a job's first recording of a day, then in one line."""
    from logger.job import recorded_on
    from logger.safety import ONE_LINE, short_notice

    before = recorded_on(surveyor.job, clock.utc().date())
    surveyor.say(ONE_LINE if before else short_notice())


def calibration_recorded(surveyor: Surveyor, how: str, given: dict[str, Any]) -> Path:
    """A calibration recorded now.

    The port is opened last: what the board says while a person reads is for nobody.
    """
    from logger.calibration.bearing import refuse_sun_now
    from logger.live.calibration_task import record_calibration
    from logger.live.find_board import identity_on
    from logger.live.guide import WAYS
    from logger.survey.calibrations import refuse_level_without_compass

    clock, job = clock_now(), surveyor.job
    if how == "sun":
        refuse_sun_now(job.site, clock.utc(), given.get("clock_doubt_s", 2.0))
    say_notice(surveyor, clock)
    for sentence in WAYS[how].instructions:
        surveyor.say(sentence)
    say("The board's trigger, q or Ctrl-C ends it; the board's press key or p presses.")
    surveyor.go_on(f"Next: {WAYS[how].name}")
    with lent_port(surveyor) as port:
        if how == "level":
            refuse_level_without_compass(job, identity_on(port))
        header = {key: given.get(key) for key in ("holder", "observer")}
        with on_screen(port, clock, surveyor.page) as loop:
            loop.ends_after_s = given.get("seconds_s")
            return record_calibration(loop, job, how, header)


def read(path: Path, accept_broken_seal: bool = False) -> tuple[Recording, Stream]:
    """A recording, and what is wrong with it said."""
    from logger.recording import load_stream

    recording, stream = load_stream(path, accept_broken_seal=accept_broken_seal)
    for problem in recording.problems:
        say(f"{path.name}: {problem}")
    return recording, stream


def calibrated(
    job: Job, path: Path, wanted: Wanted, accept_broken_seal: bool = False
) -> StoredCalibration:
    """What a recording was made for, worked out and stored in the job."""
    from logger.survey.calibrations import calibrate, keep

    recording, stream = read(path, accept_broken_seal)
    stored = calibrate(job, recording, stream, wanted)
    say(f"stored {keep(job, recording, stored)}")
    return stored
