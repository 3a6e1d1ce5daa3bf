"""The folder that holds a survey."""

from logger.job.edits import (
    add_edit,
    add_obstruction,
    enter_edit,
    name_sector,
    obstruction_names,
    rename_point,
    undo,
)
from logger.job.folder import (
    begun_recordings,
    calibration_files,
    calibration_path,
    existing_point,
    existing_recording,
    file_of,
    kept_recordings,
    known_points,
    point_folder,
    point_names,
    point_of,
    point_recordings,
    point_to_sweep,
    read_json,
    recorded_on,
    result_path,
    sweep_path,
    swept_under_two_names,
    write_json,
)
from logger.job.job_file import (
    JOB_FILE,
    change_job,
    create_job,
    read_job,
    set_named,
    set_plane,
    set_point,
    set_table,
)
from logger.job.names import folder_name, plain_name, stamp
from logger.job.records import Job, JobObstruction, JobPlane, JobPort, JobWeather, Point
