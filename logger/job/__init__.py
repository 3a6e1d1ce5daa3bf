"""The folder that holds a survey."""

from logger.job.edits import EditEntry, moment_text
from logger.job.folder import (
    calibration_path,
    calibration_results,
    file_of,
    point_names,
    point_recordings,
    read_json,
    recording_elsewhere,
    result_path,
    sweep_path,
    write_json,
)
from logger.job.job import (
    JOB_FILE,
    Job,
    NamedSector,
    Point,
    add_edit,
    add_obstruction,
    create_job,
    edit_job,
    read_job,
    remove_last_edit,
    set_plane,
    set_point,
)
from logger.job.names import folder_name, stamp

__all__ = [
    "JOB_FILE",
    "EditEntry",
    "Job",
    "NamedSector",
    "Point",
    "add_edit",
    "add_obstruction",
    "calibration_path",
    "calibration_results",
    "create_job",
    "edit_job",
    "file_of",
    "folder_name",
    "moment_text",
    "point_names",
    "point_recordings",
    "read_job",
    "read_json",
    "recording_elsewhere",
    "remove_last_edit",
    "result_path",
    "set_plane",
    "set_point",
    "stamp",
    "sweep_path",
    "write_json",
]
