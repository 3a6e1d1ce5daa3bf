"""A process beside this one that has pvlib loaded by the time it is asked.

To load pvlib takes longer than to read a recording and to fit a skyline through it. Started before
anything else, a helper loads it meanwhile; then it works out what it is asked. Questions are
module-level functions, pickled with their arguments through the helper's standard input; answers
come back through its standard output.
"""

from __future__ import annotations

import gc
import pickle
import signal
import subprocess
import sys
from collections.abc import Callable
from contextlib import AbstractContextManager, nullcontext, suppress
from threading import Lock
from types import TracebackType
from typing import Any, TypeVar

from logger.errors import LoggerError
from logger.processors import processors

T = TypeVar("T")


class Helper(AbstractContextManager["Helper"]):
    """Starts the process; leaving the context ends it, whatever it is at."""

    def __init__(self) -> None:
        self._process = subprocess.Popen(
            [sys.executable, "-m", "logger.survey.helper"],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
        )
        self._asking = Lock()

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self._process.kill()  # it holds nothing that must be put away
        self._process.wait()
        for pipe in (self._process.stdin, self._process.stdout):
            assert pipe is not None
            with suppress(OSError):  # what was not yet sent
                pipe.close()

    def ask(self, question: Callable[..., T], *arguments: Any) -> T:
        """Have a function worked out, and wait for what it returns.

        Threads may ask at the same time, and are answered one after the other. Where the helper
        is no more, this process does it.
        """
        assert self._process.stdin is not None
        assert self._process.stdout is not None
        try:
            with self._asking:
                pickle.dump((question, arguments), self._process.stdin)
                self._process.stdin.flush()
                answer: T | LoggerError = pickle.load(self._process.stdout)
        except (OSError, EOFError, pickle.UnpicklingError):
            return ask_here(question, *arguments)
        if isinstance(answer, LoggerError):
            raise answer
        return answer


def ask_here(question: Callable[..., T], *arguments: Any) -> T:
    """In place of `Helper.ask` where there is no helper: this process does it."""
    return question(*arguments)


def first_helper() -> AbstractContextManager[Helper | None]:
    """A helper, where there is a processor for it."""
    return Helper() if processors() > 1 else nullcontext()


def _serve() -> None:
    """The helper's own process."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)  # whoever asks decides what an interrupt means
    gc.disable()  # what the libraries make on import lasts
    import pvlib  # noqa: F401

    import logger.survey.sun_side  # noqa: F401

    gc.freeze()
    gc.set_threshold(50_000, 20, 100)  # as in the command itself
    gc.enable()
    while True:
        try:
            question, arguments = pickle.load(sys.stdin.buffer)
        except EOFError:
            return
        try:
            answer = question(*arguments)
        except LoggerError as error:
            answer = error
        pickle.dump(answer, sys.stdout.buffer)
        sys.stdout.buffer.flush()


if __name__ == "__main__":
    _serve()
