"""Turn a compass board swept along the skyline into solar access figures.

What a notebook or another program needs stands here, each loaded when it is first used:

- `read_recording`, `read_horizon_csv`, `read_weather`, `read_job`: what lies on the disk;
- `Site`, `Plane`, `Settings`, `HorizonProfile`: what figures rest on;
- `SiteYear`: sun and light of a site through a year, and the access of planes under any horizon;
- `declination_at`: magnetic declination of a place and day;
- `recording_result`, `recipe_of`, `answers`: a recording, or a job's points, worked out.
"""

from __future__ import annotations

import importlib
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from logger.access import Plane as Plane
    from logger.access import SiteYear as SiteYear
    from logger.access import read_weather as read_weather
    from logger.horizon import HorizonProfile as HorizonProfile
    from logger.horizon_csv import read_horizon_csv as read_horizon_csv
    from logger.job import read_job as read_job
    from logger.orientation import declination_at as declination_at
    from logger.recording import read_recording as read_recording
    from logger.settings import Settings as Settings
    from logger.site import Site as Site
    from logger.survey.answers import answers as answers
    from logger.survey.points import recording_result as recording_result
    from logger.survey.recipe import recipe_of as recipe_of

__version__ = "0.1.0"

_HOME = {
    "HorizonProfile": "logger.horizon",
    "Plane": "logger.access",
    "Settings": "logger.settings",
    "Site": "logger.site",
    "SiteYear": "logger.access",
    "answers": "logger.survey.answers",
    "declination_at": "logger.orientation",
    "read_horizon_csv": "logger.horizon_csv",
    "read_job": "logger.job",
    "read_recording": "logger.recording",
    "read_weather": "logger.access",
    "recipe_of": "logger.survey.recipe",
    "recording_result": "logger.survey.points",
}

__all__ = [*_HOME, "__version__"]


def __getattr__(name: str) -> Any:
    if name not in _HOME:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    return getattr(importlib.import_module(_HOME[name]), name)


def __dir__() -> list[str]:
    return sorted(__all__)
