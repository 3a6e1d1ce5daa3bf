"""Stored answers: ``results/<point>.json``, each with a key over everything it came from."""

from __future__ import annotations

import hashlib
from collections.abc import Mapping
from typing import Any

from logger import __version__
from logger.errors import InputError
from logger.files import json_text, read_within
from logger.horizon_fit import ImportHorizon, TakeIn
from logger.job import (
    Job,
    calibration_files,
    file_of,
    point_recordings,
    read_json,
    recording_elsewhere,
    result_path,
    write_json,
)
from logger.survey.points import edits_of
from logger.survey.recipe import Recipe

LARGEST_INPUT = 1 << 30
"""A recording of a day at 100 Hz is smaller. [bytes]"""


def answer_key(job: Job, point: str, recipe: Recipe) -> str:
    """SHA-256 over all that a point's answer comes from: where one is alike, so is the answer.

    Names for the report, photos and other points do not count.
    """
    edits = edits_of(job, point)
    files = [*point_recordings(job, point), *calibration_files(job)]
    files += [recording_elsewhere(job, e.recording) for e in edits if isinstance(e, TakeIn)]
    files += [file_of(job, e.source) for e in edits if isinstance(e, ImportHorizon)]
    said = {
        "program": __version__,
        "recipe": recipe.sha256,
        "point": job.point(point),
        "obstructions": [o for o in job.obstructions if o.point in ("", point)],
        "edits": [entry.as_dict() for entry in job.edits if entry.point == point],
        "files": {
            path.relative_to(job.folder).as_posix(): hashlib.sha256(
                read_within(path, LARGEST_INPUT, "recording")
            ).hexdigest()
            for path in files
        },
    }
    return hashlib.sha256(json_text(said).encode()).hexdigest()


def stored_answer(job: Job, point: str, key: str = "") -> Mapping[str, Any] | None:
    """The stored document, with that key if one is given; None where there is no such."""
    path = result_path(job, point)
    if not path.is_file():
        return None
    try:
        document = read_json(path)
    except InputError:
        return None  # it is worked out again
    return document if key in ("", document.get("key")) else None


def store(job: Job, point: str, document: Mapping[str, Any]) -> None:
    """Put an answer in place of the stored one."""
    write_json(result_path(job, point), document)
