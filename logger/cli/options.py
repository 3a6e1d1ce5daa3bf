"""Options that several commands share, and how results leave the program."""

from __future__ import annotations

import re
import shutil
import sys
import textwrap
from collections.abc import Callable, Iterable
from pathlib import Path
from typing import Any, TypeVar

import click

from logger.checks import Check
from logger.errors import UsageError
from logger.places import angle_of

F = TypeVar("F", bound=Callable[..., Any])

EXIT_UNREADABLE, EXIT_CHECK_FAILED = 3, 4


class Angle(click.ParamType):  # type: ignore[type-arg]
    """Degrees of latitude ("NS") or longitude ("EW"), as people write them."""

    name = "degrees"

    def __init__(self, letters: str) -> None:
        self.letters = letters

    def convert(self, value: Any, param: Any, ctx: Any) -> float:
        """Degrees, or a usage error with how to write them."""
        if isinstance(value, float):
            return value
        try:
            return angle_of(value, self.letters)
        except UsageError as error:
            self.fail(f"{error}; {error.hint}" if error.hint else str(error), param, ctx)


def site_options(required: bool) -> Callable[[F], F]:
    """--latitude, --longitude and --altitude."""

    def decorate(function: F) -> F:
        for option in (
            click.option(
                "--altitude",
                "altitude_m",
                type=float,
                default=0.0 if required else None,
                show_default=required,
                help="Metres above mean sea level.",
            ),
            click.option(
                "--longitude",
                "longitude_deg",
                type=Angle("EW"),
                required=required,
                help="Degrees, east positive; or 14.51E, 14°30'36\"E.",
            ),
            click.option(
                "--latitude",
                "latitude_deg",
                type=Angle("NS"),
                required=required,
                help="Degrees, north positive; or 46.05N, 46°03'N.",
            ),
        ):
            function = option(function)
        return function

    return decorate


def plane_options(required: bool) -> Callable[[F], F]:
    """--tilt and --azimuth of one plane."""

    def decorate(function: F) -> F:
        for option in (
            click.option(
                "--azimuth",
                "azimuth_deg",
                type=float,
                required=required,
                help="Of the plane's downslope normal, degrees clockwise from true north.",
            ),
            click.option(
                "--tilt",
                "tilt_deg",
                type=float,
                required=required,
                help="Of the plane, degrees from horizontal.",
            ),
        ):
            function = option(function)
        return function

    return decorate


json_option = click.option(
    "--json",
    "json_file",
    metavar="FILE",
    help="Write the result as JSON; - for standard output, and nothing else goes there.",
)


def say(text: str) -> None:
    """Progress, prompts and warnings: standard error; on a terminal, wrapped between words."""
    click.echo(for_terminal(text, sys.stderr), err=True)


def tell(text: str) -> None:
    """A result: standard output; on a terminal, all but tables wrapped between words."""
    click.echo(for_terminal(text, sys.stdout))


_RULE = re.compile(r"^-[- ]+$", re.M)
"""Under a table's headings."""


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


def write_json(json_file: str, value: Any) -> None:
    """Write a result where --json says."""
    from logger.files import json_text, write_atomically

    text = json_text(value)
    if json_file == "-":
        # Always UTF-8, whatever the terminal speaks: JSON has no other encoding.
        sys.stdout.buffer.write(text.encode("utf-8"))
        sys.stdout.flush()
    else:
        write_atomically(Path(json_file), text)


def leave_by_checks(checks: Iterable[Check], left_out: bool = False) -> None:
    """Name failed checks on standard error and leave with exit code 4 if there are any."""
    # Two recordings of one point may fail alike: once is enough.
    failed = list(dict.fromkeys(check for check in checks if not check.passed))
    for check in failed:
        say(f"not fit for use - {check.check}: {check.why}")
    if left_out:
        click.get_current_context().exit(EXIT_UNREADABLE)
    if failed:
        click.get_current_context().exit(EXIT_CHECK_FAILED)
