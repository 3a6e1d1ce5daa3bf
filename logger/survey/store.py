"""Stored answers, ``results/<point>.json``: each bears a key over all it came from, and a seal."""

from __future__ import annotations

import hashlib
from collections.abc import Mapping
from typing import Any

from logger import __version__
from logger.errors import InputError
from logger.files import json_text, plain, read_within
from logger.job import (
    Job,
    begun_recordings,
    calibration_files,
    kept_recordings,
    read_json,
    result_path,
    swept_under_two_names,
    write_json,
)
from logger.survey.positions import neighbours
from logger.survey.recipe import Recipe
from logger.survey.result import SCHEMA
from logger.survey.terrain_store import terrain_path

LARGEST_INPUT = 1 << 30  # A recording of a day at 100 Hz is smaller. [bytes]
KEY, SEAL = "key", "seal"


def answer_key(job: Job, point: str, recipe: Recipe) -> str:
    """SHA-256 over all that a point's answer comes from: where one is alike, so is the answer.

    Names for the report and photos do not count, nor other points but those that tell distances.
    """
    near = [name for name in neighbours(job, point) if name != point]
    sweeps = [*kept_recordings(job, point), *begun_recordings(job, point)]
    sweeps += [path for name in near for path in kept_recordings(job, name)]
    terrain = terrain_path(job, point)
    files = [*sweeps, *calibration_files(job), *([terrain] if terrain.is_file() else [])]
    said = {
        "program": __version__,
        "recipe": recipe.sha256,
        "point": job.point(point),
        "beside": [job.point(name) for name in near],
        "obstructions": [o for o in job.obstructions if o.point in ("", point, *near)],
        "edits": [edit.as_dict() for name in (point, *near) for edit in job.edits_of(name)],
        "elsewhere": [(path.name, other) for path, other in swept_under_two_names(job, point)],
        "files": {
            path.relative_to(job.folder).as_posix(): hashlib.sha256(
                read_within(path, LARGEST_INPUT, "recording")
            ).hexdigest()
            for path in files
        },
    }
    return _sha256(said)


def sealed(document: Mapping[str, Any], key: str) -> dict[str, Any]:
    """A result as plain data with its key, and a seal over the whole."""
    whole = plain({**document, KEY: key})
    return {**whole, SEAL: _sha256(whole)}


def stored_answer(job: Job, point: str) -> Mapping[str, Any] | None:
    """The stored result; None where there is none, or where it is not as the program wrote it."""
    path = result_path(job, point)
    if not path.is_file():
        return None
    try:
        document = read_json(path)
    except InputError:
        return None
    seal = document.get(SEAL)
    whole = {name: value for name, value in document.items() if name != SEAL}
    return document if seal == _sha256(whole) and document.get("schema") == SCHEMA else None


def store(job: Job, point: str, document: Mapping[str, Any]) -> None:
    """Put an answer in place of the stored one."""
    write_json(result_path(job, point), document)


def _sha256(value: Any) -> str:
    return hashlib.sha256(json_text(value).encode()).hexdigest()
