"""Where a job keeps the far horizon of a point, and how it is read again."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated, Any

import numpy as np

from logger.arrays import Floats, floats
from logger.errors import InputError
from logger.job import Job, read_json
from logger.job.names import folder_name
from logger.structured import Within, value_from
from logger.terrain import FarHorizon

SCHEMA = "horizon-logger terrain 1"
COLUMNS = {
    "azimuth_deg": (0.0, 360.0),
    "elevation_deg": (-90.0, 90.0),
    "distance_m": (0.0, 1e6),
    "standard_error_deg": (0.0, 90.0),
    "gap_m": (0.0, 1e6),
}
"""Each with its limits; where nothing is known it holds null."""


def terrain_path(job: Job, point: str) -> Path:
    """Where a point's far horizon goes: ``terrain/<point>.json``."""
    return job.folder / "terrain" / f"{folder_name(point)}.json"


def far_as_dict(far: FarHorizon) -> dict[str, Any]:
    """Columns as plain lists; a missing gap is null."""
    decimals = {name: 4 if name.endswith("_deg") else 0 for name in COLUMNS}
    columns = {name: np.round(getattr(far, name), places) for name, places in decimals.items()}
    return {"eye_m": far.eye_m, **columns}


def stored_terrain(job: Job, point: str) -> FarHorizon | None:
    """The far horizon of a point; None where none was computed."""
    path = terrain_path(job, point)
    if not path.is_file():
        return None
    document = read_json(path)
    try:
        if document["schema"] != SCHEMA:
            raise ValueError(f"schema {document['schema']!r}")
        azimuth, elevation, distance, error, gap = (
            _column(name, document[name], *limits) for name, limits in COLUMNS.items()
        )
        if np.any(~np.isfinite(azimuth)) or np.any(np.diff(azimuth) <= 0):
            raise ValueError("azimuth_deg does not rise from row to row")
        eye = value_from(Annotated[float, Within(-600, 10_000)], document["eye_m"], "eye_m")
        gap = np.where(np.isnan(gap), np.inf, gap)
        return FarHorizon(azimuth, elevation, distance, error, gap, eye)
    except (InputError, ArithmeticError, LookupError, TypeError, ValueError) as error:
        what = f"is not as the program wrote it: {error}"
        hint = "delete the file, and horizon-logger terrain JOB --tiles FOLDER"
        raise InputError(what, str(path), hint) from error


def _column(name: str, values: Any, low: float, high: float) -> Floats:
    column = floats([np.nan if value is None else value for value in values])
    if column.ndim != 1 or len(column) < 2 or np.any((column < low) | (column > high)):
        raise ValueError(f"{name} is no list of numbers from {low:g} to {high:g}")
    return column
