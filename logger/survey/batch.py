"""Many jobs worked out again, shared between processes, a job at a time."""

from __future__ import annotations

import os
from collections.abc import Generator, Sequence
from dataclasses import dataclass, replace
from functools import partial
from pathlib import Path
from typing import Any

from logger.errors import InputError, LoggerError
from logger.job import JOB_FILE, read_job
from logger.processors import processors as all_processors
from logger.survey.answers import FIT, UNFIT, UNREADABLE, Answer, answers, worst
from logger.survey.changes import changes_between, with_changes
from logger.survey.recipe import Overrides, recipe_of
from logger.survey.workers import in_order

SCHEMA = "horizon-logger batch 1"


@dataclass(frozen=True)
class JobDone:
    """A job and its points' answers."""

    name: str  # Its way from the batch's folder
    answers: tuple[Answer, ...] = ()
    trouble: str = ""  # Why nothing could be worked out; empty where something could

    @property
    def code(self) -> int:
        """The worst of its points'."""
        return UNREADABLE if self.trouble else worst(answer.code for answer in self.answers)

    def as_dict(self) -> dict[str, Any]:
        """The form of an entry of the batch's JSON."""
        return {
            "job": self.name,
            "points": [with_changes(a.document, a.before) for a in self.answers if a.document],
            "exit_code": self.code,
            "trouble": self.trouble or None,
            "not_swept": [a.point for a in self.answers if not a.swept],
            "not_worked_out": {a.point: str(a.error) for a in self.answers if a.error and a.swept},
        }


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


def worked_through(
    root: Path, folders: Sequence[Path], overrides: Overrides, processes: int | None = None
) -> Generator[JobDone, None, None]:
    """Every job in order; what comes out does not depend on the processes."""

    def killed(folder: Path, why: str) -> JobDone:
        return JobDone(_name(root, folder), trouble=why)

    work = partial(_worked_out, root=root, overrides=overrides)
    return in_order(work, folders, processes or all_processors(), killed)


def _worked_out(folder: Path, root: Path, overrides: Overrides) -> JobDone:
    name = _name(root, folder)
    try:
        job = read_job(folder)
        found = answers(job, recipe_of(job, overrides), processes=1, finish=_without_result)
    except (LoggerError, OSError) as error:
        return JobDone(name, trouble=str(error))
    done = tuple(found)
    swept = any(answer.swept for answer in done)
    return JobDone(name, done, "" if swept else "no point has a recording")


def _name(root: Path, folder: Path) -> str:
    way = folder.relative_to(root).as_posix()
    return folder.resolve().name if way == "." else way


def _without_result(answer: Answer) -> Answer:
    return replace(answer, result=None)


def job_line(done: JobDone) -> str:
    """A job in one line."""
    if done.trouble:
        return f"{done.name}: not worked out - {' '.join(done.trouble.split())}"
    told = [a for a in done.answers if a.document]
    swept = [a for a in done.answers if a.swept]
    parts = [f"{len(told)} of {len(swept)} points"]
    parts += [f"{a.point} not worked out - {a.error}" for a in swept if a.error]
    parts += [f"{a.point} not fit for use" for a in told if a.code == UNFIT]
    parts += [f"{a.point} not swept" for a in done.answers if not a.swept]
    compared = [(a, changes_between(a.before, a.document)) for a in told if a.before]
    moved = [(abs(c.largest.by), a.point, c.largest) for a, c in compared if c.largest]
    if compared and all(changes.nothing for _, changes in compared):
        parts.append("as stored")
    elif moved:
        _, point, most = max(moved, key=lambda one: one[0])
        gap = f"{100 * most.by:+.2f} points ({point}, {most.plane})"
        parts.append(f"the year's solar access moved by up to {gap}")
    return f"{done.name}: " + "; ".join(" ".join(part.split()) for part in parts)


def batch_line(done: Sequence[JobDone]) -> str:
    """All jobs in one line."""
    fit, unfit = (sum(job.code == code for job in done) for code in (FIT, UNFIT))
    return (
        f"{len(done)} job{'s' if len(done) != 1 else ''}: {fit} fit for use, {unfit} not fit for "
        f"use, {len(done) - fit - unfit} with points that could not be worked out"
    )


def batch_document(done: Sequence[JobDone]) -> dict[str, Any]:
    """The batch's JSON."""
    code = worst(job.code for job in done)
    return {"schema": SCHEMA, "jobs": [job.as_dict() for job in done], "exit_code": code}
