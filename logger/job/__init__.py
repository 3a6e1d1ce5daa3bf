"""The folder that holds a survey."""

from logger.job.edits import EditEntry, moment_text
from logger.job.folder import (
    calibration_files,
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
from logger.job.job_file import (
    JOB_FILE,
    add_edit,
    add_obstruction,
    change_job,
    create_job,
    read_job,
    remove_last_edit,
    set_plane,
    set_point,
    set_table,
)
from logger.job.names import folder_name, stamp
from logger.job.records import Job, JobObstruction, JobPlane, JobPort, JobWeather, Point

__all__ = [
    "JOB_FILE",
    "EditEntry",
    "Job",
    "JobObstruction",
    "JobPlane",
    "JobPort",
    "JobWeather",
    "Point",
    "add_edit",
    "add_obstruction",
    "calibration_files",
    "calibration_path",
    "calibration_results",
    "change_job",
    "create_job",
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
    "set_table",
    "stamp",
    "sweep_path",
    "write_json",
]
