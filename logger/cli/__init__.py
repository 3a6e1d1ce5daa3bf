"""The command line: one thin file a command, loaded only when that command runs."""

from __future__ import annotations

import errno
import importlib
import re
from typing import Any

import click

from logger import __version__
from logger.cli.environment import (
    EXIT_UNREADABLE,
    flush_output,
    output_lost,
    settle,
    visible,
)
from logger.errors import LoggerError

# Name of the command -> one line for the list. The file is logger/cli/<name>.py, its command is
# called `command`; the line stands here so that --help need not import anything.
COMMANDS: dict[str, str] = {
    "ports": "Serial ports, and which of them answer.",
    "new": "Make a job folder for a site.",
    "weather": "The sky that a job's figures rest on.",
    "calibrate": "Compass, level or bearing of the board, before each job.",
    "plane": "Tilt and azimuth of a roof, from the board laid on it.",
    "sweep": "Record a sweep along the skyline.",
    "terrain": "Far horizon from elevation data, and north from the ridge.",
    "compare": "Points side by side: which is best, and by how much.",
    "agreement": "How well several sweeps of one point agree.",
    "class": "What a class that swept one point measured, and how well.",
    "array": "Solar access over a whole roof, from the points swept.",
    "edit": "Put a point right: exclude, set, name, rename, remove; recordings stay.",
    "settings": "What decides the figures, and what it is set to.",
    "replay": "Work a recording out again, with any setting changed.",
    "report": "The client's document of a job, with its pictures and tables.",
    "assess": "Solar access and loss of a horizon from a CSV file.",
    "declination": "Magnetic declination at a place and day.",
    "simulate": "A virtual board on a pty or a TCP port.",
    "demo": "The whole job on the shipped survey, without hardware.",
}


# 128 and the number of the signal, as shells have it (common practice, no source).
EXIT_INTERRUPTED = 130
_DECIMAL_COMMA = re.compile(r"^'(-?\d+),(\d+)' is not a valid float")


class Commands(click.Group):
    """Loads a command's module on use, and turns our errors into a sentence and an exit code."""

    def list_commands(self, ctx: click.Context) -> list[str]:
        """Names, in the order of a survey."""
        return list(COMMANDS)

    def get_command(self, ctx: click.Context, name: str) -> click.Command | None:
        """Import the one command asked for."""
        if name not in COMMANDS:
            return None
        module = importlib.import_module(f"logger.cli.{name}")
        found: click.Command = module.command
        return found

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        """List the commands without importing them."""
        with formatter.section("Commands"):
            formatter.write_dl(list(COMMANDS.items()))

    def main(self, *arguments: Any, **how: Any) -> Any:
        """Run with the surroundings settled, and everything written out at the end."""
        settle()
        try:
            return super().main(*arguments, **how)
        finally:
            flush_output()

    def invoke(self, ctx: click.Context) -> Any:
        """Run, and say what went wrong in one sentence."""
        try:
            return super().invoke(ctx)
        except LoggerError as error:
            click.echo(f"error: {visible(str(error))}", err=True)
            if error.hint:
                click.echo(f"  try: {visible(error.hint)}", err=True)
            ctx.exit(error.exit_code)
        except click.BadParameter as error:
            comma = _DECIMAL_COMMA.search(error.message)
            if comma is None:
                raise
            needed = f"{error.message} A decimal point is needed: {'.'.join(comma.groups())}"
            raise click.BadParameter(needed, error.ctx, error.param) from error
        except (KeyboardInterrupt, click.Abort):
            click.echo("interrupted", err=True)
            ctx.exit(EXIT_INTERRUPTED)
        except OSError as error:
            if error.errno in (errno.EPIPE, errno.ENOSPC) and not error.filename:
                ctx.exit(output_lost(error))
            gone = error.errno == errno.ENOENT  # of nothing named: what a removed folder answers
            where = error.filename or ("the working folder" if gone else "")
            where = f"{where}: " if where else ""
            click.echo(visible(f"error: {where}{error.strerror or error}"), err=True)
            ctx.exit(EXIT_UNREADABLE)


@click.group(cls=Commands, context_settings={"help_option_names": ["-h", "--help"]})
@click.version_option(__version__, prog_name="horizon-logger")
def main() -> None:
    """Sweep a compass board along the skyline; learn what it takes from the sun, month by month.

    Exit codes: 0 done and fit for use; 1 an unforeseen fault; 2 wrong usage; 3 an input or a
    device could not be read; 4 done, but a quality check failed (named on standard error);
    130 interrupted by Ctrl-C.
    """
