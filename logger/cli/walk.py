"""The walk-through before a sweep: calibrations one after the other, a sentence a step."""

from __future__ import annotations

from contextlib import suppress
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import click

from logger.cli.asking import Surveyor
from logger.cli.board import calibrated, calibration_recorded
from logger.cli.options import check_line, say

if TYPE_CHECKING:
    from collections.abc import Sequence

NONE, SUN = "none", "sun"
TARGET = "Sight this target"
BY_BUTTON = {"By the sun's shadow": SUN, "No bearing": NONE}
_WHY = {
    "compass": "Compass: without it headings are wrong by tens of degrees.",
    "level": "Level: how far the sight points off the board's own axis.",
    "sun": "Bearing by the sun's shadow: true north without trusting the compass.",
    "target": "Bearing of a target: true north without trusting the compass.",
}


@dataclass(frozen=True)
class Step:
    """One calibration to take."""

    how: str  # compass, level, sun or target, as the guide calls it
    target_deg: float | None = None  # True bearing of the target. [deg]


def steps_of(text: str) -> tuple[Step, ...]:
    """Steps from ``compass,level,sun`` or ``compass,bearing=63.5``; ``none`` gives none."""
    if text.strip() == NONE:
        return ()
    return tuple(_step(part.strip()) for part in text.split(","))


def _step(text: str) -> Step:
    if text in ("compass", "level", SUN):
        return Step(text)
    name, _, number = text.partition("=")
    with suppress(ValueError):
        if name == "bearing" and 0.0 <= float(number) <= 360.0:
            return Step("target", float(number))
    raise click.BadParameter(
        f"{text!r} is none of compass, level, sun, bearing=DEGREES (0 to 360), none",
        param_hint="--calibrate",
    )


def asked_steps(surveyor: Surveyor) -> tuple[Step, ...]:
    """Ask which calibrations to take where the job has none of today; Enter takes the usual."""
    import datetime as dt

    from logger.live.state import Question
    from logger.survey.calibrations import stored_calibrations

    today = dt.datetime.now(dt.UTC).date()
    if any(one.about.made.date() == today for one in stored_calibrations(surveyor.job)):
        return ()
    surveyor.say(
        "This job has no calibration of today. It takes about three minutes, on the ground."
    )
    steps = [
        Step(name)
        for name in ("compass", "level")
        if surveyor.confirms(f"{_WHY[name]} Calibrate it?")
    ]
    while surveyor.page is not None:
        words = f"{_WHY['target']} At how many degrees from true north does the target stand?"
        text, _ = surveyor.answers(words, Question((TARGET, *BY_BUTTON), "degrees"))
        try:
            return (*steps, *_bearing(BY_BUTTON.get(text, text or NONE)))
        except click.BadParameter as error:
            surveyor.say(error.message)
    words = "Bearing, by the sun's shadow (sun), of a target (its degrees), or none"
    answer = click.prompt(words, default=NONE, err=True, value_proc=_bearing)
    return (*steps, *answer)


def _bearing(text: str) -> tuple[Step, ...]:
    text = text.strip().lower()
    try:
        return steps_of(text if text in (SUN, NONE) else f"bearing={text}")
    except click.BadParameter:
        raise click.BadParameter("type sun, a number of degrees (0 to 360), or none") from None


def walk(surveyor: Surveyor, steps: Sequence[Step], given: dict[str, Any]) -> None:
    """Take calibrations, each stored as it is done; `given` is for `calibration_recorded`."""
    from logger.errors import InputError

    for number, step in enumerate(steps, 1):
        surveyor.say(f"Step {number} of {len(steps) + 1}. {_WHY[step.how]}")
        while True:
            try:
                _take(surveyor, step, given)
            except InputError as error:
                if not surveyor.asked:
                    raise
                surveyor.say(f"This one cannot be used: {error}")
                if surveyor.confirms("Do it again?"):
                    continue
            break
    surveyor.say(f"Step {len(steps) + 1} of {len(steps) + 1}. The sweep.")


def _take(surveyor: Surveyor, step: Step, given: dict[str, Any]) -> None:
    from logger.live.guide import WAYS
    from logger.survey.calibrations import Wanted

    way = WAYS[step.how]
    path = calibration_recorded(surveyor, step.how, given)
    checks = calibrated(surveyor.job, path, Wanted(way.purpose, target_deg=step.target_deg)).checks
    for check in checks:
        say(f"  {check_line(check)}")
    failed = [check_line(check) for check in checks if not check.passed]
    surveyor.note("\n".join(failed) or f"{way.purpose}: all {len(checks)} checks passed")
