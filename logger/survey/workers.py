"""Work shared between processes, its results in order."""

from __future__ import annotations

import os
import signal
import threading
from collections import deque
from collections.abc import Callable, Generator, Iterable, Iterator, Mapping
from concurrent.futures import Executor, Future, ProcessPoolExecutor
from concurrent.futures.process import BrokenProcessPool
from contextlib import contextmanager, suppress
from multiprocessing import active_children, get_context, parent_process
from typing import TypeVar

from logger.processors import processors as all_processors

Item = TypeVar("Item")
Result = TypeVar("Result")

WORTH_A_PROCESS = 4
"""Points that take as long as to start a process."""
KILLED = "the process that worked on it was killed, twice: is there memory enough?"

# No Python file of the folder we stand in is imported: job folders come by mail. One thread a
# process: processes share the cores, and sums come out in the same order.
ENVIRONMENT = {"PYTHONSAFEPATH": "1"} | {
    f"{library}_NUM_THREADS": "1" for library in ("OMP", "OPENBLAS", "MKL", "NUMEXPR")
}


def in_order(
    work: Callable[[Item], Result],
    items: Iterable[Item],
    processes: int | None,
    killed: Callable[[Item, str], Result],
) -> Generator[Result, None, None]:
    """What `work` makes of every item; `killed` says it of one whose process was, twice.

    Without a number of processes as many as are worth starting.
    """
    left = deque(items)
    if processes is None:
        processes = max(1, min(all_processors(), len(left) // WORTH_A_PROCESS))
    if processes == 1:
        yield from map(work, left)
        return
    while left:
        with suppress(BrokenProcessPool), pool_of(processes) as pool:
            under_way = deque(submitted(pool, work, item) for item in left)
            while under_way:
                result = under_way.popleft().result()
                left.popleft()
                yield result
        if left:  # Which one a killed process worked on is not known: the first by itself.
            item = left.popleft()
            with pool_of(1) as alone:
                try:
                    result = submitted(alone, work, item).result()
                except BrokenProcessPool:
                    result = killed(item, KILLED)
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
    others = active_children()
    with _environment(ENVIRONMENT):
        pool = ProcessPoolExecutor(processes, get_context("spawn"), _begin)
        try:
            yield pool
        except BaseException:
            for process in active_children():
                if process not in others:
                    process.terminate()
            raise
        finally:
            pool.shutdown(cancel_futures=True)


def _begin() -> None:
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    threading.Thread(target=_end_with_parent, daemon=True).start()


def _end_with_parent() -> None:
    if parent := parent_process():
        parent.join()
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
