"""Work shared between processes, its results in order."""

from __future__ import annotations

import os
import signal
import threading
from collections import deque
from collections.abc import Callable, Generator, Iterable, Iterator, Mapping
from concurrent.futures import Executor, Future, ProcessPoolExecutor
from concurrent.futures.process import BrokenProcessPool
from contextlib import contextmanager
from itertools import islice
from multiprocessing import get_context
from multiprocessing.connection import Connection
from typing import TypeVar

Item = TypeVar("Item")
Result = TypeVar("Result")

AHEAD = 3
"""Items under way for each process: memory does not grow with their number."""

# No Python file of the folder we stand in is imported: job folders come by mail. One thread a
# process: processes share the cores, and sums come out in the same order.
ENVIRONMENT = {"PYTHONSAFEPATH": "1"} | {
    f"{library}_NUM_THREADS": "1" for library in ("OMP", "OPENBLAS", "MKL", "NUMEXPR")
}


def in_order(
    work: Callable[[Item], Result],
    items: Iterable[Item],
    processes: int,
    killed: Callable[[Item], Result],
) -> Generator[Result, None, None]:
    """What `work` makes of every item; `killed` says it of one whose process was, twice."""
    if processes == 1:
        yield from map(work, items)
        return
    rest = iter(items)
    waiting: deque[tuple[Item, Future[Result]]] = deque()
    while True:
        with pool_of(processes) as pool:
            while True:
                for item in islice(rest, AHEAD * processes - len(waiting)):
                    waiting.append((item, submitted(pool, work, item)))
                if not waiting:
                    return
                try:
                    result = waiting[0][1].result()
                except BrokenProcessPool:
                    break
                waiting.popleft()
                yield result
        # Which of those under way it was is not known: each once more, by itself.
        while waiting:
            item = waiting.popleft()[0]
            with pool_of(1) as alone:
                try:
                    result = submitted(alone, work, item).result()
                except BrokenProcessPool:
                    result = killed(item)
            yield result


def submitted(pool: Executor, work: Callable[[Item], Result], item: Item) -> Future[Result]:
    """Hand an item on; a process that this starts hears no Ctrl-C, not even while it imports."""
    block = getattr(signal, "pthread_sigmask", None)
    before = block(signal.SIG_BLOCK, {signal.SIGINT}) if block else None
    try:
        return pool.submit(work, item)
    except BrokenProcessPool as error:
        future: Future[Result] = Future()
        future.set_exception(error)
        return future
    finally:
        if block:
            block(signal.SIG_SETMASK, before)


@contextmanager
def pool_of(processes: int) -> Iterator[ProcessPoolExecutor]:
    """Processes that end with this one, and at once where it breaks off."""
    context = get_context("spawn")
    theirs, lifeline = context.Pipe(duplex=False)
    with _environment(ENVIRONMENT):
        pool = ProcessPoolExecutor(processes, context, _begin, (theirs,))
        try:
            yield pool
        except BaseException:
            lifeline.close()
            raise
        finally:
            pool.shutdown(cancel_futures=True)
            lifeline.close()
            theirs.close()


def _begin(lifeline: Connection) -> None:
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    threading.Thread(target=_end_with, args=(lifeline,), daemon=True).start()


def _end_with(lifeline: Connection) -> None:
    try:
        lifeline.recv_bytes()
    except (EOFError, OSError):
        os._exit(1)


@contextmanager
def _environment(more: Mapping[str, str]) -> Iterator[None]:
    before = {name: os.environ.get(name) for name in more}
    os.environ.update(more)
    try:
        yield
    finally:
        for name, value in before.items():
            if value is None:
                os.environ.pop(name, None)
            else:
                os.environ[name] = value
