"""Many jobs worked out again, shared between processes, one answer at a time.

A worker sends back finished JSON and a few words for each point, and only a few points are under
way at a time: memory does not grow with the number of jobs.
"""

from __future__ import annotations

import os
import signal
from collections import deque
from collections.abc import Iterator, Mapping, Sequence
from concurrent.futures import Future, ProcessPoolExecutor
from concurrent.futures.process import BrokenProcessPool
from contextlib import contextmanager
from dataclasses import dataclass, field, replace
from functools import lru_cache
from multiprocessing import get_context
from pathlib import Path
from typing import Any

from logger.errors import InputError, LoggerError
from logger.files import json_text
from logger.job import JOB_FILE, Job, point_names, read_job, result_path
from logger.job import write_json as store_result
from logger.processors import processors
from logger.survey.again import Again, Recipe, point_again
from logger.survey.changes import FigureChange
from logger.survey.points import is_swept

FIT, FAULT, UNREADABLE, UNFIT = 0, 1, 3, 4
WORST_FIRST = (FAULT, UNREADABLE, UNFIT, FIT)

POINTS_AT_ONCE = 8
"""Points of one job that a process takes at a time: they share the site's sun and light."""

AHEAD = 2
"""Tasks waiting for each process."""

# One thread a process: processes share the cores, and sums come out in the same order.
ONE_THREAD = {f"{library}_NUM_THREADS": "1" for library in ("OMP", "OPENBLAS", "MKL", "NUMEXPR")}


@dataclass(frozen=True)
class Chunk:
    """Some points of one job: what a process takes at a time."""

    folder: Path
    points: tuple[str, ...]
    recipe: Recipe = field(default_factory=Recipe)
    store: bool = False  # Whether to put the new results in place of the stored ones


@dataclass(frozen=True)
class PointDone:
    """A point's answer, as it comes back from a process."""

    name: str
    code: int  # 0 fit, 1 a fault of the program, 3 not to be read, 4 a quality check failed
    json: str = ""  # The documented result; empty where there is none
    words: str = ""  # Why there is none; else which checks failed; empty where all is well
    largest: FigureChange | None = None  # Of annual solar access against the stored result
    compared: bool = False  # Whether there was a stored result
    changed: bool = False  # Whether anything differs from it
    trouble: str = ""  # Why the stored result cannot be compared with; empty where it can


@dataclass(frozen=True)
class JobDone:
    """A job without its results: those have been handed on point by point."""

    folder: Path
    points: tuple[PointDone, ...] = ()  # Without their JSON
    not_swept: tuple[str, ...] = ()  # Points that the job lists and that have no recording
    trouble: str = ""  # Why the job could not be begun; empty where it could

    @property
    def code(self) -> int:
        """The worst of its points'."""
        return worst([UNREADABLE] if self.trouble else [p.code for p in self.points])


def worst(codes: Sequence[int]) -> int:
    """The exit code that stands for several: a fault, then unreadable, then unfit."""
    return next((code for code in WORST_FIRST if code in codes), FIT)


def job_folders(folder: Path) -> list[Path]:
    """The jobs in a folder, at any depth, in order of their names; a job's own folder is one."""
    if not folder.is_dir():
        raise InputError("is no folder", str(folder))
    found: list[Path] = []
    for path, folders, files in os.walk(folder):
        if JOB_FILE in files:
            found.append(Path(path))
            folders.clear()
        folders.sort()
    if not found:
        raise InputError(f"holds no job: there is no {JOB_FILE} in it", str(folder))
    return sorted(found)


def chunks_of(folder: Path, recipe: Recipe, store: bool = False) -> tuple[list[Chunk], JobDone]:
    """A job cut into what a process takes at a time, and what can be said of it beforehand."""
    try:
        job = read_job(folder)
        swept = {name: _may_be_worked_out(job, name) for name in point_names(job)}
    except LoggerError as error:
        return [], JobDone(folder, trouble=str(error))
    except OSError as error:
        return [], JobDone(folder, trouble=f"{folder}: cannot be read: {error.strerror or error}")
    names = [name for name, recorded in swept.items() if recorded]
    rest = tuple(name for name, recorded in swept.items() if not recorded)
    if not names:
        return [], JobDone(folder, not_swept=rest, trouble="no point has a recording")
    chunks = [
        Chunk(folder, tuple(names[k : k + POINTS_AT_ONCE]), recipe, store)
        for k in range(0, len(names), POINTS_AT_ONCE)
    ]
    return chunks, JobDone(folder, not_swept=rest)


def _may_be_worked_out(job: Job, point: str) -> bool:
    """Whether it has a recording; a change that makes no sense is told with the point."""
    try:
        return is_swept(job, point)
    except LoggerError:
        return True


def worked_through(
    folders: Sequence[Path],
    recipe: Recipe | None = None,
    *,
    processes: int | None = None,
    store: bool = False,
) -> Iterator[tuple[Path, PointDone | JobDone]]:
    """Every point of every job, in order; what comes out does not depend on the processes.

    Yields each job's points as they are done, then the job.
    """
    # Always in processes of their own, even if it is one: they run with one thread each.
    processes = processes or processors()
    steps = _steps(folders, recipe or Recipe(), store)
    waiting: deque[tuple[Chunk, Future[list[PointDone]]] | JobDone] = deque()
    points: list[PointDone] = []
    with _environment(ONE_THREAD), _Pool(processes) as pool:
        while True:
            while len(waiting) < processes * (1 + AHEAD):
                step = next(steps, None)
                if step is None:
                    break
                waiting.append(step if isinstance(step, JobDone) else (step, pool.submit(step)))
            if not waiting:
                return
            first = waiting.popleft()
            if isinstance(first, JobDone):
                yield first.folder, replace(first, points=tuple(points))
                points = []
                continue
            for point in pool.result(*first):
                yield first[0].folder, point
                points.append(replace(point, json=""))


def _steps(folders: Sequence[Path], recipe: Recipe, store: bool) -> Iterator[Chunk | JobDone]:
    for folder in folders:
        chunks, begun = chunks_of(folder, recipe, store)
        yield from chunks
        yield begun


class _Pool:
    """Processes that are started again when one is killed."""

    def __init__(self, processes: int) -> None:
        self._processes = processes
        self._pool = self._fresh()

    def __enter__(self) -> _Pool:
        return self

    def __exit__(self, *_: object) -> None:
        self._pool.shutdown(wait=True, cancel_futures=True)

    def _fresh(self) -> ProcessPoolExecutor:
        return ProcessPoolExecutor(
            self._processes, mp_context=get_context("spawn"), initializer=_leave_interrupts
        )

    def submit(self, chunk: Chunk) -> Future[list[PointDone]]:
        """Hand a chunk on."""
        try:
            return self._pool.submit(points_done, chunk)
        except BrokenProcessPool:
            self._pool = self._fresh()
            return self._pool.submit(points_done, chunk)

    def result(self, chunk: Chunk, future: Future[list[PointDone]]) -> list[PointDone]:
        """A chunk's points; tried once more, alone, where its process was killed."""
        try:
            return future.result()
        except BrokenProcessPool:
            pass
        with ProcessPoolExecutor(
            1, mp_context=get_context("spawn"), initializer=_leave_interrupts
        ) as alone:
            try:
                return alone.submit(points_done, chunk).result()
            except BrokenProcessPool:
                why = "the process that worked on it was killed, twice"
                return [PointDone(name, FAULT, words=why) for name in chunk.points]


def _leave_interrupts() -> None:
    """Ctrl-C is for the process that hands the work out."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)


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


@lru_cache(maxsize=2)
def _job(folder: Path) -> Job:
    return read_job(folder)


def points_done(chunk: Chunk) -> list[PointDone]:
    """Work out some points of a job; whatever goes wrong with one is told in its place."""
    return [_point_done(chunk, name) for name in chunk.points]


def _point_done(chunk: Chunk, name: str) -> PointDone:
    try:
        job = _job(chunk.folder)
        again = point_again(job, name, chunk.recipe)
        done = _answer(name, again)
        if chunk.store:
            store_result(result_path(job, name), again.document)
    except LoggerError as error:
        return PointDone(name, UNREADABLE, words=str(error))
    except Exception as error:  # one job's fault must not stop the others
        return PointDone(name, FAULT, words=f"{type(error).__name__}: {error}")
    return done


def _answer(name: str, again: Again) -> PointDone:
    failed = list(dict.fromkeys(g.check for g in again.result.checks if not g.passed))
    changes = again.changes
    return PointDone(
        name,
        UNFIT if failed else FIT,
        json_text(again.told()),
        ", ".join(failed),
        changes.largest if changes else None,
        changes is not None,
        changes is not None and not changes.nothing,
        again.trouble,
    )


def job_line(done: JobDone, root: Path) -> str:
    """A job in one line."""
    name = job_name(done.folder, root)
    if done.trouble:
        return f"{name}: not worked out - {_one_line(done.trouble)}"
    answered = [p for p in done.points if p.code in (FIT, UNFIT)]
    parts = [
        f"{len(answered)} of {len(done.points)} points"
        if len(answered) < len(done.points)
        else f"{len(done.points)} point{'s' if len(done.points) != 1 else ''}"
    ]
    parts += [
        f"{p.name} not worked out - {_one_line(p.words)}"
        for p in done.points
        if p.code not in (FIT, UNFIT)
    ]
    unfit = [f"{p.name} ({p.words})" for p in answered if p.code == UNFIT]
    if unfit:
        parts.append("not fit for use: " + ", ".join(unfit))
    if done.not_swept:
        parts.append("not swept: " + ", ".join(done.not_swept))
    parts.append(_change_words(answered))
    return f"{name}: " + "; ".join(part for part in parts if part)


def _change_words(points: Sequence[PointDone]) -> str:
    if doubtful := [p.trouble for p in points if p.trouble]:
        return f"stored result not compared - {_one_line(doubtful[0])}"
    compared = [p for p in points if p.compared]
    if not compared:
        return "nothing stored to compare with" if points else ""
    lead = "" if len(compared) == len(points) else f"{len(compared)} compared: "
    return lead + _moved(compared)


def _moved(points: Sequence[PointDone]) -> str:
    if not any(p.changed for p in points):
        return "as stored"
    moved = [(p, p.largest) for p in points if p.largest is not None]
    if not moved:
        return "changed; no plane in common with the stored results"
    point, most = max(moved, key=lambda pair: abs(pair[1].gap.value))
    if not most.differs:
        return "changed, the year's solar access as stored"
    real = {
        True: "more than the uncertainty",
        False: "less than the uncertainty",
        None: "uncertainty not known",
    }[most.gap.is_real]
    return (
        f"year's solar access moved by up to {100 * most.gap.value:+.2f} percentage points "
        f"({point.name}, {most.plane}; {real})"
    )


def job_name(folder: Path, root: Path) -> str:
    """How a job is called in a batch: its way from the batch's folder."""
    way = folder.relative_to(root).as_posix()
    return folder.resolve().name if way == "." else way


def _one_line(text: str) -> str:
    return " ".join(text.split())


def job_json(done: JobDone, root: Path) -> dict[str, Any]:
    """What a batch's JSON says of a job beside its points' results."""
    return {
        "exit_code": done.code,
        "trouble": done.trouble or None,
        "not_swept": list(done.not_swept),
        "not_worked_out": {p.name: p.words for p in done.points if p.code not in (FIT, UNFIT)},
    }
