"""The office: settings changed by name, results held against stored ones, many jobs again."""

from logger.office.again import Again, Recipe, point_again
from logger.office.batch import (
    Chunk,
    JobDone,
    PointDone,
    job_folders,
    worked_through,
    worst,
)
from logger.office.changes import Changes, FigureChange, changes_between, changes_text
from logger.office.settings import (
    AllSettings,
    Setting,
    all_settings,
    setting_names,
    settings_of_room,
    settings_with,
)

__all__ = [
    "Again",
    "AllSettings",
    "Changes",
    "Chunk",
    "FigureChange",
    "JobDone",
    "PointDone",
    "Recipe",
    "Setting",
    "all_settings",
    "changes_between",
    "changes_text",
    "job_folders",
    "point_again",
    "setting_names",
    "settings_of_room",
    "settings_with",
    "worked_through",
    "worst",
]
