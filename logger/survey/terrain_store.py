"""Where a job keeps the far horizon of a point, and how it is read again."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np

from logger.arrays import Floats, floats
from logger.errors import InputError
from logger.job import Job, read_json
from logger.job.names import folder_name
from logger.terrain import FarHorizon

SCHEMA = "horizon-logger terrain 1"


def terrain_path(job: Job, point: str) -> Path:
    """Where a point's far horizon goes: ``terrain/<point>.json``."""
    return job.folder / "terrain" / f"{folder_name(point)}.json"


def far_as_dict(far: FarHorizon) -> dict[str, Any]:
    """Columns as plain lists; a missing gap is null."""
    return {
        "eye_m": far.eye_m,
        "azimuth_deg": far.azimuth_deg,
        "elevation_deg": np.round(far.elevation_deg, 4),
        "distance_m": np.round(far.distance_m),
        "standard_error_deg": np.round(far.standard_error_deg, 4),
        "gap_m": np.round(far.gap_m),
    }


def stored_terrain(job: Job, point: str) -> FarHorizon | None:
    """The far horizon of a point; None where none was computed."""
    path = terrain_path(job, point)
    if not path.is_file():
        return None
    document = read_json(path)
    try:
        if document["schema"] != SCHEMA:
            raise ValueError(f"schema {document['schema']!r}")
        azimuth = floats(document["azimuth_deg"])
        elevation, distance = _column(document["elevation_deg"]), _column(document["distance_m"])
        error, gap = _column(document["standard_error_deg"]), _column(document["gap_m"])
        gap = np.where(np.isnan(gap), np.inf, gap)
        if np.any(np.abs(elevation) > 90) or np.any(np.diff(azimuth) <= 0):
            raise ValueError("numbers beyond their limits")
        return FarHorizon(azimuth, elevation, distance, error, gap, float(document["eye_m"]))
    except (KeyError, TypeError, ValueError) as error:
        what = f"is not as the program wrote it: {error}"
        hint = "delete the file, and horizon-logger terrain JOB --tiles FOLDER"
        raise InputError(what, str(path), hint) from error


def _column(values: Any) -> Floats:
    return floats([np.nan if value is None else value for value in values])
