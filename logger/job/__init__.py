"""The folder that holds a survey."""

from logger.job.folder import (
    calibration_path,
    calibration_results,
    point_names,
    point_recordings,
    read_json,
    result_path,
    sweep_path,
    write_json,
)
from logger.job.job import Job, NamedSector, Point, create_job, edit_job, read_job, set_plane
from logger.job.names import folder_name, stamp

__all__ = [
    "Job",
    "NamedSector",
    "Point",
    "calibration_path",
    "calibration_results",
    "create_job",
    "edit_job",
    "folder_name",
    "point_names",
    "point_recordings",
    "read_job",
    "read_json",
    "result_path",
    "set_plane",
    "stamp",
    "sweep_path",
    "write_json",
]
