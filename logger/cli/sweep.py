"""``horizon-logger sweep``: record sweeps along the skyline and say what they mean."""

from __future__ import annotations

import functools
import itertools
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from logger.cli.asking import Surveyor
from logger.cli.board import clock_now, lent_port, on_screen, port_options, say_notice
from logger.cli.options import give, json_option, leave_by_answers, recipe_options, say, tell
from logger.cli.parameters import JOB, Number, Numbers
from logger.cli.walk import Step, asked_steps, steps_of, walk

if TYPE_CHECKING:
    from logger.access.result import ObstructionLoss
    from logger.job import Job
    from logger.survey.answers import Answer
    from logger.survey.recipe import Overrides

STANCES = ("ground", "flat roof", "pitched roof", "platform", "window")
LADDER = "ladder"
HOW = (
    "Trace the upper edge of everything that stands, once round and back again, in parts of up to "
    "120° with your feet still. Words tell what is missing; the trigger, q or End ends it."
)
MOST_OFFERED = 5
"""Stretches of a point's horizon that are offered for a name after its sweep."""


def stance_of(context: click.Context, parameter: click.Parameter, value: str | None) -> str | None:
    """Refuse a ladder, with what to do instead."""
    if value == LADDER:
        raise click.BadParameter(
            "a ladder needs both hands: sweep from the ground below and give --sight-height and "
            "--module-height, the horizon is carried up"
        )
    return value


@click.command()
@JOB
@click.argument("points", metavar="POINT...", nargs=-1, required=True)
@port_options
@click.option(
    "--calibrate",
    "steps",
    metavar="STEPS",
    callback=lambda _context, _option, text: None if text is None else steps_of(text),
    help="Calibrate first: compass, level, sun, bearing=DEGREES, with commas between; or none. "
    "[default: on a terminal, ask where the job has none of today]",
)
@click.option(
    "--by-trigger",
    is_flag=True,
    help="The board's trigger opens each point as well as closing it; always so with several.",
)
@click.option(
    "--more",
    is_flag=True,
    help="After the last POINT go on with numbered ones until Ctrl-C or q.",
)
@click.option(
    "--at",
    "position_m",
    type=Numbers("EAST,NORTH[,UP]", "4.5,-2,0"),
    help="Where the sight is, metres from the job's origin.",
)
@click.option(
    "--at-error",
    "position_error_m",
    type=Number(min=0.0),
    help="How sure that place is, metres, one standard deviation.",
)
@click.option(
    "--stance",
    type=click.Choice([*STANCES, LADDER]),
    callback=stance_of,
    help="What you stand on; a ladder is refused.",
)
@click.option(
    "--sight-height",
    "sight_height_m",
    type=float,
    help="Height of the sight above the surface that heights are told from, metres.",
)
@click.option(
    "--module-height",
    "module_height_m",
    type=float,
    help="Height of the module to be above the same surface, metres.",
)
@click.option("--leaf", type=click.Choice(["in leaf", "bare", "none"]), help="State of the trees.")
@click.option("--observer", default="", help="Who holds the board.")
@click.option("--bell/--no-bell", default=True, show_default=True, help="Sound cues here too.")
@recipe_options()
@json_option
def command(
    job: Job,
    points: tuple[str, ...],
    url: str | None,
    baud: int | None,
    steps: tuple[Step, ...] | None,
    by_trigger: bool,
    more: bool,
    seconds_s: float | None,
    position_m: tuple[float, ...] | None,
    position_error_m: float | None,
    bell: bool,
    page: tuple[str, int] | None,
    overrides: Overrides,
    json_file: str | None,
    **header: Any,
) -> None:
    """Sweep the board along the skyline at each POINT of JOB.

    Everything received is recorded at once. The board's trigger key, q or Ctrl-C ends a point;
    then its result is worked out from all of its recordings. With several POINTs the trigger
    also opens each: the computer can stay in the bag.

    On a terminal, a job without a calibration of today is led through one first. Keys while
    sweeping: space pauses and goes on, p presses (then type a name), r drops the stretch just
    swept, n notes, q ends. On the board, the press key presses and, held down, drops.
    """
    from logger.job import read_job
    from logger.live.survey_day import SurveyDay, short_text
    from logger.survey.recipe import recipe_of

    names = _points(job, points)
    if position_m is not None:
        header |= dict(zip(("east_m", "north_m", "up_m"), position_m, strict=False))
        header["position_error_m"] = position_error_m
    surveyor = Surveyor(_with_heights(job, names, header), url, baud, page)
    if steps is None and surveyor.asked:
        steps = asked_steps(surveyor)
    if steps:
        walk(surveyor, steps, {"observer": header["observer"]})
    clock = clock_now()
    surveyor.job = job = read_job(job.folder)
    day = SurveyDay(job, recipe_of(job, overrides), header)
    say_notice(surveyor, clock)
    surveyor.say(HOW)
    surveyor.go_on("Stand on the spot, feet still")
    with lent_port(surveyor) as port:
        try:
            with on_screen(port, clock, surveyor.page, bell) as loop:
                loop.ends_after_s = seconds_s
                opened = by_trigger or more or len(names) > 1
                day.sweep(loop, _names(names, more), opened)
        finally:
            _print(day.answers, json_file)
    if surveyor.asked and json_file != "-":
        offer_names(surveyor, day.answers)
    for answer in day.answers:
        surveyor.note(short_text(answer))
    leave_by_answers(day.answers, _next_step(job.folder, day.answers))


def _points(survey: Job, points: Sequence[str]) -> list[str]:
    """The points' names; of one that has been swept before it is said first."""
    from logger.errors import UsageError
    from logger.job import kept_recordings, point_to_sweep
    from logger.job.records import taken_twice

    names = [point_to_sweep(survey, point) for point in points]
    for _, one, other in taken_twice(dict.fromkeys(names)):
        raise UsageError(f"the points {one!r} and {other!r} differ in case alone")
    for name in names:
        if before := len(kept_recordings(survey, name)):
            sweeps = f"{before} sweep{'s' if before > 1 else ''}"
            say(f"{name} has {sweeps} already: what is recorded now is added to it")
    return names


def _with_heights(survey: Job, names: Sequence[str], header: dict[str, Any]) -> Job:
    """Heights given for points are kept in the job, and stand in the recordings from there."""
    from logger.job import Point, set_point

    sight, module = header.pop("sight_height_m"), header.pop("module_height_m")
    if sight is not None or module is not None:
        for name in names:
            survey = set_point(survey.folder, Point(name, sight, module))
    return survey


def _names(names: Sequence[str], more: bool) -> Iterator[str]:
    numbered = (f"point {number}" for number in itertools.count(len(names) + 1))
    return itertools.chain(names, numbered if more else ())


def _print(answers: Sequence[Answer], json_file: str | None) -> None:
    from logger.report.sentences import answer_text

    documents = [answer.document for answer in answers if answer.result is not None]
    told = [answer_text(answer.result) for answer in answers if answer.result is not None]
    if documents:
        give(json_file, documents[0] if len(documents) == 1 else {"points": documents}, *told)


def offer_names(surveyor: Surveyor, answers: Sequence[Answer]) -> None:
    """Ask for a name of what blocks the sun and has none, what blocks most first."""
    from logger.errors import UsageError
    from logger.job import name_sector

    folder = surveyor.job.folder
    for answer in answers:
        for part in _unnamed(answer)[:MOST_OFFERED]:
            taken = 100 * part.loss_fraction[-1]
            where = f"{answer.point}, {part.name}"
            surveyor.say(f"{where}: {taken:.1f} % of the year's light is blocked there")
            name, kind = _name_of(where, surveyor)
            if not name:
                return
            span = {n: getattr(part, n) for n in ("from_azimuth_deg", "to_azimuth_deg")}
            try:
                tell(str(name_sector(folder, answer.point, name=name, kind=kind, **span)))
            except UsageError as error:
                surveyor.say(f"not named: {error}; name it later with edit name-sector")


def _name_of(where: str, surveyor: Surveyor) -> tuple[str, str]:
    """A name and its kind; an empty one where no more are to be given."""
    from logger.live.keyboard import KIND_KEYS
    from logger.live.state import Question

    if surveyor.page is not None:
        choices = ("OK", "No more names")
        name, kind = surveyor.answers(f"Name of {where}", Question(choices, "name", kinds=True))
        return ("" if name in choices else name), kind or "other"
    prompt = functools.partial(click.prompt, err=True)
    name = prompt("Its name (Enter: no more names)", "", show_default=False).strip()
    if not name:
        return "", ""
    kinds = ", ".join(f"{key} {kind}" for key, kind in KIND_KEYS.items())
    choice = click.Choice([*KIND_KEYS])
    return name, KIND_KEYS[prompt(f"Kind: {kinds}", "o", type=choice, show_choices=False)]


def _unnamed(answer: Answer) -> list[ObstructionLoss]:
    """What takes enough of any plane's year to be asked about, the largest loss first."""
    from logger.access.notes import WORTH_TELLING

    losses = [
        one
        for plane in (answer.result.access.planes if answer.result is not None else ())
        for one in plane.by_obstruction
        if not one.kind and one.loss_fraction[-1] >= WORTH_TELLING
    ]
    losses.sort(key=lambda one: -one.loss_fraction[-1])
    largest = {one.name: one for one in reversed(losses)}
    return [one for one in losses if largest[one.name] is one]


def _next_step(job: Path, answers: Sequence[Answer]) -> str:
    """The report where every point is fit for use; else the first that is not, once more."""
    from logger.errors import as_argument

    folder = as_argument(job)
    unfit = [answer.point for answer in answers if answer.code]
    if unfit:
        return f"horizon-logger sweep {folder} {as_argument(unfit[0])}"
    return f"horizon-logger {'compare' if len(answers) > 1 else 'report'} {folder}"
