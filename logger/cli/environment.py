"""What surrounds the program and must not decide whether a survey can be worked out.

The encoding of a terminal, variables of other programs, a standard output that is full or closed:
each is settled here once, before any command runs.
"""

from __future__ import annotations

import errno
import os
import sys
import unicodedata
import warnings

import click

EXIT_UNREADABLE = 3


def settle() -> None:
    """Take what other programs set out of the way of this one and of the workers it starts."""
    # Our matrices are small: threads for them would only wait for each other. And sums come out in
    # the same order on every machine.
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
    os.environ["MPLBACKEND"] = "agg"  # a notebook's backend is not there for us
    # Warnings of the libraries are for developers; as errors they would stop a survey. What we
    # draw bears no date, so that none of a build is needed, and one that is none would stop it.
    for name in ("PYTHONWARNINGS", "SOURCE_DATE_EPOCH"):
        os.environ.pop(name, None)
    warnings.filters[:] = [one for one in warnings.filters if one[0] != "error"]  # type: ignore[index]
    for name in ("stdout", "stderr"):
        stream = getattr(sys, name)
        if stream is None:
            setattr(sys, name, open(os.devnull, "w", encoding="utf-8"))  # noqa: SIM115
        elif hasattr(stream, "reconfigure"):
            # A letter that the terminal does not know is shown by its number.
            stream.reconfigure(errors="backslashreplace")


def visible(text: str) -> str:
    """A text from outside as it may go to a terminal: nothing in it moves, hides or turns."""
    return "".join(
        c if c.isprintable() or c in "\t\n" or unicodedata.category(c) == "Zs" else _number(c)
        for c in text
    )


def _number(character: str) -> str:
    return character.encode("unicode_escape", "surrogatepass").decode()


def flush_output() -> None:
    """Write out what standard output still holds; a full disk is told in a sentence."""
    try:
        sys.stdout.flush()
    except OSError as error:
        raise SystemExit(output_lost(error)) from error


def output_lost(error: OSError) -> int:
    """Say that standard output takes nothing more; the exit code."""
    # What is left in the buffer would fail once more when the interpreter ends.
    os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
    if error.errno == errno.EPIPE:
        return 0  # the reader of our output went away (`| head`): nothing is wrong
    click.echo(f"error: standard output cannot be written: {error.strerror}", err=True)
    return EXIT_UNREADABLE
