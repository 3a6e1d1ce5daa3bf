"""Stored answers: ``results/<point>.json``, each with a key over everything it came from."""

from __future__ import annotations

import hashlib
from collections.abc import Mapping
from typing import Any

from logger import __version__
from logger.errors import InputError
from logger.files import json_text, read_within
from logger.job import (
    Job,
    calibration_files,
    kept_recordings,
    read_json,
    result_path,
    write_json,
)
from logger.survey.recipe import Recipe

LARGEST_INPUT = 1 << 30
"""A recording of a day at 100 Hz is smaller. [bytes]"""


def answer_key(job: Job, point: str, recipe: Recipe) -> str:
    """SHA-256 over all that a point's answer comes from: where one is alike, so is the answer.

    Names for the report, photos and other points do not count.
    """
    files = [*kept_recordings(job, point), *calibration_files(job)]
    said = {
        "program": __version__,
        "recipe": recipe.sha256,
        "point": job.point(point),
        "obstructions": [o for o in job.obstructions if o.point in ("", point)],
        "edits": [edit.as_dict() for edit in job.edits_of(point)],
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
