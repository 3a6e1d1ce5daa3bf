"""What surrounds the program and must not decide whether a survey can be worked out.

The encoding of a terminal, variables of other programs, a standard output that is full or closed:
each is settled here once, before any command runs.
"""

from __future__ import annotations

import errno
import os
import sys
import warnings

import click

EXIT_UNREADABLE = 3
_HIDDEN = {
    **{n: f"\\x{n:02x}" for n in (*range(0x20), *range(0x7F, 0xA0)) if n not in (0x09, 0x0A)},
    # Marks and overrides of writing direction, line and paragraph separators, characters of no
    # width: a name must not look like another one.
    **{
        n: f"\\u{n:04x}"
        for n in (0x61C, *range(0x200B, 0x2010), *range(0x2028, 0x202F), *range(0x2060, 0x2070))
    },
    0xFEFF: "\\ufeff",
}


def settle() -> None:
    """Take what other programs set out of the way of this one and of the workers it starts."""
    # Our matrices are small: threads for them would only wait for each other. And sums come out in
    # the same order on every machine.
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
    os.environ["MPLBACKEND"] = "agg"  # a notebook's backend is not there for us
    if not os.environ.get("SOURCE_DATE_EPOCH", "0").isdigit():
        del os.environ["SOURCE_DATE_EPOCH"]
    # Warnings of the libraries are for developers; as errors they would stop a survey.
    os.environ.pop("PYTHONWARNINGS", None)
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
    return text.translate(_HIDDEN)


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
