"""The walk-through before a sweep: calibrations one after the other, a sentence a step."""

from __future__ import annotations

import sys
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import click

from logger.cli.options import say

if TYPE_CHECKING:
    from logger.calibration import Purpose
    from logger.job import Job

NONE = "none"
_WHY = {
    "compass": "Compass: without it headings are wrong by tens of degrees.",
    "level": "Level: how far the sight points off the board's own axis.",
    "sun": "Bearing by the sun's shadow: true north without trusting the compass.",
    "bearing": "Bearing of a landmark: true north without trusting the compass.",
}


@dataclass(frozen=True)
class Step:
    """One calibration to take."""

    name: str  # Compass, level, sun or bearing
    target_deg: float | None = None  # True bearing of the landmark. [deg]

    @property
    def purpose(self) -> Purpose:
        """As the recording's header has it."""
        if self.name in ("sun", "bearing"):
            return "bearing"
        return "compass" if self.name == "compass" else "level"

    @property
    def how(self) -> str:
        """As the guide calls it."""
        return "target" if self.name == "bearing" else self.name


def steps_of(text: str) -> tuple[Step, ...]:
    """Steps from ``compass,level,sun`` or ``compass,bearing=63.5``; ``none`` gives none."""
    if text.strip() == NONE:
        return ()
    steps = []
    for part in text.split(","):
        name, equals, number = part.strip().partition("=")
        try:
            target = float(number) if equals else None
        except ValueError:
            target, name = None, ""
        if name not in _WHY or (name == "bearing") != (target is not None):
            raise click.BadParameter(
                f"{part.strip()!r} is none of compass, level, sun, bearing=DEGREES, none",
                param_hint="--calibrate",
            )
        steps.append(Step(name, target))
    return tuple(steps)


def at_terminal() -> bool:
    """Whether somebody can be asked: both ends are a terminal."""
    try:
        return sys.stdin.isatty() and sys.stderr.isatty()
    except (AttributeError, ValueError):
        return False


def is_fresh(job: Job) -> bool:
    """Whether the job has no calibration of today."""
    import datetime as dt

    from logger.survey.calibrations import stored_calibrations

    today = dt.datetime.now(dt.UTC).date()
    return not any(stored.about.made.date() == today for stored in stored_calibrations(job))


def asked_steps() -> tuple[Step, ...]:
    """Ask which calibrations to take; Enter takes the usual ones."""
    say("This job has no calibration of today. It takes about three minutes, on the ground.")
    steps = [
        Step(name)
        for name in ("compass", "level")
        if click.confirm(f"{_WHY[name]} Calibrate it?", default=True, err=True)
    ]
    answer = click.prompt(
        "Bearing, by the sun's shadow (sun), by a landmark (its degrees), or none",
        default=NONE,
        err=True,
        value_proc=_bearing,
    )
    return (*steps, *answer)


def _bearing(text: str) -> tuple[Step, ...]:
    text = text.strip().lower()
    if text in ("sun", NONE):
        return steps_of(text)
    try:
        return (Step("bearing", float(text)),)
    except ValueError:
        raise click.BadParameter("type sun, a number of degrees, or none") from None


def walk(job: Job, url: str, steps: Sequence[Step], observer: str, asking: bool) -> None:
    """Take calibrations, each stored as it is done."""
    from logger.errors import InputError

    for number, step in enumerate(steps, 1):
        say(f"Step {number} of {len(steps) + 1}. {_WHY[step.name]}")
        while True:
            try:
                _take(job, url, step, observer)
            except InputError as error:
                if not asking:
                    raise
                say(f"This one cannot be used: {error}")
                if click.confirm("Do it again?", default=True, err=True):
                    continue
            break
    say(f"Step {len(steps) + 1} of {len(steps) + 1}. The sweep.")


def _take(job: Job, url: str, step: Step, observer: str) -> None:
    from logger.live.keyboard import open_keyboard
    from logger.recording import SystemClock, load_stream, open_link
    from logger.survey.calibrations import Wanted, calibrate, keep
    from logger.survey.guided import HOW, record_guided

    for sentence in HOW[step.how]:
        say(f"  {sentence}")
    say("  The board's trigger, q or Ctrl-C ends it; the mark key or m marks.")
    with open_keyboard() as keyboard:
        path = record_guided(
            job,
            step.purpose,
            step.how,
            lambda: open_link(url),
            SystemClock(),
            say,
            keyboard,
            more={"observer": observer},
        )
    recording, stream = load_stream(path)
    stored = calibrate(job, recording, stream, Wanted(step.purpose, target_deg=step.target_deg))
    keep(job, recording, stored)
    for check in stored.checks:
        say(f"  {'ok  ' if check.passed else 'POOR'} {check.check}: {check.why}")
