"""``horizon-logger sweep``: record sweeps along the skyline and say what they mean."""

from __future__ import annotations

import time
from collections.abc import Callable, Iterator, Mapping, Sequence
from concurrent.futures import ThreadPoolExecutor
from contextlib import ExitStack
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from logger.cli.options import json_option, leave_by_checks, say, tell, write_json

if TYPE_CHECKING:
    from logger.horizon_fit import SightedSweep
    from logger.job import Job
    from logger.live.sweeping import Surroundings, SurveyDay
    from logger.recording import Heard
    from logger.survey.result import PointResult

STANCES = ("ground", "flat roof", "pitched roof", "platform", "window")
LADDER = "ladder"


def stance_of(context: click.Context, parameter: click.Parameter, value: str | None) -> str | None:
    """Refuse a ladder, with what to do instead."""
    if value == LADDER:
        raise click.BadParameter(
            "a ladder needs both hands: sweep from the ground below and give --sight-height and "
            "--module-height, the horizon is carried up"
        )
    return value


@click.command()
@click.argument("job", type=click.Path(path_type=Path))
@click.argument("points", metavar="POINT...", nargs=-1, required=True)
@click.option("--port", "url", required=True, metavar="URL", help="Where the board is.")
@click.option(
    "--calibrate",
    "calibrations",
    metavar="STEPS",
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
    "--seconds", type=click.FloatRange(min=0.1), help="End each point by itself after this time."
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
    help="Of the eye above the surface that heights are told from, metres.",
)
@click.option(
    "--module-height",
    "module_height_m",
    type=float,
    help="Of the module to be above the same surface, metres.",
)
@click.option("--leaf", type=click.Choice(["in leaf", "bare", "none"]), help="State of the trees.")
@click.option("--observer", default="", help="Who holds the board.")
@click.option("--bell/--no-bell", default=True, show_default=True, help="Sound cues here too.")
@json_option
def command(
    job: Path,
    points: tuple[str, ...],
    url: str,
    calibrations: str | None,
    by_trigger: bool,
    more: bool,
    seconds: float | None,
    stance: str | None,
    sight_height_m: float | None,
    module_height_m: float | None,
    leaf: str | None,
    observer: str,
    bell: bool,
    json_file: str | None,
) -> None:
    """Sweep the board along the skyline at each POINT of JOB.

    Everything received is recorded at once. The board's trigger key, q or Ctrl-C ends a point;
    then its result is worked out from all of its recordings. With several POINTs the trigger
    also opens each: the computer can stay in the bag.

    On a terminal, a job without a calibration of today is led through one first. Keys while
    sweeping: space stops and goes on, m marks (then type a name), r drops the stretch just swept,
    n notes, q is done. On the board, the mark key marks and, held down, drops.
    """
    from logger.cli.walk import asked_steps, at_terminal, is_fresh, steps_of, walk
    from logger.job import Point, point_to_sweep, read_job, set_point
    from logger.live.display import open_display
    from logger.live.keyboard import open_keyboard
    from logger.live.port import Port
    from logger.live.sweeping import SurveyDay
    from logger.recording import SystemClock, open_link
    from logger.safety import short_notice

    survey = read_job(job)
    names = [point_to_sweep(survey, point) for point in points]
    if sight_height_m is not None or module_height_m is not None:
        for name in names:
            survey = set_point(job, Point(name, sight_height_m, module_height_m))
    say(short_notice())
    asking = at_terminal()
    if calibrations is not None:
        steps = steps_of(calibrations)
    elif asking and is_fresh(survey):
        steps = asked_steps()
    else:
        steps = ()
    if steps:
        walk(survey, url, steps, observer, asking)
    if asking and steps:
        click.prompt(
            "Stand on the spot, feet still; Enter starts", "", err=True, show_default=False
        )
    # The port first: a wrong name must not leave an empty recording behind.
    port = Port(lambda: open_link(url), url)
    header = {"leaf": leaf, "observer": observer, "stance": stance}
    with ThreadPoolExecutor(max_workers=1, thread_name_prefix="answers") as pool:
        answers = _Answers(survey, json_file)
        try:
            with ExitStack() as open_things:
                keyboard = open_things.enter_context(open_keyboard())
                display = open_things.enter_context(open_display(_console(), say))
                around = _surroundings(survey, header, observer)
                day = SurveyDay(port, SystemClock(), display, keyboard, around, bell)
                opened = by_trigger or more or len(names) > 1
                for name in _names(names, more):
                    display.say(f"the trigger opens {name}" if opened else f"sweeping {name}")
                    if opened and not day.wait_for_trigger(name):
                        break
                    began = time.monotonic()
                    try:
                        day.sweep(name, seconds)
                    finally:
                        # The port is read on meanwhile: the next trigger counts. A sweep cut
                        # short by a lost board has its answer too.
                        if day.taken:
                            pool.submit(answers.work_out, name, began, day)
                        else:
                            answers.nothing(name, day.heard)
        finally:
            port.hang_up()
            pool.shutdown()
            answers.print()
    answers.leave()


def _names(names: Sequence[str], more: bool) -> Iterator[str]:
    yield from names
    number = len(names)
    while more:
        number += 1
        yield f"point {number}"


def _console() -> Any:
    from rich.console import Console

    return Console(stderr=True, highlight=False)


def _surroundings(survey: Job, header: dict[str, Any], observer: str) -> Surroundings:
    """What the live loop needs of the job."""
    import datetime as dt

    from firmware_protocol import Identity
    from logger.calibration import SweepAbout, choose_calibrations
    from logger.horizon_fit import ExcludeSpan
    from logger.job import add_edit, kept_recordings, point_of, point_recordings, sweep_path
    from logger.live.running import RunningAnswer, running_answer
    from logger.live.sweeping import Surroundings
    from logger.orientation import (
        Corrections,
        declination_at,
        field_expected_at,
        model_years_check,
    )
    from logger.recording import RecordingWriter, continued
    from logger.recording.writer import header_of
    from logger.survey.calibrations import stored_calibrations
    from logger.survey.points import earlier_passes
    from logger.survey.recipe import Overrides, magnetic_model_of, recipe_of, year_of

    site = survey.site
    today = dt.datetime.now(dt.UTC)
    model = magnetic_model_of(survey)
    declination = declination_at(site, today.date(), model)
    field = field_expected_at(site, today.date(), model)
    if declination.years_beyond:
        say(model_years_check(declination).why)

    @cache
    def year() -> Any:
        return year_of(recipe_of(survey, Overrides({"draws": 0})))

    def new_recording(point: str, started: dt.datetime) -> RecordingWriter:
        known = survey.point(point)
        heights = {
            "sight_height_m": known.sight_height_m,
            "module_height_m": known.module_height_m,
        }
        more = {"point": point, **header, **heights}
        more["continues"] = continued(point_recordings(survey, point))
        return RecordingWriter(
            sweep_path(survey, point, started), header_of("sweep", started, site, more)
        )

    stored = stored_calibrations(survey)

    def corrections_of(identity: Identity | None) -> Corrections:
        about = SweepAbout(
            started=today,
            serial_number=identity.serial_number if identity else "",
            latitude_deg=site.latitude_deg,
            longitude_deg=site.longitude_deg,
            raw=identity is None or "M" in identity.streams,
        )
        return choose_calibrations(stored, about, declination, field).corrections

    def answer_of(passes: Sequence[SightedSweep]) -> RunningAnswer | None:
        return running_answer(passes, year(), site.latitude_deg)

    def earlier(point: str) -> Callable[[], Sequence[SightedSweep]]:
        paths = kept_recordings(survey, point)
        return lambda: earlier_passes(survey, point, paths)

    def dropped(recording: Path, from_s: float, to_s: float) -> None:
        who = observer or survey.people.get("surveyor") or "operator"
        span = ExcludeSpan(
            point=point_of(recording),
            recording=recording.name,
            from_s=round(from_s, 3),
            to_s=round(to_s, 3),
            who=who,
            when=dt.datetime.now(dt.UTC),
            why="swept again at once",
        )
        add_edit(survey.folder, span)

    return Surroundings(
        site, survey.name, new_recording, corrections_of, answer_of, earlier, dropped
    )


class _Answers:
    """The points' results: worked out as they end, printed once the screen is free."""

    def __init__(self, survey: Job, json_file: str | None) -> None:
        self._survey = survey
        self._json_file = json_file
        self._results: list[PointResult] = []
        self._documents: list[Mapping[str, Any]] = []
        self._fault: Exception | None = None

    def nothing(self, name: str, came: Heard | None) -> None:
        """A point ended before one sample had come; what came instead."""
        from logger.errors import DeviceError

        what, hint = (came.what, came.hint) if came else ("not one sample was received", "")
        self._fault = self._fault or DeviceError(what, name, hint)

    def work_out(self, name: str, began_s: float, day: SurveyDay) -> None:
        """Work a point out and show its answer; runs beside the capture."""
        try:
            self._work_out(name, began_s, day)
        except Exception as error:  # told when the screen is free; the capture goes on
            self._fault = self._fault or error
            day.display.say(f"{name}: {error}")

    def _work_out(self, name: str, began_s: float, day: SurveyDay) -> None:
        from logger.job import read_job
        from logger.report.sentences import answer_text, window_text
        from logger.survey.answers import answers
        from logger.survey.recipe import recipe_of

        survey = read_job(self._survey.folder)
        (answer,) = answers(survey, recipe_of(survey), [name])
        if answer.error is not None:
            raise answer.error
        result, document = answer.result, answer.document
        assert result is not None
        if answer.unstored:
            day.display.say(f"not kept in the job - {answer.unstored}")
        self._results.append(result)
        self._documents.append(document)
        seconds = time.monotonic() - began_s
        lines = answer_text(result).splitlines()
        first = window_text(result.access.planes[0].window).splitlines()[0]
        day.panel = (f"{name}, {seconds:.0f} s after it was opened:", *lines)
        day.display.say(f"{name}, {seconds:.0f} s after it was opened: {first}")
        held = [vertex for of_one in result.horizon.vertices for vertex in of_one]
        if held:
            named = ", ".join(f"{v.azimuth_deg:.1f}° {v.elevation_deg:+.1f}°" for v in held[:12])
            more = f" and {len(held) - 12} more" if len(held) > 12 else ""
            day.display.say(f"{name}: marks held still at {named}{more}")

    def print(self) -> None:
        if self._json_file and self._documents:
            documents = self._documents
            write_json(
                self._json_file, documents[0] if len(documents) == 1 else {"points": documents}
            )
        if self._json_file == "-":
            return
        from logger.report.sentences import answer_text

        for result in self._results:
            tell(answer_text(result))

    def leave(self) -> None:
        if self._fault is not None:
            raise self._fault
        leave_by_checks([check for result in self._results for check in result.checks])
