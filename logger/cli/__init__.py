"""The command line: one thin file a command, loaded only when that command runs."""

from __future__ import annotations

import atexit
import gc
import importlib
import os
import re
import sys
from typing import Any

import click

from logger import __version__
from logger.errors import LoggerError

# Name of the command -> one line for the list. The file is logger/cli/<name>.py, its command is
# called `command`; the line stands here so that --help need not import anything.
COMMANDS: dict[str, str] = {
    "ports": "Serial ports, and which of them answer.",
    "new": "Make a job folder for a site.",
    "calibrate": "Compass, level or bearing of the board, before each job.",
    "plane": "Tilt and azimuth of a roof, from the board laid on it.",
    "sweep": "Record a sweep along the skyline.",
    "points": "Points of a job side by side: which is best, and by how much.",
    "edit": "Put a point right: exclude, set, name, rename, remove; recordings stay.",
    "replay": "Work a recording out again, with any setting changed.",
    "report": "The client's document of a job, with its pictures and tables.",
    "assess": "Solar access and loss of a horizon from a CSV file.",
    "declination": "Magnetic declination at a place and day.",
    "simulate": "A virtual board on a pty or a TCP port.",
    "demo": "The whole job on the shipped survey, without hardware.",
}


EXIT_INTERRUPTED = 130
"""128 and the number of the signal, as shells have it (common practice, no source)."""

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

    def invoke(self, ctx: click.Context) -> Any:
        """Run, and say what went wrong in one sentence."""
        _save_time()
        try:
            return super().invoke(ctx)
        except LoggerError as error:
            click.echo(f"error: {error}", err=True)
            if error.hint:
                click.echo(f"  try: {error.hint}", err=True)
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
        except BrokenPipeError:
            # The reader of our output went away (`| head`): nothing is wrong.
            sys.stderr.close()
            ctx.exit(0)


def _save_time() -> None:
    """Settings of the interpreter that cost a short command less; they change no result.

    Before numpy is imported: our matrices are small, and threads for them would only wait for each
    other. Collecting garbage is put off: the heavy packages make much that lasts on import. And
    what is left at the end need not be searched for garbage before the process goes.
    """
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
    gc.set_threshold(50_000, 20, 100)
    atexit.register(gc.freeze)


@click.group(cls=Commands, context_settings={"help_option_names": ["-h", "--help"]})
@click.version_option(__version__, prog_name="horizon-logger")
def main() -> None:
    """Sweep a compass board along the skyline; learn what it takes from the sun, month by month.

    Exit codes: 0 done and fit for use; 1 an unforeseen fault; 2 wrong usage; 3 an input or a
    device could not be read; 4 done, but a quality check failed (named on standard error);
    130 interrupted by Ctrl-C.
    """
