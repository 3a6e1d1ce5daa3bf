"""Options that several commands share, and how results leave the program."""

from __future__ import annotations

import functools
import re
import shutil
import sys
import textwrap
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import fields, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from logger.checks import Check
from logger.cli.environment import EXIT_UNREADABLE, visible
from logger.cli.parameters import FILE, Angle

if TYPE_CHECKING:
    from logger.survey.answers import Answer

EXIT_CHECK_FAILED = 4


def together(*options: Callable[[Any], Any]) -> Callable[[Any], Any]:
    """Several options as one decorator, in the order of the help."""

    def decorate(function: Any) -> Any:
        for option in reversed(options):
            function = option(function)
        return function

    return decorate


def site_options(required: bool) -> Callable[[Any], Any]:
    """--latitude, --longitude and --altitude."""
    return together(
        click.option(
            "--latitude",
            "latitude_deg",
            type=Angle("NS"),
            required=required,
            help="Degrees, north positive; or 46.05N, 46°03'N.",
        ),
        click.option(
            "--longitude",
            "longitude_deg",
            type=Angle("EW"),
            required=required,
            help="Degrees, east positive; or 14.51E, 14°30'36\"E.",
        ),
        click.option(
            "--altitude",
            "altitude_m",
            type=float,
            default=0.0 if required else None,
            show_default=required,
            help="Metres above mean sea level.",
        ),
    )


# Settings with an option of their own; the others are changed by ``--set`` alone.
NAMED_SETTINGS = {
    "year": "--year",
    "solar_window": "--solar-window",
    "reflectance": "--reflectance",
    "declination_deg": "--declination",
}


# Settings of the way from a recording to its horizon.
OF_SWEEPS = (
    "tracing_bias_deg",
    "tracing_bias_from",
    "tremor_deg",
    "use_gyro",
    "declination_deg",
    "magnetic_model",
    "disturbance_share",
    "disturbance_dip_deg",
)


def recipe_options(*, of_a_file: bool = False) -> Callable[[Callable[..., Any]], Any]:
    """What an answer rests on, in place of what the job says; the command gets ``overrides``.

    Where the horizon comes from a file there is no job: a plane is needed, and settings of the way
    from a recording to its horizon are refused.
    """
    named = {n: f for n, f in NAMED_SETTINGS.items() if not (of_a_file and n in OF_SWEEPS)}

    def decorate(function: Callable[..., Any]) -> Any:
        @functools.wraps(function)
        def command(
            *arguments: Any,
            settings: tuple[str, ...],
            tilt_deg: float | None,
            azimuth_deg: float | None,
            weather_file: Path | None,
            **more: Any,
        ) -> Any:
            from logger.access import Plane
            from logger.settings import Settings, changed
            from logger.survey.recipe import Overrides

            changes = changes_of(settings)
            for name in named:
                if (value := more.pop(name)) is not None:
                    _put(changes, name, value)
            changed(Settings(), changes)  # refused before anything is read
            if of_a_file and (vain := [name for name in changes if name in OF_SWEEPS]):
                raise click.UsageError(f"{vain[0]} has no effect on a horizon from a file")
            if (tilt_deg is None) != (azimuth_deg is None):
                raise click.UsageError("--tilt and --azimuth describe one plane: give both")
            planes: tuple[Plane, ...] = ()
            if tilt_deg is not None and azimuth_deg is not None:
                planes = (Plane("plane", tilt_deg, azimuth_deg),)
            overrides = Overrides(changes, planes, weather_file)
            return function(*arguments, overrides=overrides, **more)

        return together(*_recipe_options(named, required=of_a_file))(command)

    return decorate


def _recipe_options(named: Mapping[str, str], required: bool) -> list[Callable[[Any], Any]]:
    from logger.settings import Settings, written

    known = {one.name: one for one in fields(Settings)}
    angle = functools.partial(click.option, type=float, required=required)
    return [
        angle("--tilt", "tilt_deg", help="Tilt of one plane in place of the job's, degrees."),
        angle(
            "--azimuth",
            "azimuth_deg",
            help="Azimuth of its downslope normal, degrees clockwise from true north.",
        ),
        click.option(
            "--weather",
            "weather_file",
            type=FILE,
            help="Typical year to use in place of the job's weather.",
        ),
        *(
            click.option(
                flag,
                name,
                metavar="VALUE",
                help=f"{known[name].metadata['meaning']}.  [default: the job's, "
                f"else {written(known[name].default)}]",
            )
            for name, flag in named.items()
        ),
        set_option,
    ]


set_option = click.option(
    "--set",
    "settings",
    multiple=True,
    metavar="NAME=VALUE",
    help="Any setting by its name, such as draws=200; may be given again. "
    "`horizon-logger settings JOB` lists them.",
)


def changes_of(settings: Iterable[str]) -> dict[str, str]:
    """What was given as NAME=VALUE, by name."""
    changes: dict[str, str] = {}
    for text in settings:
        name, equals, value = text.partition("=")
        if not equals:
            raise click.BadParameter(f"{text!r} is not NAME=VALUE")
        _put(changes, name.strip(), value.strip())
    return changes


def _put(changes: dict[str, str], name: str, value: str) -> None:
    if changes.setdefault(name, value) != value:
        raise click.UsageError(f"{name} is given twice, as {changes[name]} and as {value}")


# Parameters of commands that name a file to write.
OUTPUTS = ("json_file", "samples_file", "truth", "output", "csv_file", "picture")

overwrite_option = click.option(
    "--overwrite",
    is_flag=True,
    expose_value=False,
    callback=lambda ctx, _, value: ctx.meta.update(overwrite=value),
    help="Write over a file that holds something else; never over an input or a job's own.",
)


def _some_file(_: click.Context, __: click.Parameter, value: str | None) -> str | None:
    if value == "":  # an empty variable of a script
        raise click.BadParameter("no file is named; - is standard output")
    return value


json_option = together(
    click.option(
        "--json",
        "json_file",
        metavar="FILE",
        callback=_some_file,
        help="Write the result as JSON; - for standard output, and nothing else goes there.",
    ),
    overwrite_option,
)


def put_out(path: Path, content: str | bytes) -> None:
    """Write a file that an option names; never over what the command reads."""
    from logger.outputs import write_output

    context = click.get_current_context()
    inputs = (
        Path(getattr(value, "folder", value))
        for name, value in context.params.items()
        if name not in OUTPUTS and (hasattr(value, "folder") or isinstance(value, (str, Path)))
    )
    write_output(path, content, inputs=inputs, overwrite=bool(context.meta.get("overwrite")))


def say(text: str) -> None:
    """Progress, prompts and warnings: standard error; on a terminal, wrapped between words."""
    click.echo(for_terminal(visible(text), sys.stderr), err=True)


def tell(text: str) -> None:
    """A result: standard output; on a terminal, all but tables wrapped between words."""
    click.echo(for_terminal(visible(text), sys.stdout))


_RULE = re.compile(r"^-[- ]+$", re.M)  # Under a table's headings


def for_terminal(text: str, stream: Any) -> str:
    """A text as a stream should get it: a terminal's lines end between words, but for tables."""
    if stream is None or not stream.isatty():
        return text
    width = max(40, shutil.get_terminal_size().columns)
    blocks = text.split("\n\n")
    return "\n\n".join(
        block
        if _RULE.search(block)
        else "\n".join(_wrapped(line, width) for line in block.split("\n"))
        for block in blocks
    )


def _wrapped(line: str, width: int) -> str:
    indent = line[: len(line) - len(line.lstrip())]
    later = indent + ("  " if indent else "")
    return "\n".join(
        textwrap.wrap(line, width, subsequent_indent=later, break_on_hyphens=False) or [""]
    )


def give(json_file: str | None, document: Any, *told: str) -> None:
    """A result: as JSON where --json says, and in words unless standard output holds the JSON."""
    from logger.files import json_text

    if json_file == "-":
        # Always UTF-8, whatever the terminal speaks: JSON has no other encoding.
        sys.stdout.buffer.write(json_text(document).encode("utf-8"))
        sys.stdout.flush()
        return
    if json_file:
        put_out(Path(json_file), json_text(document))
    for text in told:
        tell(text)


def check_line(check: Check) -> str:
    """Whether a check passed, and why."""
    return f"{'passed' if check.passed else 'FAILED'}  {check.check}: {check.why}"


def leave_by_checks(
    checks: Iterable[Check], next_step: str = "", *, unreadable: bool = False
) -> None:
    """Name failed checks on standard error and leave with exit code 4 if there are any.

    Where something was left out because it cannot be read, with 3.
    """
    failed = _tell_failed(checks)
    _say_next(next_step)
    if unreadable or failed:
        click.get_current_context().exit(EXIT_UNREADABLE if unreadable else EXIT_CHECK_FAILED)


def say_left_out(answer: Answer) -> None:
    """Why a point has no answer, and what to do about it."""
    if answer.error is not None:
        hint = f" (try: {answer.error.hint})" if answer.error.hint else ""
        say(f"left out - {answer.error}{hint}")


def leave_by_answers(found: Sequence[Answer], next_step: str = "") -> None:
    """Name what failed of each point on standard error, and leave with the worst exit code."""
    from logger.survey.answers import worst

    for answer in found:
        say_left_out(answer)
        if answer.unstored:
            say(f"not kept in the job - {answer.unstored}")
    _tell_failed(
        replace(check, why=f"{answer.point}: {check.why}")
        for answer in found
        for check in answer.checks
    )
    _say_next(next_step)
    if code := worst(answer.code for answer in found):
        click.get_current_context().exit(code)


def _say_next(step: str) -> None:
    if step:
        say(f"next: {step}")


def _tell_failed(checks: Iterable[Check]) -> bool:
    # Two recordings of one point may fail alike: once is enough.
    failed = list(dict.fromkeys(check for check in checks if not check.passed))
    for check in failed:
        say(f"not fit for use - {check.check}: {check.why}")
    return bool(failed)
