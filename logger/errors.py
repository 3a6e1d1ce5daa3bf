"""The errors a person can do something about, each with its exit code.

The library raises them and never prints or exits; the command line prints the sentence, the
hint, and leaves with the code. Exit codes: 0 done and fit for use, 1 a bug, 2 wrong usage,
3 an input or device could not be read, 4 done but a quality check failed, 130 interrupted.
"""

from __future__ import annotations

import os
from typing import ClassVar


def as_argument(text: object) -> str:
    """A name as it must be typed on this system's command line, in quotes where it needs them."""
    if os.name == "nt":
        import subprocess

        return subprocess.list2cmdline([str(text)])
    import shlex

    return shlex.quote(str(text))


class LoggerError(Exception):
    """What went wrong, where, and what to do about it."""

    exit_code: ClassVar[int] = 1

    def __init__(self, what: str, where: str = "", hint: str = "") -> None:
        super().__init__(f"{where}: {what}" if where else what)
        self.what = what
        self.where = where
        self.hint = hint

    def __reduce__(self) -> tuple[type[LoggerError], tuple[str, str, str]]:
        return type(self), (self.what, self.where, self.hint)


class UsageError(LoggerError):
    """A setting or a combination of settings makes no sense."""

    exit_code = 2


class InputError(LoggerError):
    """A file could not be read, or holds what cannot be used."""

    exit_code = 3


class RecordingError(InputError):
    """A recording that cannot be used at all, or whose seal is broken."""


class DeviceError(LoggerError):
    """The board or its port."""

    exit_code = 3
